"""Training pictures: stores on the device, cuts with augmentation. Sizes are pixels, angles radians, colours sRGB codes / 255.

A picture NAME is three files: NAME.jpg; NAME.png, a mask of codes (0 background, 1 pot and soil, 7 a plant not to be judged,
8 k + c plant k with tissue c: 1 green, 2 cream, 3 gold, 4 red, 5 band, 6 dead); NAME.txt, the cast left in it (linear gains of red, green,
blue), then a line a plant: k and its crown, x and y in pixels. A plant without such a line has its mask's centroid.
"""

import glob
import math
import os
import random
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import torch
import torch.nn.functional as F
from PIL import Image
from scipy.ndimage import find_objects

DEVICE = "cuda" if torch.cuda.is_available() else "cpu"
uniform = np.random.uniform
NOT_JUDGED = 7
MOST_PLANTS = 31


class Store:
    """Pictures of one size, on the device; `add` may be called again while a renderer is still writing."""

    def __init__(self, height, width, capacity):
        self.h, self.w, self.n = height, width, 0
        self.rgb = torch.zeros(capacity, 3, height, width, dtype=torch.uint8, device=DEVICE)
        self.code = torch.zeros(capacity, height, width, dtype=torch.uint8, device=DEVICE)
        self.cast = torch.ones(capacity, 3, device=DEVICE)
        # Crown (x, y) and size (root of the pixels) of each plant; no plant: size 0.
        self.plants = torch.zeros(capacity, MOST_PLANTS + 1, 3, device=DEVICE)
        self.boxes, self.seen = [], set()

    def add(self, folder):
        """Reads what is new in a folder, several pictures at a time."""
        new = [path for path in sorted(glob.glob(folder + "/*.txt")) if path not in self.seen]
        self.seen.update(new)
        with ThreadPoolExecutor(4) as several:
            for rgb, code, cast, plants in several.map(read, new):
                boxes = [(k, *plants[k][3:], pixels) for k, pixels in sizes(code).items() if pixels >= 150]
                if self.n >= len(self.rgb) or code.shape != (self.h, self.w) or not boxes:
                    continue
                self.rgb[self.n] = torch.from_numpy(rgb).to(DEVICE).permute(2, 0, 1)
                self.code[self.n] = torch.from_numpy(code).to(DEVICE)
                self.cast[self.n] = torch.tensor(cast, device=DEVICE)
                crowns_and_sizes = np.zeros((MOST_PLANTS + 1, 3), np.float32)
                for k, (x, y, size, *_) in plants.items():
                    crowns_and_sizes[k] = x, y, size
                self.plants[self.n] = torch.from_numpy(crowns_and_sizes)
                self.boxes.append(boxes)
                self.n += 1


def read(path):
    """Picture, codes, cast, and for each plant its crown (x, y), size, and box (left, top, right, bottom)."""
    rgb, code = np.array(Image.open(path[:-4] + ".jpg").convert("RGB")), np.array(Image.open(path[:-4] + ".png"))
    cast, *lines = open(path).read().strip().split("\n")
    told = {int(k): (float(x), float(y)) for k, x, y in (line.split() for line in lines)}
    number, plants = code >> 3, {}
    where = find_objects(number)
    for k, pixels in sizes(code).items():
        y, x = where[k - 1]
        row, column = np.nonzero(number[y, x] == k)
        middle = told.get(k, (x.start + column.mean() + 0.5, y.start + row.mean() + 0.5))
        plants[k] = (*middle, math.sqrt(pixels), x.start, y.start, x.stop, y.stop)
    return rgb, code, [float(v) for v in cast.split()], plants


def sizes(code):
    """Pixels of each plant."""
    return {k: int(pixels) for k, pixels in enumerate(np.bincount((code >> 3).ravel())) if k and pixels}


def photos(folder, size=640, most=400):
    """Photos to put behind plants, as squares."""
    out = []
    for path in sorted(glob.glob(folder + "/*.jpg"))[:most]:
        photo = Image.open(path).convert("RGB")
        k = size / min(photo.size)
        photo = photo.resize((max(size, round(photo.width * k)), max(size, round(photo.height * k))))
        x, y = (photo.width - size) // 2, (photo.height - size) // 2
        out.append(torch.from_numpy(np.array(photo.crop((x, y, x + size, y + size)))).permute(2, 0, 1))
    return torch.stack(out).to(DEVICE)


def grids(cuts, size, h, w):
    """Sampling grids for cuts (centre x, centre y, side, angle, flip +-1, aspect) of an h x w picture."""
    t = torch.tensor(cuts, device=DEVICE, dtype=torch.float32)
    cx, cy, side, angle, flip, aspect = (t[:, i].view(-1, 1, 1) for i in range(6))
    u = (torch.arange(size, device=DEVICE) + 0.5) / size - 0.5
    ys, xs = torch.meshgrid(u, u, indexing="ij")
    x, y = xs[None] * flip * side, ys[None] * side * aspect
    c, s = torch.cos(angle), torch.sin(angle)
    return torch.stack([(c * x - s * y + cx) / w * 2 - 1, (s * x + c * y + cy) / h * 2 - 1], -1)


def inside(store, cuts, size):
    """1 where the cuts show the pictures, 0 where they show their mirror images beyond the border."""
    return (grids(cuts, size, store.h, store.w).abs().amax(-1) <= 1).float()


def crowns(store, index, cuts, size):
    """Crown (x, y) and size of the pictures' plants in pixels of the cuts, (n, plants, 3)."""
    t = torch.tensor(cuts, device=DEVICE, dtype=torch.float32)
    cx, cy, side, angle, flip, aspect = (t[:, i].view(-1, 1) for i in range(6))
    there = store.plants[torch.tensor(index, device=DEVICE)]
    x, y = there[..., 0] - cx, there[..., 1] - cy
    c, s = torch.cos(angle), torch.sin(angle)
    u, v = (c * x + s * y) / (flip * side), (c * y - s * x) / (side * aspect)
    return torch.stack([(u + 0.5) * size, (v + 0.5) * size, there[..., 2] * size / (side * aspect.sqrt())], -1)


def cut(store, index, cuts, size):
    """Pictures, codes and casts of the cuts; beyond the picture it is mirrored."""
    grid = grids(cuts, size, store.h, store.w)
    i = torch.tensor(index, device=DEVICE)
    rgb = store.rgb[i].float() / 255
    how = dict(padding_mode="reflection", align_corners=False)
    code = F.grid_sample(store.code[i][:, None].float(), grid, mode="nearest", **how)[:, 0].round().long()
    out = F.grid_sample(rgb, grid, mode="bilinear", **how)
    shrunk = torch.tensor([c[2] / size > 1.4 for c in cuts], device=DEVICE).view(-1, 1, 1, 1)
    if bool(shrunk.any()):
        half = F.grid_sample(F.avg_pool2d(rgb, 2), grid, mode="bilinear", **how)
        out = torch.where(shrunk, half, out)
    return out, code, store.cast[i]


def behind(photos_, count, size):
    """Random cuts of the photos."""
    n = photos_.shape[-1]
    cuts = [
        (
            uniform(0.3, 0.7) * n,
            uniform(0.3, 0.7) * n,
            n * uniform(0.3, 0.9),
            0 if random.random() < 0.8 else uniform(-0.4, 0.4),
            random.choice((-1, 1)),
            uniform(0.85, 1.2),
        )
        for _ in range(count)
    ]
    i = torch.randint(0, len(photos_), (count,), device=DEVICE)
    return F.grid_sample(
        photos_[i].float() / 255, grids(cuts, size, n, n), mode="bilinear", padding_mode="reflection", align_corners=False
    )


def some_angle():
    return float(uniform(0, 2 * math.pi) if random.random() < 0.35 else np.random.normal(0, 0.15))


def to_linear(x):
    return torch.where(x <= 0.04045, x / 12.92, ((x.clamp_min(0) + 0.055) / 1.055) ** 2.4)


def to_code(x):
    x = x.clamp(0, 1)
    return torch.where(x <= 0.0031308, x * 12.92, 1.055 * x.clamp_min(1e-6) ** (1 / 2.4) - 0.055)


def normal(n, *shape):
    return torch.randn(n, *shape, device=DEVICE)


def between(n, low, high):
    return torch.rand(n, 1, 1, 1, device=DEVICE) * (high - low) + low


def chance(n, p):
    return torch.rand(n, 1, 1, 1, device=DEVICE) < p


def blur(x, width):
    for _ in range(2):
        x = F.avg_pool2d(F.pad(x, (width // 2,) * 4, mode="reflect"), 2 * (width // 2) + 1, 1)
    return x


def clouds(n, size, channels=1):
    """Smooth noise of six octaves."""
    out = torch.zeros(n, channels, size, size, device=DEVICE)
    for octave in range(1, 7):
        side = 2**octave + 1
        grain = F.interpolate(normal(n, channels, side, side), size=(size, size), mode="bilinear", align_corners=False)
        out = out + grain * (torch.rand(n, channels, 1, 1, device=DEVICE) * 1.6 / octave**0.8)
    return out


def shadows(light, size, p, hard, deepest):
    """Shade over part of the picture, soft or hard."""
    n = len(light)
    shade = (clouds(n, size) * between(n, 1, 4) + between(n, -1, 2)).sigmoid()
    shade = torch.where(chance(n, hard), (shade > 0.5).float(), shade)
    floor = between(n, *deepest)
    return torch.where(chance(n, p), light * (floor + (1 - floor) * shade), light)


def camera(light, cast, exposure, saturation, contrast, p_blur, gamma):
    """Linear light to codes as some phone would: cast, exposure (stops), falling light, tone, blur, noise."""
    n, size = len(light), light.shape[-1]
    light = (
        light * torch.exp(normal(n, 3, 1, 1) * cast * torch.rand(n, 1, 1, 1, device=DEVICE) * 1.5) * 2 ** between(n, *exposure)
    )
    u = torch.linspace(-1, 1, size, device=DEVICE)
    fall = torch.exp(normal(n, 1, 1, 1) * 0.35 * u.view(1, 1, 1, size) + normal(n, 1, 1, 1) * 0.35 * u.view(1, 1, size, 1))
    light = torch.where(chance(n, 0.3), light * fall, light)
    x = to_code(light) ** between(n, *gamma)
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * between(n, *saturation)
    x = ((x - 0.5) * between(n, *contrast) + 0.5).clamp(0, 1)
    for width, weight in ((3, 1.3), (5, 0.8), (9, 0.8)):
        x = torch.where(chance(n, p_blur / 3 * weight), blur(x, width), x)
    x = torch.where(chance(n, 0.5), x + normal(n, 3, size, size) * between(n, 0, 0.05), x)
    return (x.clamp(0, 1) * 255).round() / 255


def per_tissue(gains, tissue, size):
    """Gains (n, 7, 3) laid over the tissues (n, size, size), edges softened."""
    n = len(gains)
    spread = (
        torch.gather(gains, 1, tissue.view(n, -1, 1).clamp(max=6).expand(-1, -1, 3)).permute(0, 2, 1).view(n, 3, size, size)
    )
    return blur(spread, 3)


@dataclass(frozen=True)
class Settings:
    """From the environment: SMALL and LARGE (folders of pictures, ':' between), EVAL, BEHIND (photos), OUT, MINUTES, NAME of the
    file written, LEFT_OUT (steps of the variation, ',' between, to see what they bring)."""

    small: list
    large: list
    evaluation: list
    behind: str
    out: str
    minutes: float
    left_out: list


def settings():
    read = lambda name, default="": os.environ.get(name, default)
    several = lambda name, by=":": [f for f in read(name).split(by) if f]
    small, large, evaluation = (several(name) for name in ("SMALL", "LARGE", "EVAL"))
    minutes = float(read("MINUTES", "12"))
    return Settings(small, large, evaluation, read("BEHIND"), read("OUT", "."), minutes, several("LEFT_OUT", ","))
