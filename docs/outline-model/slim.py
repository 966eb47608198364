"""Trains the outline network's slim last stage to say what the wide one says, all else frozen: OUT/outline.pt -> OUT/slim.pt."""

import math
import time

import torch
import torch.nn.functional as F

import train_outline
from networks import Average, Outline, Slim, load
from pictures import DEVICE, Store, photos, settings


def main():
    small_folders, large_folders, _, back_folder, out, minutes = settings()
    small, large, backs = Store(576, 576, 200), Store(900, 1200, 220), photos(back_folder)
    [small.add(f) for f in small_folders], [large.add(f) for f in large_folders]
    deep, slim = load(Outline(), out + "/outline.pt").to(DEVICE), Slim().to(DEVICE)
    average = Average(slim)
    optimiser = torch.optim.AdamW(slim.parameters(), lr=4e-3, weight_decay=1e-4)
    start, step = time.time(), 0
    while (spent := (time.time() - start) / (minutes * 60)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = 4e-3 * min(1, (step + 1) / 30) * (0.5 * (1 + math.cos(math.pi * spent)) + 0.01)
        x, target, _, _ = train_outline.batch(small, large, backs)
        with torch.no_grad():
            y, first = deep.trunk(x)
            wide = deep.last(y, first)[:, :2].clamp(-8, 8)
        answer = slim(y, first)
        truth = F.interpolate(target[:, None], size=answer.shape[-2:], mode="area")
        value = F.smooth_l1_loss(answer.clamp(-9, 9), wide) + F.binary_cross_entropy_with_logits(answer, wide.sigmoid())
        value = value + 0.5 * F.binary_cross_entropy_with_logits(answer[:, :1], truth)
        optimiser.zero_grad()
        value.backward()
        optimiser.step()
        average.step(slim)
        step += 1
        if step % 40 == 0:
            print(step, round(float(value.detach()), 4), flush=True)
    average.save(out + "/slim.pt")


if __name__ == "__main__":
    main()
