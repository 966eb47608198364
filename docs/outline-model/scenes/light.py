"""Lamps, sun and sky. Their colours are relative to the picture's illuminant, which is white."""

import math
from dataclasses import dataclass, field

import mitsuba as mi
import numpy as np

import shapes

# kind: (weight, illuminants to draw from)
LIGHTS = {
    "overcast": (0.15, ["overcast6500"]),
    "sun": (0.14, ["sun5500"]),
    "low_sun": (0.07, ["sun5500"]),
    "dappled": (0.11, ["sun5500"]),
    "window": (0.15, ["overcast6500"]),
    "tungsten": (0.08, ["tungsten2850"]),
    "shade": (0.11, ["shade8000"]),
    "led": (0.08, ["led4000", "led6000"]),
    "dusk": (0.03, ["shade8000"]),
    "flash": (0.04, ["sun5500"]),
    "mixed": (0.04, ["led4000", "overcast6500"]),
}
SUNNY = ("sun", "low_sun", "dappled")


@dataclass
class Lighting:
    kind: str
    lamps: dict = field(default_factory=dict)  # name -> emitter, part of the scene
    blockers: dict = field(default_factory=dict)  # name -> shape that throws a shadow
    electrons: tuple = (9000, 4000, 2000, 1200)  # full well of a pixel to draw from: fewer = noisier


def any_light(rng):
    """Kind of light and the name of its illuminant."""
    weights = np.array([w for w, _ in LIGHTS.values()])
    kind = str(rng.choice(list(LIGHTS), p=weights / weights.sum()))
    return kind, str(rng.choice(LIGHTS[kind][1]))


def _direction(elevation, azimuth):
    c = math.cos(elevation)
    return np.array([c * math.cos(azimuth), c * math.sin(azimuth), math.sin(elevation)])


def _area(radiance):
    return {"type": "area", "radiance": {"type": "rgb", "value": [float(r) for r in np.broadcast_to(radiance, 3)]}}


def _panel(direction, distance, width, height, radiance):
    up = [0, 0, 1] if abs(direction[2]) < 0.98 else [0, 1, 0]
    to_world = mi.ScalarTransform4f().look_at(origin=[float(v) for v in direction * distance], target=[0, 0, 0], up=up)
    scale = mi.ScalarTransform4f().scale([width / 2, height / 2, 1])
    return {"type": "rectangle", "to_world": to_world @ scale, "emitter": _area(radiance)}


def _ball(centre, radius, radiance):
    return {"type": "sphere", "center": [float(v) for v in centre], "radius": float(radius), "emitter": _area(radiance)}


def _sun(direction):
    half, distance = math.radians(0.27), 6000.0
    radiance = 2.2 / (math.pi * math.sin(half) ** 2)
    return _ball(direction * distance, distance * math.tan(half), [radiance, radiance, radiance * 0.98])


def _sky(rng, kind, azimuth):
    """Sky radiance seen from the plant, 128 x 256, top row straight up."""
    h, w = 128, 256
    elevation = np.pi / 2 - (np.arange(h) + 0.5) / h * np.pi
    round_about = (np.arange(w) + 0.5) / w * 2 * np.pi
    above = (elevation > 0)[:, None, None]
    rise = (0.55 + 0.45 * np.clip(np.sin(elevation), 0, 1))[:, None, None]
    side = (1 + 0.7 * np.cos(round_about - azimuth))[None, :, None]
    clouds = 1 + 0.25 * shapes.smooth_noise(rng, h, w, 10, 14)[..., None]
    if kind == "overcast":
        return np.where(above, rise * clouds * (0.6 + 0.4 * side), 0.12) * np.ones(3)
    if kind in ("shade", "dusk"):
        return np.where(above, 0.6 * rise * (0.35 + 0.65 * side) * clouds, 0.10) * np.ones(3)
    if kind in SUNNY:  # the sky is bluer than the sun, the ground redder
        return np.where(above, 0.16 * rise * clouds * [0.66, 0.88, 1.28], 0.05 * np.array([1, 0.95, 0.85]))
    ambient = {"window": 0.05, "tungsten": 0.035, "led": 0.05, "flash": 0.05, "mixed": 0.06}[kind]
    return np.where(above, ambient, ambient * 0.5) * clouds * np.ones(3)


def _lattice(rng, direction, reach):
    """Slats, netting or a hedge of leaves between sun and plant: hard patches of light."""
    distance = rng.uniform(350, 900)
    size = reach * 3 + 150
    parts = []
    kind = rng.choice(["slats", "grid", "leaves"], p=[0.25, 0.25, 0.5])
    if kind == "leaves":
        width = rng.uniform(12, 60)
        for _ in range(int(min(700, rng.uniform(0.35, 0.9) * size * size / (width * width)))):
            v, f = shapes.blade(rng, width * rng.uniform(1, 3), width, rng.uniform(0, 1), rows=7, columns=3)
            v = v @ shapes.turn_about(rng.standard_normal(3), rng.uniform(0, 6.28)).T
            parts.append((v + [*rng.uniform(-size / 2, size / 2, 2), rng.normal(0, 40)], f))
    else:
        pitch = rng.uniform(15, 70)
        thick = pitch * rng.uniform(0.25, 0.6)
        for at in np.arange(-size / 2, size / 2, pitch):
            parts.append(shapes.box(at, 0, -2, 2, thick, size))
            if kind == "grid":
                parts.append(shapes.box(0, at, -2, 2, size, thick))
    v, f = shapes.merge(parts)
    v = shapes.spin(v, rng.uniform(0, 6.28))
    sideways = np.cross(direction, [0, 0, 1.0])
    sideways /= np.linalg.norm(sideways)
    basis = np.stack([sideways, np.cross(direction, sideways), direction])
    return shapes.mesh("lattice", v @ basis + direction * distance, f, shapes.diffuse([0.1, 0.1, 0.06]))


def make_lights(rng, kind, camera, reach, open_behind):
    """Lamps for a scene of radius `reach`. What stands behind the plants (at +y) would shade them: `open_behind` = nothing."""
    azimuth = rng.uniform(0, 2 * math.pi) if open_behind else rng.uniform(math.pi - 0.25, 2 * math.pi + 0.25)
    out = Lighting(kind)
    if kind in SUNNY:
        low, high = {"sun": (28, 68), "low_sun": (7, 22), "dappled": (35, 75)}[kind]
        direction = _direction(math.radians(rng.uniform(low, high)), azimuth)
        out.lamps["sun"] = _sun(direction)
        if kind == "dappled":
            out.blockers["lattice"] = _lattice(rng, direction, reach)
    if kind in ("window", "mixed"):
        direction = _direction(math.radians(rng.uniform(20, 50)), azimuth)
        tint = np.array([0.75, 0.95, 1.3]) if kind == "mixed" else 1.0
        out.lamps["window"] = _panel(direction, 1300, 900, 1100, 2.5 * tint)
    if kind == "led":
        direction = _direction(math.radians(rng.uniform(60, 85)), azimuth)
        out.lamps["strip"] = _panel(direction, 700, 500, 120, 6)
    if kind in ("tungsten", "mixed"):
        tint = np.array([1.25, 0.95, 0.55]) if kind == "mixed" else 1.0
        direction = _direction(math.radians(rng.uniform(40, 75)), azimuth + (rng.uniform(0.6, 1.5) if kind == "mixed" else 0))
        out.lamps["lamp"] = _ball(direction * 750, 45, 70 * tint * (0.6 if kind == "mixed" else 1))
    if kind == "flash":  # just over the lens, behind the front of the phone
        at = camera.origin + camera.up * 12 + camera.left * 8 - camera.ahead * 4
        out.lamps["flash"] = _ball(at, 3.0, 0.9 * (camera.distance / 3.0) ** 2)
    if kind == "dusk":
        out.electrons = (400, 250, 150)
    sky = np.maximum(_sky(rng, kind, azimuth), 0.002).astype(np.float32)
    turn = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    out.lamps["sky"] = {"type": "envmap", "bitmap": mi.Bitmap(np.ascontiguousarray(sky)), "to_world": turn}
    return out
