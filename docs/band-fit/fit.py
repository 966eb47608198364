"""Weights of `src/bands/plant.rs`: how a plant's true band pitch and width follow from what is seen of its bands.

    cargo run --release --example band_features -- SCENES/*.jpg > features.csv
    python3 docs/band-fit/fit.py features.csv SCENES

SCENES: rendered scenes, each NAME.jpg with its truth NAME.json. Needs numpy. README.md explains the method.
"""
import csv
import json
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

LEAST_PX = 5.0  # narrower bands are not fitted
UNBROKEN = 2.0  # why::UNBROKEN
FEWEST = 8, 6  # plant::FEWEST: bands, pairs
USUAL_VIEW = 0.9  # plant::USUAL_VIEW
FOLDS, REPEATS = 10, 5


def quantile(values, weights, p):
    """As `plant::quantile`: linear between the middles of the weights."""
    order = np.argsort(values)
    values, weights = values[order], weights[order]
    return np.interp(p * weights.sum(), np.cumsum(weights) - weights / 2, values)


def overlap(a, b):
    """Intersection over union of two boxes x, y, width, height."""
    w = min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0])
    h = min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1])
    both = max(w, 0) * max(h, 0)
    return both / (a[2] * a[3] + b[2] * b[3] - both)


def corners(plant):
    """The truth's box as x, y, width, height."""
    left, top, right, bottom = plant["bbox_px"]
    return left, top, right - left, bottom - top


def plants(features, scenes):
    """One dict a plant that the program measured and whose truth is known."""
    seen = defaultdict(list)
    for row in csv.DictReader(open(features, encoding="utf-8")):
        seen[row["photo"], *(int(row[k]) for k in ("x", "y", "width", "height"))].append(row)
    found = []
    for (photo, *box), rows in seen.items():
        scene = json.loads((Path(scenes) / f"{photo}.json").read_text())
        truth = max(scene["plants"], key=lambda plant: overlap(corners(plant), box))
        wide = truth["band_width_mm"] * truth["px_per_mm_at_plant"] >= LEAST_PX
        if overlap(corners(truth), box) < 0.6 or truth["tubercles_separate"] or not wide:
            continue
        level = scene["card"].get("present") and abs(scene["card"].get("z_minus_soil_mm") or 0) <= 15
        table = {kind: np.array([[float(r[k]) for k in ("width_px", "other_px", "crossings")]
                                 for r in rows if r["kind"] == kind]) for kind in ("band", "pair")}
        if len(table["band"]) < FEWEST[0] or len(table["pair"]) < FEWEST[1]:
            continue
        if float(rows[0]["length_over_width"] or 0) < UNBROKEN:
            continue
        found.append({
            "photo": photo, "pairs": len(table["pair"]), "logs": logs(table["band"], table["pair"]),
            "width": truth["band_width_mm"], "pitch": truth["band_pitch_mm"],
            "view": np.cos(np.radians(scene["tilt_deg"])) - USUAL_VIEW,
            "told": rows[0]["tilt_deg"] != "",
            "true_scale": truth["px_per_mm_at_plant"],
            "scale": float(rows[0]["px_per_mm"]) if level and rows[0]["px_per_mm"] else None,
        })
    return found


def logs(bands, pairs):
    """As `plant::Seen`."""
    by_area, by_crossings = np.sqrt(bands[:, 0] * bands[:, 1]), np.sqrt(pairs[:, 2])
    return {
        "pitch_90": np.log(quantile(pairs[:, 1], by_crossings, 0.9)),
        "pitch_50": np.log(quantile(pairs[:, 1], by_crossings, 0.5)),
        "width_90": np.log(quantile(bands[:, 0], by_area, 0.9)),
        "width_50": np.log(quantile(bands[:, 0], by_area, 0.5)),
        "duty_50": np.log(quantile(pairs[:, 0] / pairs[:, 1], by_crossings, 0.5)),
    }


def row(plant):
    """As `plant::Seen::fitted`: constant, pitch_50, width_90, width_50, duty_50, view."""
    seen = plant["logs"]
    beside = [seen[name] - seen["pitch_90"] for name in ("pitch_50", "width_90", "width_50")]
    return [1.0, *beside, seen["duty_50"], plant["view"]]


def least_absolute(a, y):
    """Least absolute deviations by weighted least squares; a weak ridge keeps weights of like columns small."""
    weights, ridge = np.ones(len(y)), 1e-3 * len(y) * np.diag([0.0] + [1.0] * (a.shape[1] - 1))
    for _ in range(20):
        c = np.linalg.solve((a * weights[:, None]).T @ a + ridge, (a * weights[:, None]).T @ y)
        weights = 1 / np.maximum(np.abs(y - a @ c), 0.05)
        weights /= weights.mean()
    return c


def left_out(a, y, photos):
    """Errors of each plant when its photo was left out of the fit, one row a repeat."""
    names, errors = np.unique(photos), []
    for seed in range(REPEATS):
        order = np.random.default_rng(seed).permutation(len(names))
        fold = dict(zip(names[order], np.arange(len(names)) % FOLDS))
        own = np.array([fold[name] for name in photos])
        error = np.zeros(len(y))
        for k in range(FOLDS):
            error[own == k] = a[own == k] @ least_absolute(a[own != k], y[own != k]) - y[own == k]
        errors.append(error)
    return np.array(errors)


def spread(errors, pairs):
    """`(own, one)`: the error's standard deviation is hypot(own, one / sqrt(pairs)). Least squares on the squares gives the
    ratio of both; the size is such that 95 % of the errors lie within 1.96 of it."""
    squares = np.minimum(np.median(errors, axis=0) ** 2, 0.3**2)
    a = np.column_stack([np.ones(len(pairs)), 1 / pairs])
    own, one = np.maximum(np.linalg.lstsq(a, squares, rcond=None)[0], 1e-6)
    sd = np.sqrt(own + one / pairs)
    size = np.quantile(np.abs(errors) / sd, 0.95) / 1.96
    return size * np.sqrt(own), size * np.sqrt(one)


def main(features, scenes):
    found = plants(features, scenes)
    near = [p["scale"] / p["true_scale"] for p in found if p["scale"]]
    # The program's scale is that at the leaves' middle height, the truth's that at the plant's foot.
    lift = np.median([n for n in near if abs(np.log(n)) < 0.12])
    print(f"{len(found)} plants, scale over truth's {lift:.3f}")
    a, photos = np.array([row(p) for p in found]), np.array([p["photo"] for p in found])
    pairs = np.array([p["pairs"] for p in found], float)
    for what in ("pitch", "width"):
        scale = [p["scale"] if p["scale"] and abs(np.log(p["scale"] / p["true_scale"])) < 0.12
                 else lift * p["true_scale"] for p in found]
        y = np.log([p[what] * s for p, s in zip(found, scale)]) - np.array([p["logs"]["pitch_90"] for p in found])
        errors = left_out(a, y, photos)
        own, one = spread(errors, pairs)
        inside = np.abs(errors) <= 1.96 * np.hypot(own, one / np.sqrt(pairs))
        size = np.abs(np.expm1(errors))
        print(f"{what}: " + " ".join(f"{c:.3f}" for c in least_absolute(a, y)),
              f"| left out: median {np.median(size):.3f}, p90 {np.quantile(size, 0.9):.3f},",
              f"spread {own:.3f} {one:.3f}, inside {inside.mean():.3f}",
              f"(few pairs {inside[:, pairs <= 30].mean():.3f}, many {inside[:, pairs > 60].mean():.3f})")


if __name__ == "__main__":
    main(*sys.argv[1:3])
