"""What else lies about: cards, labels, rulers, other leafy plants, litter, tools. Never plant in the mask."""

import math

import cv2
import numpy as np
import segno

import colour
import shapes

CARD = (85.6, 54.0)  # mm
PATCHES = [0.90, 0.59, 0.36, 0.20, 0.09, 0.03]


# ------------------------------------------------------------------ cards and rulers
def _text(image, text, x, y, height, ink):
    """Letters of that height, baseline at (x, y)."""
    letters = np.zeros(image.shape, np.uint8)
    thick = max(1, int(height / 11))
    cv2.putText(letters, text, (int(x), int(y)), cv2.FONT_HERSHEY_SIMPLEX, height / 22, 255, thick, cv2.LINE_AA)
    image += (ink - image) * (letters / np.float32(255))


def card_image(rng, per_mm=10):
    """The program's own label card: code, name, six grey patches, a rule of 50 mm."""
    image = np.full((int(CARD[1] * per_mm), int(CARD[0] * per_mm)), 0.84, np.float32)
    payload = f"VG1:ZB-{int(rng.integers(1, 9999)):04d}"
    code = np.array([list(r) for r in segno.make(payload, error="m", micro=False).matrix], np.uint8)
    k = int((1.2 if len(code) <= 21 else 1.0) * per_mm)
    code = np.kron(code, np.ones((k, k)))
    at = 5 * per_mm
    image[at : at + len(code), at : at + len(code)] = np.where(code > 0, 0.035, 0.84)
    for i, grey in enumerate(PATCHES):
        x = (36 + i * 7.8) * per_mm
        image[20 * per_mm : 30 * per_mm, int(x) : int(x + 7.4 * per_mm)] = grey
    _text(image, payload.split(":")[-1], 36 * per_mm, 11 * per_mm, 7 * per_mm, 0.035)
    _text(image, "Haworthia", 36 * per_mm, 17 * per_mm, 3 * per_mm, 0.15)
    _rule(image, 17 * per_mm, 40 * per_mm, 50, per_mm, per_mm)
    return image


def _rule(image, x, y, length, pitch, tall):
    """Ticks of `pitch` pixels, every fifth and tenth longer."""
    for i in range(length + 1):
        h = (5.5 if i % 10 == 0 else 4.2 if i % 5 == 0 else 2.8) * tall
        left = int(x + i * pitch)
        image[int(y) : int(y + h), left : left + max(1, int(pitch * 0.2))] = 0.05
        if i % 10 == 0:
            _text(image, str(i // 10), left - pitch, y + 8.5 * tall, 2.5 * tall, 0.05)


def loose_card(rng):
    """Printed matter of other kinds: codes, patches, ticks, lines of words, in any mixture."""
    image = np.full((340, 540), rng.uniform(0.6, 0.88), np.float32)
    if rng.random() < 0.6:
        n = int(rng.integers(9, 33))
        k = max(3, 200 // n)
        code = np.kron(rng.random((n, n)) < 0.5, np.ones((k, k)))[:300, :220]
        image[20 : 20 + len(code), 20 : 20 + code.shape[1]] = np.where(code > 0, 0.03, 0.84)
    if rng.random() < 0.6:
        for j in range(6):
            image[120:190, 250 + j * 45 : 290 + j * 45] = 0.9 * 0.5**j
    if rng.random() < 0.5:
        _rule(image, 250, 260, 50, 5, 5)
    for j in range(int(rng.integers(0, 40))):
        x, y = 250 + (j % 12) * 20, 30 + 22 * (j // 12)
        image[y : y + 14, x : x + int(rng.integers(4, 16))] = 0.06
    return image[:, :260] if rng.random() < 0.25 else image


def card(stage, camera):
    """On the floor beside the pots, at times leaning or tinted."""
    rng = stage.rng
    own = rng.random() < 0.5
    image = card_image(rng) if own else loose_card(rng)
    size = np.array(CARD) / 2 * (1 if own else rng.uniform(0.5, 1.2))
    place = stage.room_for(float(np.hypot(*size)), camera, behind=0.4, spread=25)
    if place is None:
        return
    flat = rng.random() < 0.75
    tip = rng.normal(0, 0.02) if flat else rng.uniform(0.3, 1.5)
    v = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * [*size, 0]
    v = v @ shapes.turn_about([1, 0, 0], tip).T
    upright = rng.normal(0, 0.5) + rng.choice([0, 0, 0, math.pi / 2, math.pi])
    v = shapes.spin(v - [0, 0, v[:, 2].min()], upright) + [*place, stage.ground + 0.8]
    tint = np.ones(3) if own or rng.random() < 0.7 else rng.uniform(0.3, 1, 3)
    paper = shapes.tex(np.clip(image[..., None] * tint, 0.01, 0.9))
    bsdf = shapes.principled(paper, 0.18, 0.5) if rng.random() < 0.2 else shapes.diffuse(paper)
    stage.add("card", v, shapes.QUAD_FACES, bsdf, uv=shapes.QUAD_UV, flat=True)


def ruler(stage, camera):
    rng = stage.rng
    length, width = rng.uniform(100, 200), rng.uniform(13, 30)
    reach = stage.reach()
    image = np.full((150, 1500), rng.uniform(0.4, 0.7), np.float32)
    _rule(image, 10, 0, 148, 10, 10)
    y = -(reach + width) if rng.random() < 0.5 else reach + width
    v, f = shapes.box(0, y, 0, 1, length, width)
    v = shapes.spin(v, rng.normal(0, 0.3) + rng.choice([0, math.pi / 2])) + [0, 0, stage.ground + 0.4]
    if any(math.hypot(*v[:, :2].mean(0) - [x, y]) < r + width / 2 for x, y, r in stage.occupied):
        return
    tint = np.ones(3) if rng.random() < 0.5 else np.array([0.9, 0.7, 0.35])
    paint = shapes.tex(np.clip(image[..., None] * tint, 0.01, 0.9))
    bsdf = shapes.metal(paint) if rng.random() < 0.5 else shapes.principled(paint, 0.5, 0.4)
    stage.add("ruler", v, f, bsdf, uv=np.concatenate([shapes.QUAD_UV] * 2), flat=True)


# ------------------------------------------------------------------ in the pot
def stake(stage):
    """A plant label or a stick in the soil, often in front of leaves; where it pierces the fewest."""
    rng = stage.rng
    width, length = (
        (rng.uniform(8, 18), rng.uniform(40, 90)) if rng.random() < 0.8 else (rng.uniform(2, 5), rng.uniform(60, 160))
    )
    x0, y0, r = _home(stage)
    width = min(width, 0.5 * r)
    leaves = np.concatenate([s.vertices[::7] for s in stage.subjects[:12]])
    best = None
    for _ in range(10):
        a = rng.normal(-math.pi / 2, 1.3)
        v, f = shapes.box(0, 0, -6, length, width, rng.uniform(0.6, 1.2))
        lean = shapes.turn_about([-math.sin(a), math.cos(a), 0], rng.normal(0.15, 0.2))
        v = shapes.spin(v, rng.uniform(-0.7, 0.7)) @ lean.T + [x0 + 0.85 * r * math.cos(a), y0 + 0.85 * r * math.sin(a), 0]
        low, high = v.min(0), v.max(0)
        pierced = int(((leaves > low) & (leaves < high)).all(1).sum())
        if best is None or pierced < best[0]:
            best = (pierced, v, f)
    image = np.full((220, 40), rng.uniform(0.6, 0.85), np.float32)
    for j in range(int(rng.integers(0, 3))):
        _text(image, "x" * int(rng.integers(1, 4)), 4, 30 + 30 * j, 16, 0.05)
    tints = [
        (1, 1, 0.97),
        (0.9, 0.65, 0.06),
        (0.7, 0.06, 0.05),
        (0.1, 0.25, 0.7),
        (0.1, 0.5, 0.12),
        (0.45, 0.3, 0.17),
        (0.05,) * 3,
    ]
    tint = np.array(tints[int(rng.choice(7, p=[0.5, 0.12, 0.08, 0.06, 0.06, 0.12, 0.06]))])
    paint = shapes.principled(shapes.tex(np.clip(image[..., None] * tint, 0.01, 0.9)), 0.35, 0.5)
    uv = np.array([[0, 1], [1, 1], [1, 1], [0, 1], [0, 0], [1, 0], [1, 0], [0, 0]], float)
    stage.add("stake", best[1], best[2], paint, support=True, uv=uv, flat=True)


def _home(stage):
    """Middle and radius of some subject's soil."""
    rng = stage.rng
    if stage.pots:
        x, y, r = stage.pots[int(rng.integers(0, min(3, len(stage.pots))))][:3]
        return x, y, r
    subject = stage.subjects[int(rng.integers(0, len(stage.subjects)))]
    return (*subject.vertices[:, :2].mean(0), subject.radius)


def stalk(stage, camera):
    """A long thin arching flower stalk out of the rosette's middle."""
    rng = stage.rng
    subject = stage.subjects[int(rng.integers(0, min(4, len(stage.subjects))))]
    r = subject.radius
    t = np.linspace(0, 1, 24)[:, None]
    a, long = rng.uniform(0, 2 * math.pi), r * rng.uniform(1.5, 4)
    side = np.array([math.cos(a), math.sin(a), 0])
    path = (
        subject.crown
        + [0, 0, -3]
        + long * (t * [0, 0, 1] + side * rng.uniform(0.1, 0.8) * t**2 - [0, 0, 0.5] * t**3 * rng.uniform(0, 1))
    )
    if camera.depth(path).min() < 0.6 * camera.distance:  # too near the lens: a blur that hides nothing
        return
    thick = max(0.7, 0.012 * r) * rng.uniform(0.8, 1.6)
    v, f = shapes.tube(path, np.linspace(thick, thick * 0.4, 24), 8)
    green = np.array([0.09, 0.1, 0.035]) * rng.uniform(0.6, 2) * [rng.uniform(0.8, 2.2), 1, 1]
    stage.add("stalk", v, f, shapes.principled(green, 0.5, 0.4), support=True)
    petals, stems = [], []
    for at in np.linspace(rng.uniform(0.4, 0.8), 1, int(rng.integers(4, 18))):
        here = path[int(at * 23)]
        out = rng.standard_normal(3) * [1, 1, 0.4] + [0, 0, rng.uniform(-0.5, 0.6)]
        out /= np.linalg.norm(out)
        size = max(3.5, 0.06 * r) * rng.uniform(0.6, 1.3)
        stems.append(shapes.tube([here, here + out * size * 0.5, here + out * size], thick * 0.4, 6))
        bud = np.linspace(here + out * size * 0.8, here + out * size * 2.4, 7)
        petals.append(shapes.tube(bud, size * np.array([0.15, 0.25, 0.3, 0.28, 0.22, 0.3, 0.4]), 9))
    stage.add("stalk", *shapes.merge(stems), shapes.principled(green, 0.5, 0.4), support=True)
    tints = [(0.6, 0.57, 0.5), (0.6, 0.2, 0.15), (0.65, 0.3, 0.05), (0.6, 0.25, 0.35), (0.6, 0.5, 0.08)]
    stage.add("flowers", *shapes.merge(petals), shapes.diffuse(tints[int(rng.integers(0, 5))]), support=True)


def litter(stage):
    """Dead leaves and chaff on the soil."""
    rng = stage.rng
    x, y, r = _home(stage)
    parts = []
    for _ in range(int(rng.integers(2, 14))):
        v, f = shapes.blade(rng, rng.uniform(5, 30), rng.uniform(1.5, 9), rng.uniform(-1, 1), rows=8, columns=4)
        v = shapes.spin(v @ shapes.turn_about([1, 0, 0], rng.uniform(-0.5, 0.5)).T, rng.uniform(0, 6.28))
        a, d = rng.uniform(0, 6.28), r * math.sqrt(rng.uniform(0, 0.75))
        parts.append((v + [x + d * math.cos(a), y + d * math.sin(a), rng.uniform(0.5, 2)], f))
    colour_ = np.array([0.22, 0.13, 0.06]) * rng.uniform(0.4, 1.9)
    stage.add("litter", *shapes.merge(parts), shapes.diffuse(np.clip(colour_, 0.01, 0.8)), support=True)


def stones(stage):
    """A few large stones or tufts of moss on the soil."""
    rng = stage.rng
    x, y, r = _home(stage)
    mossy = rng.random() < 0.4
    n = int(rng.integers(30, 250)) if mossy else int(rng.integers(1, 7))
    a, d = rng.uniform(0, 6.28, n), r * 0.85 * np.sqrt(rng.uniform(0.5, 1, n))
    if mossy:
        a = rng.normal(rng.uniform(0, 6.28), 0.4, n)
    size = rng.uniform(0.6, 2.0, n) if mossy else rng.uniform(3, 10, n)
    tint = np.array([0.07, 0.12, 0.02]) if mossy else rng.uniform(0.1, 0.5) * (1 + rng.normal(0, 0.1, 3))
    colours = tint * rng.uniform(0.7, 1.4, (n, 1))
    centres = np.stack([x + d * np.cos(a), y + d * np.sin(a), 0.3 * size], -1)
    v, f, c = shapes.scatter(rng, centres, size, colours.clip(0.01, 0.8), 2, 0.02, 0.7)
    stage.add("stones", v, f, shapes.principled(shapes.VERTEX_COLOUR, 0.7, 0.3), support=True, colours=c)


def sticker(stage):
    """A price on the front of a pot."""
    rng = stage.rng
    x, y, r, h, style = stage.pots[int(rng.integers(0, len(stage.pots)))]
    if h < 20:
        return
    wide, tall = min(rng.uniform(12, 30), r * 0.9), min(rng.uniform(8, 20), h * 0.45)
    a = -math.pi / 2 + rng.normal(0, 0.4) + np.linspace(-0.5, 0.5, 12) * wide / r
    taper = r * (style.taper + (1 - style.taper) * 0.5)
    out = max(taper, r * 0.9) * 1.04 if style.power == 2 else r * 1.02
    top, low = -0.3 * h, -0.3 * h - tall
    ring = np.stack([x + out * np.cos(a), y + out * np.sin(a)], -1)
    if style.power != 2:
        ring = np.stack([x + np.linspace(-0.5, 0.5, 12) * wide, np.full(12, y - out)], -1)
    v = np.concatenate([np.c_[ring, np.full(12, low)], np.c_[ring, np.full(12, top)]])
    i = np.arange(11)
    f = np.concatenate([np.stack([i, i + 1, i + 13], -1), np.stack([i, i + 13, i + 12], -1)])
    u = np.linspace(0, 1, 12)
    image = np.clip(loose_card(rng)[:200, 240:540, None] * rng.uniform(0.5, 1, 3), 0.01, 0.9)
    uv = np.concatenate([np.c_[u, np.ones(12)], np.c_[u, np.zeros(12)]])
    stage.add("sticker", v, f, shapes.diffuse(shapes.tex(image)), support=True, uv=uv)


# ------------------------------------------------------------------ round about
def _leaf_green(rng):
    if rng.random() < 0.75:
        spectrum = colour.BANK[int(rng.integers(0, len(colour.BANK)))][0]
        return np.array(colour.refl_to_rgb(spectrum, colour.D65)) * np.exp(rng.normal(0.1, 0.4))
    return np.clip(rng.uniform(0.02, 0.5, 3) * [1, rng.uniform(0.5, 1), rng.uniform(0.1, 0.6)], 0.01, 0.9)


def foliage(stage, place, size):
    """A leafy plant of some other kind: broad leaves, grass, fern, small round leaves."""
    rng = stage.rng
    kind = str(rng.choice(["broad", "grass", "fern", "round"]))
    count, length, width, bend = {  # shares of the size
        "broad": ((8, 40), (0.4, 0.9), (0.18, 0.45), (0.2, 1.6)),
        "grass": ((30, 120), (0.8, 1.6), (0.02, 0.06), (0.1, 1.8)),
        "fern": ((40, 140), (0.15, 0.4), (0.05, 0.15), (0.0, 1.0)),
        "round": ((30, 120), (0.15, 0.3), (0.12, 0.25), (0.0, 0.6)),
    }[kind]
    parts = []
    for _ in range(int(rng.integers(*count))):
        v, f = shapes.blade(rng, size * rng.uniform(*length), size * rng.uniform(*width), rng.uniform(*bend), rows=10)
        v = shapes.lift(v, rng.uniform(0.5, 1.5) if kind == "grass" else rng.uniform(-0.2, 1.4))
        v = shapes.spin(v, rng.uniform(0, 2 * math.pi))
        if kind == "broad":  # along a stem: a shrub, no rosette
            v = v + [0, 0, rng.uniform(0.1, 1.3) * size]
        elif kind in ("fern", "round"):
            v = v + rng.normal(0, 0.35, 3) * size * [1, 1, 0.7] + [0, 0, size * 0.5]
        parts.append((v, f))
    v, f = shapes.merge(parts)
    each = len(parts[0][0])
    shade = np.exp(rng.normal(0, 0.18, (len(parts), 1))).repeat(each, 0)
    colours = np.clip(_leaf_green(rng) * shade, 0.005, 0.9)
    bsdf = shapes.principled(shapes.VERTEX_COLOUR, rng.uniform(0.3, 0.8), 0.4)
    low = 0 if rng.random() < 0.4 else v[:, 2].min()
    stage.add("foliage", v + [*place, stage.ground - low], f, bsdf, colours=colours)


def _thing(stage, place, size):
    """Boxes, cups, bottles, tools."""
    rng = stage.rng
    z = stage.ground
    paint = shapes.principled(rng.uniform(0.02, 0.8, 3), rng.uniform(0.15, 0.9), 0.4)
    kind = rng.choice(["box", "cup", "bottle", "tool"])
    if kind == "box":
        wide, deep = size * rng.uniform(0.4, 1.4, 2)
        v, f = shapes.box(*place, z, z + size * rng.uniform(0.2, 2), wide, deep, rng.uniform(0, 3))
        stage.add("box", v, f, paint, flat=True)
    elif kind == "tool":
        way = shapes.spin(np.array([[-1.0, 0, 0], [1.0, 0, 0]]) * size, rng.uniform(0, 6.28))
        path = np.linspace(way[0], way[1], 10) + [*place, z + 7]
        v, f = shapes.tube(path, [7, 8, 8, 7, 6, 2.5, 2.5, 2.5, 2.5, 2], 12)
        stage.add("tool", v, f, paint if rng.random() < 0.5 else shapes.metal([0.6, 0.6, 0.6]))
        v, f = shapes.blade(rng, size * 0.8, 28, 0.15, cup=0.35)
        turn = math.atan2(way[1][1], way[1][0])
        stage.add("tool", shapes.spin(v, turn) + path[-1], f, shapes.metal([0.5, 0.5, 0.5]))
    else:
        ring = (
            [(0.3, 0), (0.5, 0.6), (0.45, 1)] if kind == "cup" else [(0.3, 0), (0.3, 1.2), (0.1, 1.6), (0.1, 1.9), (0.01, 1.9)]
        )
        v, f = shapes.loft([(a * size, z + b * size) for a, b in ring], float(rng.choice([2, 2, 10])), 48)
        stage.add("cup", v + [*place, 0], f, paint)


def clutter(stage, camera):
    rng = stage.rng
    for _ in range(int(rng.choice([0, 0, 1, 2, 4, 7]))):
        size = rng.uniform(0.4, 1.8) * max(25, min(stage.reach(), 120))
        place = stage.room_for(0.7 * size, camera)
        if place is not None:
            foliage(stage, place, size) if rng.random() < 0.65 else _thing(stage, place, size)


def dress(stage, camera):
    """Some of everything."""
    rng = stage.rng
    chances = [(0.1, lambda: stalk(stage, camera))]
    if stage.has_soil and not stage.in_the_air:
        chances += [(0.28, lambda: stake(stage)), (0.2, lambda: litter(stage)), (0.12, lambda: stones(stage))]
    if stage.pots:
        chances.append((0.2, lambda: sticker(stage)))
    for chance, put in chances:
        while rng.random() < chance:
            put()
            chance *= 0.5
    clutter(stage, camera)
    if not stage.in_the_air:
        for chance, put in ((0.35, card), (0.12, card), (0.1, ruler)):
            if rng.random() < chance:
                put(stage, camera)
