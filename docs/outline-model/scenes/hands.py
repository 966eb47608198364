"""Hands: capsules melted into one skin, in the few grips that people hold small plants with."""

import math

import numpy as np

import shapes

SKIN = [(0.55, 0.33, 0.24), (0.42, 0.24, 0.16), (0.25, 0.13, 0.08), (0.12, 0.065, 0.042)]
GLOVES = [(0.05, 0.12, 0.4), (0.012, 0.012, 0.013), (0.5, 0.35, 0.02), (0.6, 0.6, 0.57), (0.25, 0.3, 0.1), (0.4, 0.1, 0.15)]


def _chain(points, radii):
    points = [np.asarray(p, float) for p in points]
    return [(points[i], points[i + 1], radii[i], radii[i + 1]) for i in range(len(points) - 1)]


FINGER = [9.0, 8.6, 8.0, 7.0]
THUMB = [13.0, 10.5, 9.5, 8.0]


def pinch(rng):
    """Thumb and forefinger hold the neck of a plant at the origin; the arm comes from +x and below."""
    d = rng.uniform(-8, 8)
    knuckles = [np.array([95, 14, -52]), np.array([98, 6, -68]), np.array([98, 0, -85]), np.array([95, -4, -100])]
    wrist = np.array([168, -8, -112 + d])
    out = _chain([knuckles[0], [60, 24, -28], [28, 16, -16], [6, 6.5, -11]], FINGER)
    out += _chain([[125, -14, -95], [72, -26, -58], [36, -17, -30], [6, -8, -15]], THUMB)
    for i, k in enumerate(knuckles[1:]):
        bend = rng.uniform(-6, 6)
        low = -15 * i
        out += _chain([k, [58, 18 + bend, -56 + low], [46, -2, -66 + low], [66, -10, -76 + low]], FINGER)
    out += [(k, wrist, 13, 20) for k in knuckles]
    return out + [(wrist, np.array([430, -20, -210]), 25, 36)]


def grip(rng, radius, z):
    """Fingers round a pot of that radius, the palm on its +x side at height z."""

    def at(arc, out, height):
        a = arc / max(radius, 20)
        return np.array([math.cos(a) * (radius + out), math.sin(a) * (radius + out), z + height])

    out = []
    for i in range(4):
        h, reach = 27 - 18 * i, rng.uniform(0.85, 1.1) * (1.0, 1.08, 1.0, 0.8)[i]
        out += _chain([at(18, 20, h), at(48 * reach, 12, h), at(74 * reach, 9, h + 1), at(96 * reach, 8, h + 2)], FINGER)
        out.append((at(18, 20, h), at(-38, 38, h * 0.5 - 12), 13, 18))
    out += _chain([at(-34, 32, -8), at(-50, 20, 12), at(-72, 11, 22), at(-95, 9, 28)], THUMB)
    wrist = at(-48, 48, -14)
    along = np.array([0.75, -0.4, rng.uniform(-0.6, 0.1)])
    return out + [(at(-38, 38, -10), wrist, 22, 25), (wrist, wrist + along * 330, 25, 36)]


def palm(rng, z):
    """An open hand, palm up, whose upper side is at height z; fingers towards -x, arm towards +x."""
    out = []
    curl = rng.uniform(4, 26)
    for i in range(4):
        y, length = 29 - 19 * i, (74, 84, 78, 60)[i]
        knuckle = np.array([-34, y, z - 11])
        spread = (y - 1) * rng.uniform(0.1, 0.45)
        tip = [knuckle + np.array([-length * t, spread * t, curl * t**2]) for t in (0.45, 0.75, 1.0)]
        out += _chain([knuckle, *tip], FINGER)
        out.append((knuckle, np.array([52, y * 0.6, z - 16]), 12, 17))
    out += _chain([[40, 30, z - 16], [22, 54, z - 4], [0, 68, z + 6], [-22, 74, z + 10]], THUMB)
    wrist = np.array([88, 2, z - 24])
    return out + [(np.array([48, 0, z - 18]), wrist, 22, 25), (wrist, np.array([400, 0, z - 90]), 25, 38)]


def add_hand(stage, capsules, angle):
    """Melt, turn by `angle` about the z axis, paint as skin or glove."""
    rng = stage.rng
    vertices, faces, normals = shapes.soft_body(capsules)
    gloved = rng.random() < 0.15
    colour = np.array(GLOVES[int(rng.integers(0, len(GLOVES)))] if gloved else SKIN[int(rng.integers(0, len(SKIN)))])
    waves = sum(np.sin(vertices @ rng.normal(0, 0.12, 3) + rng.uniform(0, 6.28)) for _ in range(6)) / 6
    redder = 1 + waves[:, None] * ([0.05, 0.12, 0.14] if not gloved else [0.06, 0.06, 0.06])
    colours = np.clip(colour * rng.uniform(0.8, 1.2) * redder, 0.01, 0.85)
    bsdf = shapes.principled(shapes.VERTEX_COLOUR, 0.35 if gloved else 0.5, 0.4)
    turned, normals = shapes.spin(vertices, angle), shapes.spin(normals, angle)
    stage.add("hand", turned, faces, bsdf, support=True, normals=normals, colours=colours)
    arm = capsules[-1]
    if rng.random() < 0.5:  # a sleeve
        start = np.asarray(arm[0]) + (np.asarray(arm[1]) - arm[0]) * rng.uniform(0.15, 0.5)
        v, f = shapes.tube(np.linspace(start, arm[1], 12), np.linspace(36, 50, 12), 24)
        cloth = shapes.diffuse(rng.uniform(0.01, 0.5) * (1 + rng.uniform(-0.5, 0.5, 3)))
        stage.add("sleeve", shapes.spin(v, angle), f, cloth, support=True)
