"""Trains the outline network: python3 train_outline.py (see `pictures.settings`). Writes OUT/outline.pt."""

import math
import os
import random
import time

import numpy as np
import torch
import torch.nn.functional as F

from networks import Outline, load
from pictures import (
    DEVICE,
    NOT_JUDGED,
    behind,
    between,
    blur,
    camera,
    chance,
    clouds,
    crowns,
    cut,
    inside,
    normal,
    per_tissue,
    photos,
    settings,
    shadows,
    some_angle,
    to_linear,
    uniform,
)
from training import opened, train

SIZE = 448
BATCH = int(os.environ.get("BATCH", "48"))
LEFT_OUT = settings().left_out
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
    rgb, code, _ = cut(store, index, cuts, SIZE)
    return rgb, code, inside(store, cuts, SIZE), crowns(store, index, cuts, SIZE)


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
    as_leaf = (mean_colour(light, leaf) / mean_colour(light, band).clamp_min(1e-3)).clamp(0.05, 2) * torch.exp(
        normal(n, 1) * 0.2
    )
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
            x[i, :, v : v + h, u : u + w] = (
                behind(backs, 1, SIZE)[0, :, v : v + h, u : u + w] if random.random() < 0.5 else plain
            )
            target[i, v : v + h, u : u + w] = 0
        elif lot < 0.18:
            x[i] = behind(backs, 1, SIZE)[0]
            target[i] = 0
    return x, target


def varied(x, code, backs):
    """The cuts as other plants in other places under other lights, as another phone would show them."""
    tissue, plant = tissues(code), (code >= 8)[:, None].float()
    light = to_linear(x)
    if "recoloured" not in LEFT_OUT:
        light = recoloured(light, tissue, plant)
    if "resettled" not in LEFT_OUT:
        light = resettled(light, code, plant, backs)
    light = shadows(light, SIZE, 0.2, 0.5, (0.12, 0.5))
    return camera(light, 0.12, (-1.3, 0.9), (0.6, 1.4), (0.75, 1.3), 0.35, (0.85, 1.2))


def tissues(code):
    return torch.where(code >= 8, code % 8, torch.zeros_like(code))


@torch.no_grad()
def batch(small, large, backs):
    """Pictures; plant; where that is judged; where crowns are known; number of the plant there; crowns and sizes."""
    from_small = 0 if not small.n else BATCH if not large.n else BATCH * 6 // 10
    parts = [looks(s, k) for s, k in ((small, from_small), (large, BATCH - from_small)) if k]
    x, code, told, middles = (torch.cat([p[i] for p in parts]) for i in range(4))
    x, target = obstructed(varied(x, code, backs), (code >= 8).float(), backs)
    number, judged = (code >> 3) * (target * told > 0), (code != NOT_JUDGED).float()
    return x.contiguous(memory_format=torch.channels_last), target, judged, told * judged, number, middles


def centre_truth(number, middles):
    """At a quarter of the size: heat of the nearest crown, 1 there (sd a tenth of the plant's size), offsets to one's own crown in
    units of `REACH`, and where there is a plant."""
    number = number[:, 2::4, 2::4]
    n, h, w = number.shape
    at = torch.arange(w, device=DEVICE) * 4.0 + 2.5
    x, y = at.view(1, 1, 1, w), at.view(1, 1, h, 1)
    cx, cy, size = (middles[..., i].view(n, -1, 1, 1) for i in range(3))
    spread = (0.1 * size).clamp_min(4)
    heat = torch.exp(-((x - cx) ** 2 + (y - cy) ** 2) / (2 * spread**2)) * (size > 0)
    own = torch.gather(middles, 1, number.reshape(n, -1, 1).expand(-1, -1, 3)).view(n, h, w, 3)
    offset = torch.stack([own[..., 0] - at.view(1, 1, w), own[..., 1] - at.view(1, h, 1)], 1) / Outline.REACH
    return heat.amax(1), offset, (number > 0).float()


def loss(answer, target, judged, told, number, middles):
    plant, centre = answer
    y = F.interpolate(plant.float(), size=(SIZE, SIZE), mode="bilinear")[:, 0]
    wide = target[:, None]
    edge = (F.max_pool2d(wide, 5, 1, 2) != -F.max_pool2d(-wide, 5, 1, 2)).float()[:, 0]
    cross = (F.binary_cross_entropy_with_logits(y, target, reduction="none") * (1 + 2 * edge) * judged).mean()
    p = y.sigmoid() * judged
    dice = 1 - (2 * (p * target).sum((1, 2)) + 20) / ((p + target).sum((1, 2)) + 20)
    heat, offset, there = centre_truth(number, middles)
    warm = (
        F.binary_cross_entropy_with_logits(centre[:, 0].float(), heat, reduction="none") * (1 + 10 * heat) * told[:, 2::4, 2::4]
    )
    far = F.smooth_l1_loss(centre[:, 1:].float(), offset, reduction="none", beta=0.1).mean(1) * there
    return cross + 0.7 * dice.mean() + 0.3 * warm.mean() + 0.3 * far.sum() / (there.sum() + 1)


@torch.no_grad()
def overlap(network, store):
    """Mean intersection over union: whole picture at 512 x 384, and the largest plant's surroundings at 448."""
    whole, close = [], []
    ratio = lambda p, t: float((p & t).sum() / ((p | t).sum() + 1e-6))
    for i in range(store.n):
        rgb, truth = store.rgb[i][None].float() / 255, store.code[i] >= 8
        y = network(F.interpolate(rgb, size=(384, 512), mode="bilinear", antialias=True))[0]
        whole.append(ratio(F.interpolate(y, size=truth.shape, mode="bilinear")[0, 0] > 0, truth))
        _, x0, y0, x1, y1, _ = max(store.boxes[i], key=lambda b: b[5])
        x, code, _ = cut(store, [i], [((x0 + x1) / 2, (y0 + y1) / 2, max(x1 - x0, y1 - y0) * 1.24, 0, 1, 1)], 448)
        close.append(ratio(F.interpolate(network(x)[0], size=(448, 448), mode="bilinear")[0, 0] > 0, code[0] >= 8))
    return [round(float(f(v)), 4) for v in (whole, close) for f in (np.mean, np.min)] if whole else []


def mimic(early, small, large, backs, minutes):
    """Teaches the plain early layers to say what the pretrained ones say, before anything else learns."""
    model = Outline(early=False).to(DEVICE).eval()
    optimiser = torch.optim.AdamW(early.parameters(), lr=3e-3, weight_decay=1e-4)
    start = time.time()
    while (spent := (time.time() - start) / (minutes * 60)) < 1:
        optimiser.param_groups[0]["lr"] = 3e-3 * (0.5 * (1 + math.cos(math.pi * spent)) + 0.01)
        x = (batch(small, large, backs)[0] - 0.498) / 0.502
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=DEVICE == "cuda"):
            with torch.no_grad():
                wanted = model.first((x * 0.502) + 0.498)[2].float()
            said = early(x)[2].float()
        value = ((said - wanted) ** 2).mean() / wanted.var()
        optimiser.zero_grad(set_to_none=True)
        value.backward()
        optimiser.step()
    print("early layers: share of variance not explained", round(float(value.detach()), 3), flush=True)


def with_teacher(teacher):
    """The loss, and what a larger network says of the same pictures: logits of plant, held within what counts as certain."""

    def both(answer, seen, *truth):
        with torch.no_grad():
            wanted = teacher(seen)[0].float().clamp(-8, 8)
        said = answer[0].float()
        as_told = F.binary_cross_entropy_with_logits(said, wanted.sigmoid()) + 0.05 * F.smooth_l1_loss(
            said.clamp(-9, 9), wanted
        )
        return loss(answer, *truth) + as_told

    return both


def main():
    """START: weights to go on from; TEACHER: weights of the network with the whole encoder to learn from as well."""
    backs = photos(settings().behind)
    start, teacher = os.environ.get("START"), os.environ.get("TEACHER")
    network = Outline(early=not os.environ.get("WHOLE_ENCODER")).to(DEVICE, memory_format=torch.channels_last)
    rest = [p for name, p in network.named_parameters() if not name.startswith("e.")]
    share = 0.5 if start else 1.0
    groups = [{"params": network.e.parameters(), "lr": 3e-4 * share}, {"params": rest, "lr": 1.5e-3 * share}]
    stores = opened()
    if start:
        load(network, start).train()
    elif network.early:
        mimic(network.early, *stores[:2], backs, settings().minutes / 10)
    cuts, value = lambda small, large: batch(small, large, backs), loss
    if teacher:
        value = with_teacher(load(Outline(early=False), teacher).to(DEVICE))
        cuts = lambda small, large: seen_twice(*batch(small, large, backs))
    train(network, groups, cuts, value, overlap, os.environ.get("NAME", "outline"), stores)


def seen_twice(pictures, *truth):
    """The pictures among the truth too, for the teacher."""
    return pictures, pictures, *truth


if __name__ == "__main__":
    main()
