"""Large scenes to training pictures (see `pictures`): python3 prepare.py SCENES OUT. 1200 x 900, portraits turned."""

import glob
import json
import os
import sys

import numpy as np
from PIL import Image

UPRIGHT = {3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_270, 8: Image.Transpose.ROTATE_90}


def prepare(scene, out):
    photo = Image.open(scene + ".jpg")
    turn = UPRIGHT.get(photo.getexif().get(274, 1))
    photo = photo.convert("RGB")
    photo = photo.transpose(turn) if turn else photo
    tissue, plant = (np.array(Image.open(f"{scene}.{kind}.png")) for kind in ("class", "inst"))
    assert tissue.shape[::-1] == photo.size, scene
    code = np.where(plant > 0, np.minimum(plant, 30).astype(int) * 8 + tissue, 0).astype(np.uint8)
    if photo.height > photo.width:
        photo, code = photo.transpose(Image.Transpose.ROTATE_90), np.rot90(code)
    code = Image.fromarray(np.ascontiguousarray(code)).resize((1200, 900), Image.Resampling.NEAREST)
    photo.resize((1200, 900), Image.Resampling.LANCZOS).save(out + ".jpg", quality=82)
    code.save(out + ".png", optimize=True)
    with open(out + ".txt", "w") as f:
        f.write(" ".join(map(str, json.load(open(scene + ".json"))["residual_cast_rgb"])))


if __name__ == "__main__":
    os.makedirs(sys.argv[2], exist_ok=True)
    for truth in sorted(glob.glob(sys.argv[1] + "/*.json")):
        prepare(truth[:-5], os.path.join(sys.argv[2], os.path.basename(truth)[:-5]))
