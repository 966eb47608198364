"""Trains the outline network: python3 train_outline.py (see `pictures.settings`). Writes OUT/outline.pt."""

import math
import os
import random

import numpy as np
import torch
import torch.nn.functional as F

from networks import Outline
from pictures import (
    DEVICE,
    behind,
    between,
    blur,
    camera,
    chance,
    clouds,
    cut,
    normal,
    per_tissue,
    photos,
    settings,
    shadows,
    some_angle,
    to_linear,
    uniform,
)
from training import train

SIZE = 448
BATCH = int(os.environ.get("BATCH", "48"))
TISSUE_WEIGHT = torch.tensor([0.3, 1, 1.5, 1.5, 1.5, 1, 1.5], device=DEVICE)
# Colours of other rosettes: green, blue-grey, pink, bronze, dark, yellow ... (linear).
SPECIES = torch.tensor(
    [
        (0.25, 0.42, 0.20),
        (0.40, 0.55, 0.50),
        (0.60, 0.42, 0.40),
        (0.42, 0.5, 0.44),
        (0.55, 0.6, 0.5),
        (0.5, 0.3, 0.3),
        (0.6, 0.55, 0.25),
        (0.12, 0.2, 0.1),
        (0.3, 0.36, 0.4),
        (0.45, 0.2, 0.22),
        (0.2, 0.3, 0.24),
    ],
    device=DEVICE,
)


def looks(store, count):
    """42 % looks at the whole picture, the others at a plant from near and far."""
    index, cuts = [], []
    for _ in range(count):
        i = random.randrange(store.n)
        boxes = store.boxes[i]
        if random.random() < 0.42:
            side = max(store.h, store.w) * math.exp(uniform(math.log(0.75), math.log(1.45)))
            cx, cy = store.w * uniform(0.35, 0.65), store.h * uniform(0.35, 0.65)
        else:
            _, x0, y0, x1, y1, _ = random.choice(boxes) if random.random() < 0.6 else max(boxes, key=lambda b: b[5])
            side = max(80, max(x1 - x0, y1 - y0) * math.exp(uniform(math.log(0.75), math.log(2.6))))
            cx, cy = (x0 + x1) / 2 + uniform(-0.25, 0.25) * side, (y0 + y1) / 2 + uniform(-0.25, 0.25) * side
        index.append(i)
        cuts.append((cx, cy, side, some_angle(), random.choice((-1, 1)), uniform(0.85, 1.18)))
    return cut(store, index, cuts, SIZE)


def mean_colour(light, where):
    return (light * where).sum((2, 3)) / where.sum((2, 3)).clamp_min(1)


def recoloured(light, tissue, plant):
    """Tissues in other colours, bands hidden in some, whole plants in other species' colours."""
    n = len(light)
    spread = torch.tensor(
        np.random.choice([0, 0.08, 0.2, 0.4], n, p=[0.25, 0.25, 0.3, 0.2]), device=DEVICE, dtype=torch.float32
    ).view(n, 1, 1)
    gains = torch.exp(normal(n, 7, 3) * spread)
    gains[:, 0] = 1
    band, leaf = (tissue == 5)[:, None].float(), ((tissue >= 1) & (tissue <= 3))[:, None].float()
    hidden = (torch.rand(n, device=DEVICE) < 0.22) & (band.sum((1, 2, 3)) > 20) & (leaf.sum((1, 2, 3)) > 20)
    as_leaf = (mean_colour(light, leaf) / mean_colour(light, band).clamp_min(1e-3)).clamp(0.05, 2) * torch.exp(normal(n, 1) * 0.2)
    gains[:, 5] = torch.where(hidden[:, None], as_leaf, gains[:, 5])
    light = light * per_tissue(gains, tissue, SIZE)
    target = SPECIES[torch.randint(0, len(SPECIES), (n,), device=DEVICE)].view(n, 3, 1, 1) * between(n, 0.4, 1.5)
    bright = light.mean(1, keepdim=True)
    level = mean_colour(bright, plant).view(n, 1, 1, 1) + 1e-3
    share = between(n, 0.45, 1)
    return torch.where(chance(n, 0.16) & (plant > 0), (1 - share) * light + share * target * bright / level, light)


def resettled(light, code, plant, backs):
    """Other backgrounds behind pot or plant, other light on the surroundings, plants out of focus behind."""
    n = len(light)
    alone, potted = blur(plant, 3), blur((code >= 1)[:, None].float(), 3)
    back = behind(backs, n, SIZE)
    back = torch.where(chance(n, 0.3), blur(back, 9), back)
    back = torch.where(chance(n, 0.15), (0.5 + 0.3 * clouds(n, SIZE, 3)).clamp(0, 1), back)
    back = to_linear(back) * 2 ** between(n, -1.5, 0.7)
    which = torch.rand(n, 1, 1, 1, device=DEVICE)
    front = torch.where(which < 0.16, alone, potted)
    light = torch.where(which < 0.45, light * front + back * (1 - front), light)
    light = torch.where(chance(n, 0.2), light * (plant + (1 - plant) * torch.exp(normal(n, 3, 1, 1) * 0.45)), light)
    order, width = torch.randperm(n, device=DEVICE), random.choice((9, 15, 25))
    other = blur(plant[order], width)
    colour = blur(light[order] * plant[order], width) / (other + 1e-3)
    return torch.where(chance(n, 0.18) & (plant == 0), light * (1 - other) + colour * other, light)


def obstructed(x, target, backs):
    """Labels, stakes, fingers in front, and photos without a plant: not plant."""
    for i in range(len(x)):
        lot = random.random()
        if lot < 0.12:
            w, h = int(uniform(0.05, 0.35) * SIZE), int(uniform(0.03, 0.3) * SIZE)
            u, v = random.randrange(SIZE - w), random.randrange(SIZE - h)
            plain = torch.rand(3, 1, 1, device=DEVICE).expand(3, h, w)
            x[i, :, v : v + h, u : u + w] = behind(backs, 1, SIZE)[0, :, v : v + h, u : u + w] if random.random() < 0.5 else plain
            target[i, v : v + h, u : u + w] = 0
        elif lot < 0.18:
            x[i] = behind(backs, 1, SIZE)[0]
            target[i] = 0
    return x, target


@torch.no_grad()
def batch(small, large, backs):
    """Pictures, plant, contact of two plants, tissue."""
    from_small = 0 if not small.n else BATCH if not large.n else BATCH * 6 // 10
    parts = [looks(s, k) for s, k in ((small, from_small), (large, BATCH - from_small)) if k]
    x, code = torch.cat([p[0] for p in parts]), torch.cat([p[1] for p in parts])
    tissue = torch.where(code >= 8, code % 8, torch.zeros_like(code))
    plant = (code >= 8)[:, None].float()
    light = resettled(recoloured(to_linear(x), tissue, plant), code, plant, backs)
    light = shadows(light, SIZE, 0.2, 0.5, (0.12, 0.5))
    x = camera(light, 0.12, (-1.3, 0.9), (0.6, 1.4), (0.75, 1.3), 0.35, (0.85, 1.2))
    x, target = obstructed(x, (code >= 8).float(), backs)
    number = (code >> 3).float()[:, None] * target[:, None]
    highest = F.max_pool2d(number, 7, 1, 3)
    lowest = -F.max_pool2d(-torch.where(number > 0, number, 99.0), 7, 1, 3)
    contact = ((highest > 0) & (lowest < 99) & (highest != lowest)).float()[:, 0]
    return x.contiguous(memory_format=torch.channels_last), target, contact, tissue * (target > 0)


def loss(answer, target, contact, tissue):
    y = F.interpolate(answer.float(), size=(SIZE, SIZE), mode="bilinear")
    wide = target[:, None]
    edge = (F.max_pool2d(wide, 5, 1, 2) != -F.max_pool2d(-wide, 5, 1, 2)).float()[:, 0]
    cross = (F.binary_cross_entropy_with_logits(y[:, 0], target, reduction="none") * (1 + 2 * edge)).mean()
    p = y[:, 0].sigmoid()
    dice = 1 - (2 * (p * target).sum((1, 2)) + 20) / ((p + target).sum((1, 2)) + 20)
    near = F.max_pool2d(wide, 9, 1, 4)[:, 0]
    three = torch.tensor(3.0, device=DEVICE)
    meets = F.binary_cross_entropy_with_logits(y[:, 1], contact, pos_weight=three, reduction="none") * near
    kinds = F.cross_entropy(y[:, 2:9], tissue, weight=TISSUE_WEIGHT, reduction="none") * target
    return cross + 0.7 * dice.mean() + 0.25 * meets.sum() / (near.sum() + 1) + 0.15 * kinds.sum() / (target.sum() + 1)


@torch.no_grad()
def overlap(network, store):
    """Mean intersection over union: whole picture at 512 x 384, and the largest plant's surroundings at 448."""
    whole, close = [], []
    ratio = lambda p, t: float((p & t).sum() / ((p | t).sum() + 1e-6))
    for i in range(store.n):
        rgb, truth = store.rgb[i][None].float() / 255, store.code[i] >= 8
        y = network(F.interpolate(rgb, size=(384, 512), mode="bilinear", antialias=True))[:, :1]
        whole.append(ratio(F.interpolate(y, size=truth.shape, mode="bilinear")[0, 0] > 0, truth))
        _, x0, y0, x1, y1, _ = max(store.boxes[i], key=lambda b: b[5])
        x, code, _ = cut(store, [i], [((x0 + x1) / 2, (y0 + y1) / 2, max(x1 - x0, y1 - y0) * 1.24, 0, 1, 1)], 448)
        close.append(ratio(F.interpolate(network(x)[:, :1], size=(448, 448), mode="bilinear")[0, 0] > 0, code[0] >= 8))
    return round(float(np.mean(whole)), 4), round(float(np.mean(close)), 4)


def main():
    backs = photos(settings()[3])
    network = Outline().to(DEVICE, memory_format=torch.channels_last)
    rest = [p for name, p in network.named_parameters() if not name.startswith("e.")]
    groups = [{"params": network.e.parameters(), "lr": 3e-4}, {"params": rest, "lr": 1.5e-3}]
    train(network, groups, lambda small, large: batch(small, large, backs), loss, overlap, "outline")


if __name__ == "__main__":
    main()
