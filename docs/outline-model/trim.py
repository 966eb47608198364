"""Cuts the two outline networks out of their training exports.

    python3 trim.py first_model.onnx small_model.onnx OUTDIR

Keeps the plant logit (channel 0 of the head, stride 2) of each, and the centre maps of the small one (stride 4:
logit, dx, dy). Tissue logits and the full-size upsampling go: the program does not use them. Weights are stored in
half precision and cast when the network is loaded. Needs onnx 1.22 and numpy.
"""
import sys, os, numpy as np, onnx
from onnx import helper, numpy_helper as nh, TensorProto as T

def cut(src, outputs):
    m = onnx.load(src); known = {v.name for v in list(m.graph.value_info) + list(m.graph.output)}
    m.graph.value_info.extend(helper.make_tensor_value_info(o, T.FLOAT, None) for o in outputs if o not in known)
    return onnx.utils.Extractor(m).extract_model(["rgb"], outputs)

def keep_channel_0(m, weight, bias):
    for i in m.graph.initializer:
        if i.name in (weight, bias, weight + "_h"):
            i.CopyFrom(nh.from_array(np.ascontiguousarray(nh.to_array(i)[:1]), i.name))

def halve(m):
    casts = []
    for i in m.graph.initializer:
        a = nh.to_array(i)
        if a.dtype == np.float32 and a.size > 256:
            name = i.name; i.CopyFrom(nh.from_array(a.astype(np.float16), name + "_h"))
            casts.append(helper.make_node("Cast", [name + "_h"], [name], to=T.FLOAT))
    nodes = list(m.graph.node); del m.graph.node[:]; m.graph.node.extend(casts + nodes)

def save(m, path, renames):
    for n in m.graph.node:
        for k, o in enumerate(n.output):
            if o in renames: n.output[k] = renames[o]
        for k, o in enumerate(n.input):
            if o in renames: n.input[k] = renames[o]
    for o in m.graph.output:
        o.CopyFrom(helper.make_tensor_value_info(renames.get(o.name, o.name), T.FLOAT, [1, None, None, None]))
    del m.graph.value_info[:]
    onnx.checker.check_model(m); onnx.save(m, path); print(path, os.path.getsize(path))

first, small, out = sys.argv[1:]
head = "/n/head/head.1/Conv_output_0"
m = cut(first, [head]); keep_channel_0(m, "n.head.1.weight", "n.head.1.bias"); halve(m); save(m, out + "/deep.onnx", {head: "plant"})
m = cut(small, ["plant_tissue_s2", "centre_s4"]); keep_channel_0(m, "h1.weight", "h1.bias"); halve(m)
save(m, out + "/light.onnx", {"plant_tissue_s2": "plant", "centre_s4": "centre"})
