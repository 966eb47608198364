"""Figures of an exported outline network: python3 evaluate.py outline.onnx FOLDER ... (folders of training pictures, see `pictures`).

For each folder: intersection over union of all plants, the whole picture at 512 x 384 and the surroundings of its largest plant at 448 x 448
(mean, tenth percentile, worst); crowns found, missed and false, in the whole pictures. Needs onnxruntime.
"""

import glob
import sys

import numpy as np
import onnxruntime
from PIL import Image

# A crown is a local maximum of the heat above this, over so many fields of the map to each side.
CROWN, AROUND = 0.3, 3


def answer(session, rgb):
    """Logit of plant at half the size, heat of crowns at a quarter."""
    plant, centre = session.run(None, {"picture": np.asarray(rgb, np.float32).transpose(2, 0, 1)[None] / 255})
    return plant[0, 0], 1 / (1 + np.exp(-centre[0, 0]))


def overlap(logit, truth, judged):
    """Of the mask at the truth's size."""
    seen = np.asarray(Image.fromarray(logit).resize(truth.shape[::-1], Image.Resampling.BILINEAR)) > 0
    return (seen & truth & judged).sum() / max(1, ((seen | truth) & judged).sum())


def crowns(heat):
    """(x, y) of the local maxima, in pixels of the input."""
    padded = np.pad(heat, AROUND)
    span = range(2 * AROUND + 1)
    highest = np.max([padded[i : i + heat.shape[0], j : j + heat.shape[1]] for i in span for j in span], 0)
    y, x = np.nonzero((heat >= highest) & (heat > CROWN))
    return np.stack([x * 4 + 2.5, y * 4 + 2.5], 1)


def found_missed_false(seen, code, scale):
    """Each plant of at least 1 % of the largest's pixels: is there a crown within half its size of its centroid? `scale`: seen / code."""
    number, found, used = code >> 3, 0, set()
    sizes = {k: (number == k).sum() for k in np.unique(number[number > 0])}
    plants = [k for k, pixels in sizes.items() if pixels >= 0.01 * max(sizes.values())]
    for k in plants:
        y, x = np.nonzero(number == k)
        middle, reach = np.array([x.mean(), y.mean()]) * scale, 0.5 * np.sqrt(sizes[k]) * scale
        near = [i for i, at in enumerate(seen) if i not in used and np.hypot(*(at - middle)) < reach]
        if near:
            used.add(min(near, key=lambda i: np.hypot(*(seen[i] - middle))))
            found += 1
    inside = [
        i
        for i, (x, y) in enumerate(seen)
        if code[min(int(y / scale), len(code) - 1), min(int(x / scale), code.shape[1] - 1)] != 7
    ]
    return found, len(plants) - found, len([i for i in inside if i not in used])


def surroundings(code):
    """Square around the largest plant, a quarter wider."""
    number = code >> 3
    largest = np.bincount(number[number > 0]).argmax()
    y, x = np.nonzero(number == largest)
    side, cx, cy = max(np.ptp(x) + 1, np.ptp(y) + 1) * 1.24, (x.min() + x.max() + 1) / 2, (y.min() + y.max() + 1) / 2
    return round(cx - side / 2), round(cy - side / 2), round(cx + side / 2), round(cy + side / 2)


def figures(session, folder):
    whole, close, told = [], [], np.zeros(3, int)
    for path in sorted(glob.glob(folder + "/*.txt")):
        photo, mask = Image.open(path[:-4] + ".jpg").convert("RGB"), Image.open(path[:-4] + ".png")
        code = np.asarray(mask)
        if not (code >= 8).any():
            continue
        size = (512, max(1, round(512 * photo.height / photo.width / 32)) * 32)
        logit, heat = answer(session, photo.resize(size, Image.Resampling.BOX))
        whole.append(overlap(logit, code >= 8, code != 7))
        told += found_missed_false(crowns(heat), code, 512 / photo.width)
        part = surroundings(code)
        logit, _ = answer(session, photo.crop(part).resize((448, 448), Image.Resampling.BILINEAR))
        truth = np.asarray(mask.crop(part))
        close.append(overlap(logit, truth >= 8, truth != 7))
    return whole, close, told


def main():
    session = onnxruntime.InferenceSession(sys.argv[1], providers=["CPUExecutionProvider"])
    print("folder: pictures; whole mean, p10, worst; close mean, p10, worst; crowns found, missed, false")
    for folder in sys.argv[2:]:
        whole, close, told = figures(session, folder)
        shares = [f"{f(v):.3f}" for v in (whole, close) for f in (np.mean, lambda v: np.percentile(v, 10), np.min)]
        print(f"{folder}: {len(whole)};", *shares, *told, flush=True)


if __name__ == "__main__":
    main()
