"""Answers of another engine (onnxruntime), which the tests compare the program's with: python3 reference.py DIR OUT.

DIR holds outline.onnx and tissue.onnx (`export.py`); OUT gets outline_96x64.f32 and tissue_96x64.f32: the fields one after another, rows of
little-endian single precision. The picture is 96 x 64; value i, counted through planes and rows, is floor(i * 2654435761 mod 2^32 / 256) mod 256 / 255.
"""

import sys

import numpy as np
import onnxruntime

for name, channels in (("outline", 3), ("tissue", 4)):
    session = onnxruntime.InferenceSession(f"{sys.argv[1]}/{name}.onnx", providers=["CPUExecutionProvider"])
    codes = (np.arange(channels * 64 * 96, dtype=np.uint32) * np.uint32(2654435761) >> 8) % 256
    picture = codes.astype(np.float32).reshape(1, channels, 64, 96) / np.float32(255)
    fields = session.run(None, {"picture": picture})
    np.concatenate([field.ravel() for field in fields]).astype("<f4").tofile(f"{sys.argv[2]}/{name}_96x64.f32")
