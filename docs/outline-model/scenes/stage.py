"""The stage that plants stand on: subjects, pots, soil, floor, walls. `settings` puts them together."""

import math
from dataclasses import dataclass, field

import cv2
import mitsuba as mi
import numpy as np

import plant as plants
import shapes


@dataclass
class Individual:
    """A grown plant and its material; it may stand on the stage more than once."""

    plant: plants.Plant
    bsdf: object

    def spread(self):
        """Mean radius of the rosette seen from above; a few long leaves do not count for much."""
        x, y = self.plant.vertices[::3, :2].T
        sector = ((np.arctan2(y, x) / math.pi + 1) * 10).astype(int) % 20
        return float(np.mean([np.hypot(x, y)[sector == s].max(initial=0) for s in range(20)]))


@dataclass
class Subject:
    name: str
    individual: Individual
    vertices: np.ndarray  # mm, on the stage
    crown: np.ndarray
    foot: np.ndarray
    turn: np.ndarray  # rotation from the upright plant
    radius: float


@dataclass
class Layer:
    """One kind of grain in a soil."""

    per_mm2: float
    low: float  # mm above soil level
    high: float
    size: float  # median radius, mm
    spread: float
    colour: tuple
    flatness: float = 0.8
    divisions: int = 1


@dataclass
class PotStyle:
    power: float  # 2 round, 10 square
    taper: float  # foot / rim
    rim: float  # mm above the soil
    bsdf: object
    soil: str


DARK, LIGHT = (0.03, 0.022, 0.016), (0.14, 0.13, 0.12)
PERLITE = Layer(0.02, -0.6, 0.9, 1.25, 0.3, (0.74, 0.73, 0.7), 0.9, 2)
SOILS = {  # name: (weight, colour beneath, layers)
    "mix": (
        0.36,
        DARK,
        [
            Layer(0.17, -1.2, 0.5, 1.35, 0.38, (0.05, 0.031, 0.02)),
            Layer(0.02, -0.4, 0.8, 2.2, 0.3, (0.1, 0.052, 0.028), 0.35),
            PERLITE,
        ],
    ),
    "peat": (0.12, DARK, [Layer(0.2, -1.0, 0.3, 1.0, 0.4, (0.03, 0.019, 0.012))]),
    "gravel_grey": (0.14, LIGHT, [Layer(0.09, -1.6, 0.7, 2.0, 0.3, (0.26, 0.26, 0.25), 0.7, 2)]),
    "gravel_pink": (0.1, LIGHT, [Layer(0.09, -1.6, 0.7, 2.0, 0.3, (0.42, 0.29, 0.24), 0.7, 2)]),
    "gravel_white": (0.1, LIGHT, [Layer(0.09, -1.6, 0.7, 2.0, 0.3, (0.55, 0.54, 0.5), 0.7, 2)]),
    "pebbles": (0.05, LIGHT, [Layer(0.02, -2.5, 1.0, 4.5, 0.35, (0.3, 0.28, 0.25), 0.6, 2)]),
    "baked_clay": (0.06, (0.12, 0.06, 0.03), [Layer(0.09, -1.4, 0.7, 1.9, 0.25, (0.33, 0.17, 0.08), 0.9, 2)]),
    "moss": (
        0.07,
        (0.02, 0.03, 0.008),
        [Layer(0.3, -1.2, 0.6, 0.8, 0.5, (0.06, 0.1, 0.016), 1.0), Layer(0.05, -1.0, 0.6, 1.3, 0.4, (0.05, 0.031, 0.02))],
    ),
}


def any_soil(rng):
    return str(rng.choice(list(SOILS), p=np.array([w for w, _, _ in SOILS.values()]) / sum(w for w, _, _ in SOILS.values())))


@dataclass
class Stage:
    rng: np.random.Generator
    illuminant: np.ndarray
    photos: list  # paths of photos for walls
    pixels_across: float = 576.0  # what the framed plants will about span: finer ones are not worth building
    shapes: dict = field(default_factory=dict)
    support: set = field(default_factory=set)  # names of what is code 1 in the mask
    subjects: list = field(default_factory=list)
    targets: list = field(default_factory=list)  # subjects that the camera frames; all if empty
    occupied: list = field(default_factory=list)  # (x, y, radius): no room for props
    pots: list = field(default_factory=list)  # (x, y, radius, height, style), for stakes and stickers
    floor_z: float = -2.5
    shelf_z: float | None = None  # what props stand on where that is not the floor
    open_behind: bool = True  # no wall
    in_the_air: bool = False  # held up: the floor is far below
    has_soil: bool = True  # to put labels and stones in
    span: float = 100.0  # about what the framed plants will span, mm

    # -------------------------------------------------------------- putting things in
    def add(self, kind, vertices, faces, bsdf, support=False, **more):
        name = f"{kind}_{len(self.shapes)}"
        self.shapes[name] = shapes.mesh(name, vertices, faces, bsdf, **more)
        if support:
            self.support.add(name)
        return name

    @property
    def ground(self):
        """What props stand on."""
        return self.floor_z if self.shelf_z is None else self.shelf_z

    def grow(self, habit, detail=1.0):
        fineness = float(np.clip(detail * self.pixels_across / self.span / 6.4, 0.25, 2.4))
        grown = plants.grow(self.rng, habit.finer(fineness), self.illuminant)
        bsdf = mi.load_dict(shapes.principled(shapes.tex(grown.colour), shapes.tex(grown.roughness), grown.specular))
        return Individual(grown, bsdf)

    def stand(self, individual, x=0.0, y=0.0, z=0.0, lean=0.0, lean_to=0.0, scale=1.0, lying=False):
        """Put a plant with its foot at (x, y, z), leaning towards the direction `lean_to`; lying = dropped on z."""
        plant = individual.plant
        axis = [-math.sin(lean_to), math.cos(lean_to), 0]
        turn = shapes.turn_about(axis, lean) @ shapes.turn_about([0, 0, 1], self.rng.uniform(0, 2 * math.pi))
        vertices = plant.vertices @ turn.T * scale
        if lying:
            z = z - vertices[:, 2].min()
        at = np.array([x, y, z])
        vertices = vertices + at
        name = self.add("plant", vertices, plant.faces, individual.bsdf, normals=plant.normals @ turn.T, uv=plant.uv)
        crown = turn @ plant.crown * scale + at
        subject = Subject(name, individual, vertices, crown, at, turn, plant.radius_mm * scale)
        self.subjects.append(subject)
        low, high = vertices[:, :2].min(0), vertices[:, :2].max(0)
        self.occupied.append((*(low + high) / 2, max(high - low) / 2))
        return subject

    def grains(self, soil, region, bounds, z=0.0, density=0.55, limit=7000):
        """Soil grains where region(x, y) holds, within bounds (x0, x1, y0, y1)."""
        rng = self.rng
        x0, x1, y0, y1 = bounds
        for layer in SOILS[soil][2]:
            wanted = (x1 - x0) * (y1 - y0) * layer.per_mm2 * density
            n = int(min(wanted, limit))
            coarser = math.sqrt(max(1.0, wanted / limit))
            at = np.stack([rng.uniform(x0, x1, n), rng.uniform(y0, y1, n), z + rng.uniform(layer.low, layer.high, n)], -1)
            at = at[region(at[:, 0], at[:, 1])]
            if len(at) == 0:
                continue
            sizes = coarser * rng.lognormal(math.log(layer.size), layer.spread, len(at)).clip(0.4, layer.size * 2.2)
            shade = rng.uniform(0.55, 1.4, (len(at), 1)) * (1 + 0.04 * rng.standard_normal((len(at), 3)))
            divisions = layer.divisions if len(at) < 1500 else 1
            v, f, c = shapes.scatter(rng, at, sizes, layer.colour * shade, divisions, 0.05, layer.flatness)
            bsdf = shapes.principled(shapes.VERTEX_COLOUR, 0.7, 0.2)
            self.add("grains", v, f, bsdf, support=True, colours=c.clip(0.004, 0.88), flat=True)

    # -------------------------------------------------------------- pots
    def pot_style(self):
        rng = self.rng
        paint = str(rng.choice(["terracotta", "white", "black", "coloured", "printed"], p=[0.28, 0.2, 0.27, 0.15, 0.1]))
        colour = {
            "terracotta": np.array([0.42, 0.175, 0.095]) * rng.uniform(0.6, 1.3),
            "white": np.full(3, rng.uniform(0.5, 0.82)),
            "black": np.full(3, rng.uniform(0.01, 0.05)),
            "coloured": rng.uniform(0.02, 0.7, 3),
            "printed": np.ones(3),
        }[paint]
        if paint == "printed":
            image = shapes.any_surface(rng)
        else:
            image = colour * (1 + rng.uniform(0, 0.12) * shapes.smooth_noise(rng, 128, 128, 30, 30)[..., None])
        bsdf = mi.load_dict(shapes.principled(shapes.tex(np.clip(image, 0.004, 0.9)), rng.uniform(0.2, 0.9), 0.4))
        power = float(rng.choice([2, 2, 2, 10]))
        return PotStyle(power, float(rng.uniform(0.55, 1.0)), float(rng.uniform(0, 9)), bsdf, any_soil(rng))

    def pot(self, x, y, radius, height, style, z=0.0, grains=0.55):
        """A pot whose soil stands at z."""
        rng = self.rng
        r, rim, taper = radius, style.rim, style.taper
        belt = r * (taper * 0.3 + 0.7) if rng.random() < 0.5 else r * 0.97
        profile = [(taper * r, -height), (belt, rim - min(rng.uniform(4, 18), 0.5 * height)), (r, rim - 4), (1.03 * r, rim)]
        profile += [(r, rim + 0.8), (0.95 * r, rim - 1), (0.9 * r, -min(8, 0.4 * height))]
        v, f = shapes.loft(profile, style.power)
        uv = np.stack([np.arctan2(v[:, 1], v[:, 0]) / math.pi, v[:, 2] / 60], -1)
        self.add("pot", v + [x, y, z], f, style.bsdf, support=True, uv=uv, flat=style.power > 2)
        v, f = shapes.loft([(r * 0.92, -2.2), (0.001, -2.2)], style.power, 48)
        self.add("soil", v + [x, y, z], f, shapes.diffuse(SOILS[style.soil][1]), support=True)

        def within(px, py):
            if style.power == 2:
                return np.hypot(px - x, py - y) < r * 0.91
            return (np.abs(px - x) ** 9 + np.abs(py - y) ** 9) ** (1 / 9) < r * 0.93

        self.grains(style.soil, within, (x - r, x + r, y - r, y + r), z, grains)
        self.floor_z = min(self.floor_z, z - height)
        self.occupied.append((x, y, r * (1.05 if style.power == 2 else 1.3)))
        self.pots.append((x, y, radius, height, style))

    # -------------------------------------------------------------- surroundings
    def surface(self, photo_share=0.25):
        if self.photos and self.rng.random() < photo_share:
            return self.photo()
        return shapes.any_surface(self.rng)

    def photo(self):
        """A wallpaper photo as linear reflectance."""
        if not self.photos:
            return shapes.any_surface(self.rng)
        image = cv2.imread(self.photos[int(self.rng.integers(0, len(self.photos)))])[..., ::-1].astype(np.float32) / 255
        size = self.rng.uniform(0.4, 1.0)
        image = cv2.resize(image, None, fx=size, fy=size, interpolation=cv2.INTER_AREA)
        return np.clip(image**2.2 * self.rng.uniform(0.5, 1.0), 0.003, 0.9)

    def floor(self):
        rng, big, z = self.rng, 3000.0, self.floor_z
        corners = np.array([[-big, -big, z], [big, -big, z], [big, big, z], [-big, big, z]])
        bsdf = shapes.principled(shapes.tex(self.surface()), rng.uniform(0.25, 1), rng.uniform(0, 0.5))
        uv = shapes.spin(corners, rng.uniform(0, 6.28))[:, :2] / rng.uniform(80, 1200)
        self.add("floor", corners, shapes.QUAD_FACES, bsdf, uv=uv)

    def wall(self, distance, half_width, half_height, low, image=None, glow=0.0, repeat=1.0):
        """An upright picture behind everything; glow = it shines by itself, as a bright window does."""
        w, top = half_width, low + 2 * half_height
        corners = np.array([[-w, distance, low], [w, distance, low], [w, distance, top], [-w, distance, top]])
        image = self.photo() if image is None else image
        emitter = {"type": "area", "radiance": shapes.tex(image * glow)} if glow else None
        uv = shapes.QUAD_UV * repeat
        self.add("wall", corners, shapes.QUAD_FACES, shapes.diffuse(shapes.tex(image)), uv=uv, emitter=emitter)
        self.open_behind = False

    def window_wall(self, distance, low, reach):
        """A bright window with its frame; plants in front are lit from behind."""
        rng = self.rng
        w, h = reach * rng.uniform(2.5, 6), reach * rng.uniform(2.5, 6)
        self.wall(distance + 60, w, h, low, glow=rng.uniform(1.0, 5.0))
        bars = []
        colour = np.full(3, rng.uniform(0.4, 0.8)) if rng.random() < 0.7 else np.array([0.2, 0.1, 0.05]) * rng.uniform(0.4, 2)
        for x in np.linspace(-w, w, int(rng.integers(2, 5))) + rng.uniform(-0.2, 0.2) * w:
            bars.append(shapes.box(x, distance, low, low + 2 * h, rng.uniform(15, 60), 40))
        bars.append(shapes.box(0, distance, low, low + rng.uniform(10, 60), 2 * w, 45))
        v, f = shapes.merge(bars)
        self.add("frame", v, f, shapes.principled(colour, 0.4, 0.5), flat=True)

    def reach(self):
        """Farthest leaf of the subjects from the middle."""
        return max(math.hypot(*s.vertices[:, :2].mean(0)) + s.radius for s in self.subjects)

    def room_for(self, radius, camera=None, behind=0.7, spread=60.0):
        """A free spot (x, y) for a prop, by preference in sight; None if there is none."""
        rng = self.rng
        inner = min(self.reach(), 400)
        for attempt in range(60):
            a = rng.normal(math.pi / 2, 0.9) if rng.random() < behind else rng.uniform(0, 2 * math.pi)
            d = rng.uniform(0, inner) + radius + rng.exponential(spread)
            x, y = d * math.cos(a), d * math.sin(a)
            if any(math.hypot(x - ox, y - oy) < radius + r + 2 for ox, oy, r in self.occupied):
                continue
            if camera is not None and not self._in_the_open(x, y, radius, camera, in_sight=attempt < 40):
                continue
            self.occupied.append((x, y, radius))
            return x, y
        return None

    def _in_the_open(self, x, y, radius, camera, in_sight):
        """In the picture, and neither at the lens nor between lens and subject."""
        here = np.array([x, y, max(self.floor_z, -40)])
        if np.linalg.norm(here - camera.origin) < radius * 1.6 + 60:
            return False
        to = camera.centre - camera.origin
        t = np.clip((here - camera.origin) @ to / (to @ to), 0, 0.95)
        if np.linalg.norm(camera.origin + t * to - here) < radius * 1.1 and t < 0.93:
            return False
        p = camera.project(here)[0]
        return not in_sight or (-0.05 < p[0] / camera.width < 1.05 and -0.05 < p[1] / camera.height < 1.05)
