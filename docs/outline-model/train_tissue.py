"""Trains the tissue network: python3 train_tissue.py (see `pictures.settings`). Writes OUT/tissue.pt."""

import math
import os
import random

import numpy as np
import torch
import torch.nn.functional as F

from networks import Tissue
from pictures import (
    DEVICE,
    between,
    blur,
    camera,
    chance,
    clouds,
    cut,
    normal,
    per_tissue,
    shadows,
    to_code,
    to_linear,
    uniform,
)
from training import opened, train

SIZE = 512
BATCH = int(os.environ.get("BATCH", "24"))
# No leaf, green, cream, gold, red, band, dead: rare ones count more. `export.py` takes these weights out of the answer again.
WEIGHT = (0.6, 1.0, 1.5, 1.4, 1.4, 1.0, 2.0)


def looks(store, count):
    """One plant each, from farther and nearer, with its number."""
    index, cuts, numbers = [], [], []
    while len(index) < count:
        i = random.randrange(store.n)
        boxes = [b for b in store.boxes[i] if b[5] > 900]
        if not boxes:
            continue
        k, x0, y0, x1, y1, _ = random.choice(boxes)
        side = max(x1 - x0, y1 - y0) * math.exp(uniform(math.log(0.7), math.log(1.9)))
        index.append(i)
        numbers.append(k)
        cuts.append(
            (
                (x0 + x1) / 2 + uniform(-0.15, 0.15) * side,
                (y0 + y1) / 2 + uniform(-0.15, 0.15) * side,
                side,
                float(uniform(0, 2 * math.pi)) if random.random() < 0.5 else 0.0,
                random.choice((-1, 1)),
                uniform(0.88, 1.14),
            )
        )
    return (*cut(store, index, cuts, SIZE), torch.tensor(numbers, device=DEVICE).view(count, 1, 1))


@torch.no_grad()
def batch(small, large):
    """Red, green, blue and mask; tissue; where it counts."""
    from_small = 0 if not small.n else BATCH if not large.n else BATCH * 4 // 10
    parts = [looks(s, k) for s, k in ((small, from_small), (large, BATCH - from_small)) if k]
    x, code, cast, number = (torch.cat([p[i] for p in parts]) for i in range(4))
    tissue = torch.where(code >= 8, code % 8, torch.zeros_like(code))
    light = to_linear(x) / cast.view(BATCH, 3, 1, 1)
    # Plants differ a little in colour, no more: colour is what tells the tissues apart.
    spread = torch.tensor(np.random.choice([0, 0.06, 0.12], BATCH, p=[0.4, 0.4, 0.2]), device=DEVICE, dtype=torch.float32).view(
        BATCH, 1, 1
    )
    gains = torch.exp(normal(BATCH, 7, 1) * spread + normal(BATCH, 7, 3) * spread * 0.5)
    light = light * per_tissue(gains, tissue, SIZE)
    # White is not exactly known: mostly along the daylight line.
    along = normal(BATCH) * torch.where(torch.rand(BATCH, device=DEVICE) < 0.7, 0.035, 0.08)
    light = light * torch.exp(torch.stack([along, normal(BATCH) * 0.015, -along], 1)).view(BATCH, 3, 1, 1)
    light = shadows(light, SIZE, 0.2, 0.4, (0.3, 0.3))
    glare = ((clouds(BATCH, SIZE) - between(BATCH, 2, 4)) * 3).sigmoid()
    light = torch.where(chance(BATCH, 0.2), light + glare * between(BATCH, 0.1, 1), light)
    x = camera(light, 0.0, (-1.1, 0.7), (0.8, 1.25), (0.85, 1.2), 0.4, (0.9, 1.12))
    # The outline is not exact either.
    mask = ((code >> 3) == number).float()[:, None]
    width = random.choice((1, 3, 5, 9))
    ragged = 0.25 * clouds(BATCH, SIZE) * (width > 1) * chance(BATCH, 0.5)
    mask = (blur(mask, width) + ragged > between(BATCH, 0.3, 0.7)).float()
    return torch.cat([x, mask], 1).contiguous(memory_format=torch.channels_last), tissue, mask[:, 0]


def loss(answer, tissue, mask):
    y = F.interpolate(answer.float(), size=(SIZE, SIZE), mode="bilinear")
    weight = torch.tensor(WEIGHT, device=DEVICE)
    cross = (F.cross_entropy(y, tissue, weight=weight, reduction="none") * mask).sum() / (mask.sum() + 1)
    shares = y.softmax(1) * mask[:, None]
    truth = F.one_hot(tissue, 7).permute(0, 3, 1, 2) * mask[:, None]
    dice = 1 - (2 * (shares * truth).sum((0, 2, 3)) + 50) / ((shares + truth).sum((0, 2, 3)) + 50)
    return cross + 0.3 * dice[1:].mean()


@torch.no_grad()
def scores(network, store):
    """F1 of green, cream, gold, red, band, dead over all plants, true outline and white; no pixel is left unsure."""
    table = torch.zeros(7, 7, device=DEVICE)
    for i in range(store.n):
        for k, x0, y0, x1, y1, _ in store.boxes[i]:
            side = max(x1 - x0, y1 - y0) * 1.1
            x, code, cast = cut(store, [i], [((x0 + x1) / 2, (y0 + y1) / 2, side, 0, 1, 1)], SIZE)
            mask = (code >> 3) == k
            x = to_code(to_linear(x) / cast.view(1, 3, 1, 1))
            y = F.interpolate(
                network(torch.cat([x, mask[:, None].float()], 1)).float(), size=(SIZE, SIZE), mode="bilinear"
            ).argmax(1)
            table += (side / SIZE) ** 2 * torch.bincount((code % 8)[mask] * 7 + y[mask], minlength=49).view(7, 7)
    return [round(float(2 * table[j, j] / (table[j].sum() + table[:, j].sum() + 1e-6)), 3) for j in range(1, 7)]


def main():
    network = Tissue().to(DEVICE, memory_format=torch.channels_last)
    train(network, [{"params": network.parameters(), "lr": 2e-3}], batch, loss, scores, "tissue", opened())


if __name__ == "__main__":
    main()
