"""Writes the shipped files: python3 export.py DIR (outline.pt, tissue.pt) -> DIR/outline.safetensors, DIR/tissue.safetensors.

Batch norms are folded. Weights are stored as 8 bit numbers with one scale an output channel, and turned back into single precision when
loaded: nothing is computed in 8 bit. Beside each file stands the same network, with the same weights, as an ONNX file: for `evaluate.py`
and `reference.py`, which run it with another engine than the program's. Needs onnx, safetensors and torch.
"""

import sys

import numpy as np
import onnx
import torch
import torch.nn as nn
import torch.nn.functional as F
from onnx import helper, numpy_helper
from safetensors.numpy import save_file

from networks import Outline, Tissue, load
from train_tissue import WEIGHT


class Padded(nn.Module):
    """A strided convolution of the encoder with its padding, more at right and bottom, written out."""

    def __init__(self, conv):
        super().__init__()
        k = conv.kernel_size[0]
        self.conv = nn.Conv2d(
            conv.in_channels, conv.out_channels, k, conv.stride, groups=conv.groups, bias=conv.bias is not None
        )
        self.conv.load_state_dict(conv.state_dict())
        self.pads = ((k - 2) // 2, k - 2 - (k - 2) // 2) * 2

    def forward(self, x):
        return self.conv(F.pad(x, self.pads))


def plain(module):
    """Replaces the encoder's convolutions, whose padding depends on the input, by plain ones."""
    for name, child in list(module.named_children()):
        if not isinstance(child, nn.Conv2d):
            plain(child)
        elif type(child) is not nn.Conv2d and child.stride[0] == 2:
            setattr(module, name, Padded(child))
        elif type(child) is not nn.Conv2d:
            conv = nn.Conv2d(
                child.in_channels,
                child.out_channels,
                child.kernel_size,
                1,
                child.kernel_size[0] // 2,
                groups=child.groups,
                bias=child.bias is not None,
            )
            conv.load_state_dict(child.state_dict())
            setattr(module, name, conv)


def outline(folder):
    network = load(Outline(), folder + "/outline.pt")
    plain(network.e)
    return network


def tissue(folder):
    """Loss weights taken out of the answer; order green, cream, gold, red, band, dead, no leaf."""
    network = load(Tissue(), folder + "/tissue.pt")
    last, order = network.h[1], [1, 2, 3, 4, 5, 6, 0]
    last.bias.data = (last.bias.data - torch.tensor(WEIGHT).log())[order]
    last.weight.data = last.weight.data[order]
    return network


def write(network, channels, outputs, stem):
    path = stem + ".onnx"
    axes = {2: "h", 3: "w"}
    torch.onnx.export(
        network,
        torch.zeros(1, channels, 128, 160),
        path,
        opset_version=17,
        input_names=["picture"],
        output_names=outputs,
        dynamic_axes={name: axes for name in ["picture", *outputs]},
        dynamo=False,
    )
    model = onnx.load(path)
    fold_pads(model.graph)
    shorten(model.graph)
    onnx.checker.check_model(model)
    onnx.save(model, path)
    save_file(named_weights(model.graph), stem + ".safetensors")


def named_weights(graph):
    """Of each convolution, under its name in `networks`: NAME.weight in steps, NAME.scale and NAME.bias an output channel."""
    tensors = {t.name: numpy_helper.to_array(t) for t in graph.initializer}
    named = {}
    for node in [node for node in graph.node if node.op_type == "Conv"]:
        steps, bias = node.input[1], node.input[2]
        name = steps.removesuffix(".weight") if steps.endswith(".weight") else layer(node.output[0])
        parts = {"weight": tensors[steps + ".steps"], "scale": tensors[steps + ".scale"], "bias": tensors[bias]}
        named |= {f"{name}.{part}": values for part, values in parts.items()}
    return named


def layer(output):
    """Name of a layer from that of its answer: /st.0/st.0.0/a/a.0/Conv_output_0 is st.0.0.a.0. `Padded` goes by what it stands for."""
    name = ""
    for part in output.split("/")[1:-1]:
        parent = ".".join(part.split(".")[:-1])
        kept = name.removesuffix(parent).rstrip(".") if parent and name.endswith(parent) else name
        name = f"{kept}.{part}" if kept else part
    return name.removesuffix(".conv")


def fold_pads(graph):
    """Padding becomes part of the convolution behind it, as the program has it."""
    made = {output: node for node in graph.node for output in node.output}
    weights = {t.name: t.dims for t in graph.initializer}
    for node in graph.node:
        pad = made.get(node.input[0]) if node.op_type == "Conv" else None
        if pad is not None and pad.op_type == "Pad":
            total = weights[node.input[1]][2] - 2
            for attribute in [a for a in node.attribute if a.name == "pads"]:
                node.attribute.remove(attribute)
            node.attribute.append(helper.make_attribute("pads", [total // 2] * 2 + [total - total // 2] * 2))
            node.input[0] = pad.input[0]
    kept = list(graph.node)
    while True:
        used = {i for n in kept for i in n.input} | {o.name for o in graph.output}
        fewer = [n for n in kept if any(o in used for o in n.output)]
        if len(fewer) == len(kept):
            break
        kept = fewer
    del graph.node[:]
    graph.node.extend(kept)


def shorten(graph):
    """Stores the convolutions' weights in 8 bit."""
    weights = {node.input[1] for node in graph.node if node.op_type == "Conv"}
    restored = []
    for tensor in [t for t in graph.initializer if t.name in weights]:
        name, values = tensor.name, numpy_helper.to_array(tensor)
        scale = np.abs(values).reshape(len(values), -1).max(1).clip(1e-8) / 127
        steps = np.round(values / scale.reshape(-1, 1, 1, 1)).astype(np.int8)
        tensor.CopyFrom(numpy_helper.from_array(steps, name + ".steps"))
        graph.initializer.append(numpy_helper.from_array(scale.astype(np.float32), name + ".scale"))
        restored.append(helper.make_node("DequantizeLinear", [name + ".steps", name + ".scale"], [name], axis=0))
    nodes = list(graph.node)
    del graph.node[:]
    graph.node.extend(restored + nodes)
    del graph.value_info[:]


if __name__ == "__main__":
    write(outline(sys.argv[1]), 3, ["plant", "centre"], sys.argv[1] + "/outline")
    write(tissue(sys.argv[1]), 4, ["tissue"], sys.argv[1] + "/tissue")
