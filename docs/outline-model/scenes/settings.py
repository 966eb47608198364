"""The settings that plants are photographed in. Each function fills a `stage.Stage`; the camera looks from -y."""

import math
from dataclasses import dataclass
from typing import Callable

import numpy as np

import habits
import hands
import shapes
from camera import Frame
from stage import SOILS, any_soil


@dataclass
class Setting:
    weight: float
    build: Callable
    tilt: tuple  # degrees, from .. to
    close: float = 0.15  # shares of the ways to frame it
    side: float = 0.15
    far: float = 0.05
    blur: float = 1.0  # how much wider the lens is opened than usual


# ------------------------------------------------------------------ helpers
def _stand_up(stage, individual, x=0.0, y=0.0, z=0.0, **more):
    """Nearly upright, as plants stand."""
    lean, to = abs(stage.rng.normal(0, 0.09)), stage.rng.uniform(0, 2 * math.pi)
    return stage.stand(individual, x, y, z, lean, to, **more)


def _pot_size(rng, radius):
    """Pot radius and height for a rosette of that radius; long leaves hang over."""
    r = float(np.clip(radius * rng.uniform(0.55, 1.15), 16, 110))
    return r, r * rng.uniform(0.7, 1.9)


def _shared_pot(stage, radius):
    """One pot about (0, 0) that holds the foot of every plant."""
    rng = stage.rng
    r, h = _pot_size(rng, radius)
    inside = max(np.hypot(*s.foot[:2]) + 0.12 * s.radius for s in stage.subjects)
    stage.pot(0, 0, max(r, inside / 0.88 + 3), h, stage.pot_style())


def _potted(stage, individual, x, y, style=None, z=0.0):
    subject = _stand_up(stage, individual, x, y, z)
    r, h = _pot_size(stage.rng, subject.radius)
    stage.pot(x, y, r, h, style or stage.pot_style(), z)
    return subject


def _mother(stage, diameter=None):
    habit = habits.any_habit(stage.rng, diameter)
    stage.span = habit.diameter_mm
    return habit


def _some(stage, habit, count, diameters, detail=1.0):
    """So many individuals of one kind."""
    sizes = stage.rng.uniform(*diameters, count)
    return [stage.grow(habits.any_habit(stage.rng, float(d), like=habit), detail) for d in sizes]


# ------------------------------------------------------------------ one pot
def single(stage):
    _potted(stage, stage.grow(_mother(stage)), 0, 0)


def offsets(stage):
    """A mother with her young round her, some under her leaves."""
    rng = stage.rng
    habit = _mother(stage)
    mother = _stand_up(stage, stage.grow(habit))
    for _ in range(int(rng.integers(1, 7))):
        d = rng.uniform(0.2, 0.6) * habit.diameter_mm
        a, out = rng.uniform(0, 2 * math.pi), mother.individual.spread() * rng.uniform(0.65, 1.0) + d * 0.25
        young = stage.grow(habits.any_habit(rng, float(d), like=habit))
        stage.stand(young, out * math.cos(a), out * math.sin(a), 0, abs(rng.normal(0.1, 0.15)), a)
    stage.targets = stage.subjects[:1] if rng.random() < 0.4 else []
    _shared_pot(stage, stage.reach() * rng.uniform(0.75, 1.0))


def _clump_places(rng, radii):
    """Centres of discs that each overlap another by 5 to 35 % and none by much more."""
    places = [np.zeros(2)]
    for k in range(1, len(radii)):
        for _ in range(60):
            j = int(rng.integers(0, k))
            a = rng.uniform(0, 2 * math.pi)
            at = places[j] + (radii[j] + radii[k]) * (1 - rng.uniform(0.05, 0.35)) * np.array([math.cos(a), math.sin(a)])
            if all(np.hypot(*(at - p)) > 0.63 * (radii[i] + radii[k]) for i, p in enumerate(places)):
                break
        places.append(at)
    return np.array(places) - np.mean(places, 0)


def clump(stage):
    """Two to nine rosettes of one kind in one pot, touching and pushing each other outwards."""
    rng = stage.rng
    count = int(rng.choice([2, 3, 4, 5, 6, 7, 9], p=[0.24, 0.22, 0.17, 0.12, 0.1, 0.08, 0.07]))
    habit = habits.any_habit(rng)
    d = habit.diameter_mm * (0.85 if count > 3 else 1.0)
    stage.span = d * (1 + 0.75 * math.sqrt(count - 1))
    grown = _some(stage, habit, min(count, 5), (0.6 * d, 1.1 * d))
    grown += [grown[int(rng.integers(0, len(grown)))] for _ in range(count - len(grown))]
    for one, at in zip(grown, _clump_places(rng, [g.spread() for g in grown])):
        outwards = math.atan2(at[1], at[0])
        lean = abs(rng.normal(0, 0.06)) + rng.uniform(0, 0.3) * np.hypot(*at) / stage.span
        stage.stand(one, at[0], at[1], rng.normal(0, 0.03) * d, lean, outwards)
    _shared_pot(stage, stage.reach() * rng.uniform(0.8, 1.0))


# ------------------------------------------------------------------ many
def _tray_body(stage, columns, rows, cell, round_cells):
    """Walls between the cells, soil in them."""
    rng = stage.rng
    deep = rng.uniform(0.6, 1.2) * cell
    shade = rng.choice(["black", "white", "green", "terracotta"], p=[0.6, 0.15, 0.1, 0.15])
    colour = {"black": (0.015,) * 3, "white": (0.65,) * 3, "green": (0.03, 0.1, 0.03), "terracotta": (0.35, 0.15, 0.08)}[shade]
    profile = [(0.35, -deep), (0.46, 0), (0.5, 1.0), (0.5, 2.0), (0.46, 2.0), (0.43, -6)]
    v, f = shapes.loft([(a * cell * 0.995, z) for a, z in profile], 2 if round_cells else 12, 32)
    x = (np.arange(columns) - (columns - 1) / 2) * cell
    y = (np.arange(rows) - (rows - 1) / 2) * cell
    centres = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    body = shapes.merge([(v + [cx, cy, 0], f) for cx, cy in centres])
    stage.add("tray", *body, shapes.principled(colour, 0.4, 0.5), support=True, flat=True)
    w, d = columns * cell / 2, rows * cell / 2
    soil = any_soil(rng)
    base = np.array([[-w, -d, -2.4], [w, -d, -2.4], [w, d, -2.4], [-w, d, -2.4]]) * [0.99, 0.99, 1]
    stage.add("soil", base, shapes.QUAD_FACES, shapes.diffuse(SOILS[soil][1]), support=True)

    def within(px, py):
        off = [np.abs((p / cell + (n - 1) / 2 + 0.5) % 1 - 0.5) for p, n in ((px, columns), (py, rows))]
        return np.hypot(*off) < 0.44 if round_cells else np.maximum(*off) < 0.44

    stage.grains(soil, within, (-w, w, -d, d), density=0.7)
    stage.floor_z = -deep
    for cx, cy in centres:
        stage.occupied.append((cx, cy, cell * 0.72))
    return centres


def tray(stage):
    """Cells of small plants, four to forty."""
    rng = stage.rng
    columns, rows = [(2, 2), (3, 2), (3, 3), (4, 3), (4, 4), (5, 4), (5, 6), (5, 8)][int(rng.integers(0, 8))]
    cell = rng.uniform(28, 62)
    stage.span = cell * max(columns, rows)
    kinds = [habits.any_habit(rng, cell * 0.8) for _ in range(1 if rng.random() < 0.75 else 3)]
    grown = [g for k in kinds for g in _some(stage, k, 5 if len(kinds) == 1 else 2, (0.45 * cell, 1.15 * cell))]
    centres = _tray_body(stage, columns, rows, cell, rng.random() < 0.35)
    missing = rng.choice([0, 0, 0.1, 0.3])
    for k, at in enumerate(centres):
        if k and rng.random() < missing:
            continue
        one = grown[k] if k < len(grown) else grown[int(rng.integers(0, len(grown)))]
        _stand_up(stage, one, *(at + rng.normal(0, 0.06 * cell, 2)), scale=rng.uniform(0.8, 1.15))


def row(stage):
    """Nursery pots in ranks into the distance; the lens is on the front ones."""
    rng = stage.rng
    habit = _mother(stage, float(rng.uniform(45, 110)))
    d = habit.diameter_mm
    stage.span = 2 * d
    front = _some(stage, habit, 3, (0.75 * d, 1.1 * d))
    back = _some(stage, habit, 3, (0.75 * d, 1.1 * d), detail=0.4)
    if rng.random() < 0.25:
        back.append(stage.grow(habits.any_habit(rng, d), detail=0.4))
    style = stage.pot_style()
    columns, ranks = int(rng.integers(2, 5)), int(rng.integers(3, 6))
    pitch = d * rng.uniform(0.8, 1.5)
    r = min(d * rng.uniform(0.35, 0.5), pitch * 0.46)
    h = r * rng.uniform(1.0, 1.8)
    for j in range(ranks):
        kinds = back if j else front
        for i in range(columns):
            x = (i - (columns - 1) / 2 + (0.5 if j % 2 and columns > 2 else 0)) * pitch + rng.normal(0, 3)
            y = j * pitch + rng.normal(0, 3)
            subject = _stand_up(stage, kinds[int(rng.integers(0, len(kinds)))], x, y, scale=rng.uniform(0.85, 1.1))
            stage.pot(x, y, r, h, style, grains=0.55 if j == 0 else 0.25)
            if j == 0 and abs(x) < pitch * rng.uniform(0.4, 1.6):
                stage.targets.append(subject)
    stage.targets = stage.targets or stage.subjects[:1]


def collection(stage):
    """A few pots side by side, often of different kinds."""
    rng = stage.rng
    habit = _mother(stage)
    mixed = rng.random() < 0.6
    right = left = None
    h = rng.uniform(0.5, 1.2) * habit.diameter_mm
    for k in range(int(rng.integers(2, 6))):
        d = float(habit.diameter_mm * (rng.uniform(0.6, 1.15) if k else 1))
        one = habits.any_habit(rng, d) if mixed and k else habits.any_habit(rng, d, like=habit)
        one = stage.grow(one)
        half = max(one.plant.radius_mm, 18) * rng.uniform(0.8, 1.05)
        if k == 0:
            x, right, left = 0.0, half, half
        elif rng.random() < 0.5:
            x, right = right + half, right + 2 * half
        else:
            x, left = -left - half, left + 2 * half
        y = rng.normal(0, 0.25) * d if k else 0.0
        subject = _stand_up(stage, one, x, y)
        stage.pot(x, y, float(np.clip(half * rng.uniform(0.6, 0.95), 14, 100)), h, stage.pot_style())
        if k == 0 or rng.random() < 0.3:
            stage.targets.append(subject)
    if rng.random() < 0.4:
        stage.targets = []


def bed(stage):
    """Growing in the ground."""
    rng = stage.rng
    habit = _mother(stage)
    mother = _stand_up(stage, stage.grow(habit))
    for k in range(int(rng.choice([0, 1, 2, 4, 6]))):
        d = rng.uniform(0.4, 1.1) * habit.diameter_mm
        one = habits.any_habit(rng, float(d), like=habit if rng.random() < 0.8 else None)
        a, out = rng.uniform(0, 2 * math.pi), mother.radius + d * rng.uniform(0.3, 1.0) + rng.exponential(0.3) * d
        _stand_up(stage, stage.grow(one), out * math.cos(a), out * math.sin(a))
    stage.targets = stage.subjects[:1] if rng.random() < 0.6 else []
    soil = any_soil(rng)
    reach = 2.2 * stage.reach() + 80
    v, f = shapes.loft([(reach * 7, -2.3), (0.001, -2.3)], 2, 48)
    stage.add("soil", v, f, shapes.diffuse(SOILS[soil][1]), support=True)
    stage.grains(soil, lambda x, y: np.hypot(x, y) < reach, (-reach, reach, -reach, reach), density=0.4, limit=6000)


def shelf(stage):
    """Pots on a board or sill, a window or a room behind."""
    rng = stage.rng
    single(stage) if rng.random() < 0.45 else collection(stage)
    reach, z = stage.reach(), stage.floor_z
    width, front, back = reach * rng.uniform(2.5, 6), -reach * rng.uniform(0.9, 1.8), reach * rng.uniform(1.0, 2.0)
    v, f = shapes.box(0, (front + back) / 2, z - rng.uniform(12, 40), z, 2 * width, back - front)
    uv = v[:, :2] / rng.uniform(100, 400)
    image = shapes.planks(rng) if rng.random() < 0.5 else shapes.any_surface(rng)
    stage.add("shelf", v, f, shapes.principled(shapes.tex(image), rng.uniform(0.2, 0.8), 0.4), support=True, uv=uv, flat=True)
    if rng.random() < 0.5:
        stage.window_wall(back + 5, z - 60, reach)
    else:
        stage.wall(back + rng.uniform(2, 900), reach * 8, reach * 6, z - 400)
    stage.shelf_z, stage.floor_z = z, z - rng.uniform(500, 900)


# ------------------------------------------------------------------ in the hand, bare
def _roots(stage, count, length, thick):
    rng = stage.rng
    parts = []
    for _ in range(count):
        a, out = rng.uniform(0, 2 * math.pi), rng.uniform(0.1, 0.8)
        t = np.linspace(0, 1, 20)[:, None]
        sway = rng.normal(0, 0.09, 3)
        way = np.array([math.cos(a) * out, math.sin(a) * out, -1]) * length * rng.uniform(0.4, 1.1)
        path = [0, 0, 1.0] + way * t + sway * length * np.sin(t * rng.uniform(2, 6))
        parts.append(shapes.tube(path, np.linspace(thick, thick * 0.3, 20) * rng.uniform(0.5, 1.2), 7))
    v, f = shapes.merge(parts)
    colour = np.array([0.3, 0.2, 0.11]) * rng.uniform(0.3, 1.9)
    return v, f, shapes.diffuse(np.clip(colour, 0.01, 0.8))


def bare_root(stage):
    """Out of the pot, its neck between thumb and finger."""
    rng = stage.rng
    habit = _mother(stage, float(rng.uniform(30, 110)))
    _stand_up(stage, stage.grow(habit), z=rng.uniform(-2, 3))
    d = habit.diameter_mm
    v, f, bsdf = _roots(stage, int(rng.integers(6, 22)), d * rng.uniform(0.5, 1.1) + 20, max(1.0, 0.016 * d))
    stage.add("roots", v, f, bsdf, support=True)
    hands.add_hand(stage, hands.pinch(rng), rng.uniform(0, 2 * math.pi))
    stage.in_the_air, stage.has_soil, stage.floor_z = True, False, -rng.uniform(250, 1000)


def held(stage):
    """A pot in the hand: gripped, or standing on the palm."""
    rng = stage.rng
    habit = _mother(stage, float(rng.uniform(35, 120)))
    on_palm = rng.random() < 0.45
    one = stage.grow(habit)
    subject = _stand_up(stage, one)
    towards = rng.uniform(0, 2 * math.pi) if rng.random() < 0.3 else rng.normal(-math.pi / 2, 0.9)
    if on_palm and rng.random() < 0.3:  # no pot at all
        hands.add_hand(stage, hands.palm(rng, subject.vertices[:, 2].min() + 0.1 * one.plant.height_mm), towards)
    else:
        r, h = _pot_size(rng, subject.radius)
        r, h = min(r, 45), min(h, 75)
        stage.pot(0, 0, r, h, stage.pot_style())
        grip = hands.palm(rng, -h) if on_palm else hands.grip(rng, r * 0.97, -rng.uniform(0.35, 0.75) * h)
        hands.add_hand(stage, grip, towards)
    stage.in_the_air, stage.floor_z = True, -rng.uniform(250, 1000)


def table(stage):
    """On a table without a pot, upright or lying on its side, roots and all."""
    rng = stage.rng
    stage.floor_z, stage.has_soil = 0.0, False
    habit = _mother(stage)
    edge = 0.0
    for k in range(int(rng.choice([1, 1, 2, 3]))):
        one = stage.grow(habit if k == 0 else habits.any_habit(rng, float(habit.diameter_mm * rng.uniform(0.5, 1)), like=habit))
        reach = max(one.plant.radius_mm, 0.8 * one.plant.height_mm)
        x = edge + reach * rng.uniform(0.8, 1.1) if k else 0.0
        edge = x + reach
        lean = rng.uniform(0, 0.3) if rng.random() < 0.4 else rng.uniform(0.7, 1.5)
        subject = stage.stand(one, x, rng.normal(0, 10) if k else 0, 0, lean, rng.uniform(0, 2 * math.pi), lying=True)
        if lean > 0.5:
            v, f, bsdf = _roots(stage, int(rng.integers(5, 16)), one.plant.radius_mm * rng.uniform(0.5, 1.4), 1.3)
            v = v @ subject.turn.T + subject.foot
            v[:, 2] = np.maximum(v[:, 2], 0.8)  # they lie on the table
            stage.add("roots", v, f, bsdf, support=True)


SETTINGS = {
    "single": Setting(0.17, single, (0, 86), close=0.25, side=0.2, far=0.12),
    "offsets": Setting(0.12, offsets, (0, 84), close=0.25, side=0.15),
    "clump": Setting(0.15, clump, (0, 84), close=0.3, side=0.15),
    "tray": Setting(0.10, tray, (0, 66), close=0.1, side=0.0, far=0.35),
    "row": Setting(0.10, row, (45, 84), close=0.12, side=0.25, far=0.05, blur=3.0),
    "collection": Setting(0.07, collection, (0, 86), close=0.1, side=0.25, far=0.1),
    "bed": Setting(0.07, bed, (0, 76), close=0.25, side=0.05, far=0.08),
    "shelf": Setting(0.08, shelf, (50, 89), close=0.08, side=0.5, far=0.1, blur=1.5),
    "held": Setting(0.06, held, (0, 86), close=0.1, side=0.3, far=0.0),
    "bare_root": Setting(0.05, bare_root, (0, 88), close=0.1, side=0.4, far=0.0),
    "table": Setting(0.04, table, (0, 80), close=0.1, side=0.1, far=0.05),
}


def any_setting(rng):
    weights = np.array([s.weight for s in SETTINGS.values()])
    return str(rng.choice(list(SETTINGS), p=weights / weights.sum()))


def any_frame(rng, setting):
    """How this picture is framed: most as people do, some filled, from the side or from afar."""
    view = str(rng.choice(["usual", "close", "side", "far"], p=_shares(setting)))
    low, high = setting.tilt
    tilt = rng.uniform(low, min(30, high)) if rng.random() < 0.3 and low < 30 else rng.uniform(max(low, 25), high)
    margin = rng.uniform(0.8, 1.35) if rng.random() < 0.7 else rng.uniform(1.35, 2.6)
    shift = rng.uniform(-1, 1, 2) * max(0, (margin - 1) / margin) * 0.6
    if view == "close":
        margin = rng.uniform(0.42, 0.8)
        shift = rng.uniform(-0.6, 0.6, 2) * (1 / margin - 0.7)
    elif view == "side":
        tilt = rng.uniform(70, min(89, high + 3))
    elif view == "far":
        margin = rng.uniform(1.3, 2.2) if setting.build is tray else rng.uniform(2.6, 7)
        shift = rng.uniform(-0.5, 0.5, 2)
    roll = rng.normal(0, 0.12) if rng.random() < 0.9 else rng.uniform(-3, 3)
    return Frame(float(tilt), float(rng.uniform(24, 75)), float(margin), shift, float(roll))


def _shares(setting):
    rest = 1 - setting.close - setting.side - setting.far
    return [rest, setting.close, setting.side, setting.far]
