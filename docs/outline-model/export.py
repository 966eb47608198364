"""Writes the shipped files: python3 export.py DIR (outline.pt, slim.pt, tissue.pt) -> DIR/outline.onnx, DIR/tissue.onnx.

Batch norms are folded, weights stored in half precision and cast when loaded. Needs onnx 1.22 and torch.
"""

import sys

import numpy as np
import onnx
import torch
import torch.nn as nn
import torch.nn.functional as F
from onnx import TensorProto, helper, numpy_helper

from networks import Outline, Slim, Tissue, load
from train_tissue import WEIGHT


class Padded(nn.Module):
    """A strided convolution of the encoder with its padding, more at right and bottom, written out."""

    def __init__(self, conv):
        super().__init__()
        k = conv.kernel_size[0]
        self.conv = nn.Conv2d(conv.in_channels, conv.out_channels, k, conv.stride, groups=conv.groups, bias=conv.bias is not None)
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


class Shipped(nn.Module):
    """Trunk and slim stage, plant alone."""

    def __init__(self, deep, slim):
        super().__init__()
        self.deep, self.slim = deep, slim

    def forward(self, x):
        return self.slim(*self.deep.trunk(x))[:, :1]


def outline(folder):
    deep, slim = load(Outline(), folder + "/outline.pt"), load(Slim(), folder + "/slim.pt")
    plain(deep.e)
    return Shipped(deep, slim).eval()


def tissue(folder):
    """Loss weights taken out of the answer; order green, cream, gold, red, band, dead, no leaf."""
    network = load(Tissue(), folder + "/tissue.pt")
    last, order = network.h[1], [1, 2, 3, 4, 5, 6, 0]
    last.bias.data = (last.bias.data - torch.tensor(WEIGHT).log())[order]
    last.weight.data = last.weight.data[order]
    return network


def write(network, channels, path):
    axes = {2: "h", 3: "w"}
    torch.onnx.export(
        network,
        torch.zeros(1, channels, 128, 160),
        path,
        opset_version=17,
        input_names=["picture"],
        output_names=["logits"],
        dynamic_axes={"picture": axes, "logits": axes},
        dynamo=False,
    )
    model = onnx.load(path)
    fold_pads(model.graph)
    halve(model.graph)
    onnx.checker.check_model(model)
    onnx.save(model, path)


def fold_pads(graph):
    """Padding becomes part of the convolution behind it: the runtime does it at no cost there."""
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


def halve(graph):
    casts = []
    for tensor in graph.initializer:
        values = numpy_helper.to_array(tensor)
        if values.dtype == np.float32 and values.size > 64:
            name = tensor.name
            tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), name + "_h"))
            casts.append(helper.make_node("Cast", [name + "_h"], [name], to=TensorProto.FLOAT))
    nodes = list(graph.node)
    del graph.node[:]
    graph.node.extend(casts + nodes)
    del graph.value_info[:]


if __name__ == "__main__":
    write(outline(sys.argv[1]), 3, sys.argv[1] + "/outline.onnx")
    write(tissue(sys.argv[1]), 4, sys.argv[1] + "/tissue.onnx")
