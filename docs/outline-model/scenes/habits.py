"""The kinds of plants: how each grows, its leaf shape and its skin, drawn at random within the kind."""

from dataclasses import dataclass, replace

import numpy as np

import colour as spectra
from leaf import Blade
from tissue_maps import CREAM, GOLD, GREEN, RED, Bands, Condition, Flecks, Redness, Skin, Window

GOLDEN_ANGLE = 137.508
WAVELENGTH = spectra.WL
BAND_FORMS = {  # ranges of width and pitch in mm
    "standard": ((0.5, 1.2), (2.0, 3.2)),
    "wide": ((1.2, 2.0), (3.0, 4.6)),
    "extra_wide": ((2.0, 3.5), (4.2, 6.0)),
}


@dataclass
class Growth:
    """How leaves are set; angles in degrees from the horizontal, lengths in shares of the longest leaf."""

    leaf_count: int
    elevation_outer: float
    elevation_inner: float
    upcurve: float = 15.0
    droop: float = 0.0
    droop_start: float = 2.5  # higher: only the tip droops
    inner_length: float = 0.42
    inner_width: float = 0.5
    stem_mm: float = 5.0  # from the oldest leaf's foot to the youngest's
    base_radius: float = 0.05
    divergence_deg: float = GOLDEN_ANGLE
    divergence_jitter: float = 0.06
    length_jitter: float = 0.05
    roll: float = 0.13
    swerve: float = 0.10
    lean_deg: float = 0.0
    lean_azimuth: float = 0.0
    lopsided: float = 0.0
    gap_deg: float = 0.0
    gap_azimuth: float = 0.0


@dataclass
class Habit:
    name: str
    diameter_mm: float
    growth: Growth
    blade: Blade
    skin: Skin
    texel_mm: float = 0.17
    texel_columns: int = 144
    mesh_mm: float = 0.5
    mesh_columns: int = 36

    def finer(self, factor: float) -> "Habit":
        """The same plant for a picture that shows it `factor` times larger."""
        return replace(
            self,
            texel_mm=self.texel_mm / factor,
            mesh_mm=self.mesh_mm / factor,
            texel_columns=int(self.texel_columns * factor),
            mesh_columns=int(self.mesh_columns * factor),
        )


def pick(rng, weights: dict):
    names = list(weights)
    shares = np.array(list(weights.values()), float)
    return names[int(rng.choice(len(names), p=shares / shares.sum()))]


def chance(rng, share):
    return bool(rng.random() < share)


# ---- colours


def flat(level, slope=0.0):
    """Reflectance that rises (slope > 0) or falls toward red light."""
    return np.clip(level * (1 + slope * (WAVELENGTH - 560) / 200), 0.003, 0.95)


def scaled(spectrum, factor):
    return np.clip(spectrum * factor, 0.003, 0.92)


def mixed(first, second, share):
    return first * (1 - share) + second * share


def bank_sample(rng):
    """Leaf reflectances of one plant, by tissue."""
    return dict(zip(spectra.KEYS, spectra.BANK[int(rng.integers(0, len(spectra.BANK)))].copy()))


def skin_spectra(rng, bank, varied="cream", lightness=1.0):
    """The spectra a Skin needs; `varied` names the pale tissue of variegated leaves."""
    green = scaled(bank["green"], lightness)
    return {
        "green": green,
        "varied": bank[varied],
        "red_green": scaled(bank["red_green"], lightness),
        "red_varied": bank["red_" + varied],
        "band": scaled(green, rng.uniform(1.15, 2.2)),
        "dead": 0.05 + rng.uniform(0.1, 0.4) * ((WAVELENGTH - 400) / 380) ** 1.6,
        "yellow": scaled(bank["gold"], rng.uniform(0.7, 1.0)),
        "bloom": flat(rng.uniform(0.55, 0.8), rng.uniform(-0.35, -0.05)),
        "dust": flat(rng.uniform(0.2, 0.4), rng.uniform(0.2, 0.5)),
        "fleck": mixed(green, flat(0.6, 0.1), rng.uniform(0.3, 0.8)),
        "window": mixed(scaled(green, 2.2), flat(0.42, 0.05), rng.uniform(0.25, 0.7)),
        "spine": flat(rng.uniform(0.02, 0.12), rng.uniform(0.3, 0.8)),
        "tooth": mixed(flat(rng.uniform(0.4, 0.7), 0.15), green, rng.uniform(0, 0.4)),
    }


def random_redness(rng, styles, none_share=0.5, most=0.7, softness=0.25):
    if chance(rng, none_share):
        return None
    share = float(rng.uniform(0.03, most))
    return Redness(share, float(rng.choice([0.5, 0.8, 1.0])), pick(rng, styles), float(rng.uniform(0, 2 * np.pi)), softness)


# ---- zebra kinds: stiff pointed leaves with raised white bands


def zebra_bands(rng, diameter):
    form = pick(rng, {"standard": 0.6, "wide": 0.28, "extra_wide": 0.12})
    (narrow, wide), (close, apart) = BAND_FORMS[form]
    width, pitch = rng.uniform(narrow, wide), rng.uniform(close, apart)
    pitch = min(max(pitch, width * (1.6 if form == "extra_wide" else 1.8)), 6.0)
    young = min(1.0, diameter / 45) ** 0.6  # small plants have finer bands
    dots = form == "standard" and chance(rng, 0.5)
    faces = pick(rng, {"both": 0.6, "outer": 0.36, "inner": 0.04})
    height = float(rng.uniform(0.2, 0.42))
    return Bands(form, float(width * young), float(pitch * young), height, dots, faces != "outer", faces != "inner")


def zebra_variegation(rng, skin: Skin, bank):
    """Chooses the pattern and its pale tissue."""
    kind = pick(
        rng,
        {
            "none": 0.42,
            "white_stripes": 0.10,
            "striation": 0.10,
            "gold_stripes": 0.09,
            "sectorial": 0.08,
            "gold_centre": 0.08,
            "albino": 0.07,
            "pale": 0.06,
        },
    )
    tissue = {
        "white_stripes": {CREAM: 1},
        "striation": {CREAM: 2, GOLD: 1},
        "sectorial": {CREAM: 1, GOLD: 1},
        "albino": {CREAM: 1, GOLD: 1},
        "none": {CREAM: 1},
    }.get(kind, {GOLD: 1})
    least, most = {
        "none": (0, 0),
        "striation": (0.25, 0.7),
        "sectorial": (0.3, 0.6),
        "gold_centre": (0.3, 0.7),
        "albino": (1, 1),
        "pale": (0.8, 0.96),
    }.get(kind, (0.15, 0.6))
    skin.variegation, skin.varied_class = kind, pick(rng, tissue)
    skin.varied_share, skin.sector_azimuth = float(rng.uniform(least, most)), float(rng.uniform(0, 2 * np.pi))
    name = "cream" if skin.varied_class == CREAM else "gold"
    skin.spectra["varied"], skin.spectra["red_varied"] = bank[name], bank["red_" + name]


def zebra_skin(rng, diameter):
    bank = bank_sample(rng)
    skin = Skin(skin_spectra(rng, bank, lightness=float(np.exp(rng.normal(-0.35, 0.5)))))
    zebra_variegation(rng, skin, bank)
    if chance(rng, 0.9):
        skin.bands = zebra_bands(rng, diameter)
    if chance(rng, 0.85):  # else the bands are hardly paler than the leaf
        skin.spectra["band"] = rng.uniform(0.45, 0.85) * (1 - 0.14 * (700 - WAVELENGTH).clip(0) / 300)
    skin.redness = random_redness(rng, {"tips": 1, "stripes": 1, "both": 1}, most=0.85)
    skin.roughness = float(rng.uniform(0.26, 0.6))
    return skin


def zebra(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(50, 95)
    build = pick(rng, {"common": 0.36, "spiky": 0.2, "broad": 0.14, "few": 0.1, "upright": 0.12, "column": 0.08})
    width = rng.uniform(*{"spiky": (0.10, 0.2), "broad": (0.3, 0.48)}.get(build, (0.20, 0.34)))
    count = int({"spiky": rng.integers(22, 60), "few": rng.integers(5, 11)}.get(build, rng.integers(14, 34)))
    if diameter < 40:
        count = int(count * 0.6) + 3
    outer = rng.uniform(-8, 50) if chance(rng, 0.6) else rng.uniform(14, 30)
    stem = diameter * (rng.uniform(0.05, 0.14) if chance(rng, 0.8) else rng.uniform(0.15, 0.5))
    growth = Growth(count, outer, rng.uniform(max(60, outer + 15), 88), rng.uniform(0, 40), stem_mm=stem)
    if build == "upright":
        growth.elevation_outer, growth.elevation_inner = rng.uniform(45, 65), rng.uniform(78, 90)
        growth.upcurve = rng.uniform(0, 25)
    if build == "column":
        growth = Growth(int(rng.integers(24, 60)), rng.uniform(38, 55), rng.uniform(65, 80), rng.uniform(20, 50))
        growth.stem_mm, growth.inner_length, growth.inner_width = diameter * rng.uniform(0.7, 1.8), 0.75, 0.8
        width = rng.uniform(0.34, 0.5)
    blade = Blade(
        width_ratio=width,
        taper=rng.uniform(1.3, 2.1),
        thick_upper=rng.uniform(0.06, 0.25),
        thick_lower=rng.uniform(0.4, 0.8),
        hollow=rng.uniform(0.0, 0.16),
        keel=rng.choice([0, 0, 0.4]),
    )
    skin = zebra_skin(rng, diameter)
    fine = skin.variegation == "striation"
    return Habit("zebra", float(diameter), growth, blade, skin, texel_columns=240 if fine else 144)


# ---- soft window rosettes: short fat leaves with translucent ends


def window(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(25, 75)
    blunt = chance(rng, 0.4)  # leaf ends cut off flat and facing up
    growth = Growth(
        leaf_count=int(rng.integers(12, 24) if blunt else rng.integers(16, 46)),
        elevation_outer=rng.uniform(35, 60) if blunt else rng.uniform(10, 45),
        elevation_inner=rng.uniform(70, 88),
        upcurve=rng.uniform(-75, -35) if blunt else rng.uniform(10, 45),
        inner_length=0.5,
        stem_mm=diameter * rng.uniform(0.04, 0.1),
    )
    blade = Blade(
        width_ratio=rng.uniform(0.4, 0.6) if blunt else rng.uniform(0.3, 0.5),
        base_width=rng.uniform(0.55, 0.8),
        widest_at=rng.uniform(0.5, 0.7),
        taper=rng.uniform(1.6, 3),
        bluntness=rng.uniform(0.45, 0.9),
        point_length=rng.uniform(0.02, 0.07),
        point_width=rng.uniform(0.06, 0.2),
        thick_upper=rng.uniform(0.25, 0.5),
        thick_lower=rng.uniform(0.6, 0.95),
        hollow=0.0,
        keel=rng.uniform(0, 0.6),
    )
    skin = Skin(skin_spectra(rng, bank_sample(rng), lightness=float(np.exp(rng.normal(0.45, 0.4)))))
    skin.window = Window(rng.uniform(0.45, 0.8), int(rng.integers(3, 9)), rng.uniform(0.5, 0.95))
    skin.redness = random_redness(rng, {"tips": 1, "whole": 1}, 0.7, 0.4, 0.8)
    skin.roughness, skin.specular = float(rng.uniform(0.2, 0.45)), 0.6
    return Habit("window", float(diameter), growth, blade, skin)


# ---- strap leaves in two ranks


def strap(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(50, 140)
    ranked = chance(rng, 0.65)
    outer = rng.uniform(-3, 35)
    growth = Growth(
        leaf_count=int(rng.integers(5, 15) if ranked else rng.integers(8, 22)),
        elevation_outer=outer,
        elevation_inner=rng.uniform(max(45, outer + 12), 80),
        upcurve=rng.uniform(-20, 30),
        inner_length=rng.uniform(0.45, 0.75),
        inner_width=0.75,
        stem_mm=diameter * rng.uniform(0.06, 0.16),
        base_radius=-0.04 if ranked else 0.03,
        divergence_deg=180 + rng.normal(0, 5) if ranked else GOLDEN_ANGLE,
        divergence_jitter=0.08,
    )
    blade = Blade(
        width_ratio=rng.uniform(0.2, 0.42),
        base_width=rng.uniform(0.85, 1.05),
        widest_at=0.25,
        taper=rng.uniform(2.2, 5),
        bluntness=rng.uniform(0.5, 0.8),
        point_length=rng.uniform(0.01, 0.05),
        point_width=rng.uniform(0.05, 0.15),
        thick_upper=rng.uniform(0.12, 0.4),
        thick_lower=rng.uniform(0.4, 0.8),
        hollow=rng.uniform(0, 0.2),
        keel=rng.uniform(0, 0.8),
    )
    skin = Skin(skin_spectra(rng, bank_sample(rng), lightness=float(np.exp(rng.normal(-0.4, 0.45)))))
    if chance(rng, 0.55):
        skin.flecks = Flecks(rng.uniform(0.6, 2.0), rng.uniform(0.6, 1.8), rng.uniform(0.3, 0.95), chance(rng, 0.5))
    if chance(rng, 0.12):
        skin.variegation, skin.varied_share = pick(rng, {"white_stripes": 1, "striation": 1}), rng.uniform(0.15, 0.5)
    skin.redness = random_redness(rng, {"tips": 1, "whole": 1, "edges": 1}, 0.6, 0.6)
    skin.roughness = float(rng.uniform(0.2, 0.55))
    return Habit("strap", float(diameter), growth, blade, skin)


# ---- aloe-like: long tapering toothed leaves


def aloe_skin(rng):
    bank = bank_sample(rng)
    tone = pick(rng, {"green": 0.4, "blue": 0.35, "bronze": 0.25})
    skin = Skin(skin_spectra(rng, bank, lightness=float(np.exp(rng.normal(0.1, 0.45)))))
    if tone == "blue":
        skin.bloom = rng.uniform(0.1, 0.4)
    if tone == "bronze":
        deep = chance(rng, 0.5)
        skin.living = RED if deep else GREEN
        skin.spectra["green"] = mixed(skin.spectra["green"], skin.spectra["red_green"], 0.85 if deep else 0.3)
    if chance(rng, 0.4):
        skin.flecks = Flecks(rng.uniform(0.8, 2.2), rng.uniform(0.8, 2.0), rng.uniform(0.3, 0.9), chance(rng, 0.5))
    skin.redness = random_redness(rng, {"tips": 1, "edges": 1, "whole": 1}, 0.45, 0.6)
    skin.roughness = float(rng.uniform(0.25, 0.6))
    return skin


def aloe(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(60, 180)
    outer = rng.uniform(-5, 40)
    growth = Growth(
        leaf_count=int(rng.integers(8, 21)),
        elevation_outer=outer,
        elevation_inner=rng.uniform(max(60, outer + 15), 86),
        upcurve=rng.uniform(-10, 40),
        droop=rng.uniform(20, 90) if chance(rng, 0.35) else 0.0,
        droop_start=rng.uniform(2, 5),
        stem_mm=diameter * rng.uniform(0.04, 0.15),
        swerve=0.18,
    )
    blade = Blade(
        width_ratio=rng.uniform(0.08, 0.28),
        base_width=1.0,
        widest_at=0.1,
        taper=rng.uniform(0.9, 1.5),
        bluntness=rng.uniform(0.9, 1.5),
        thick_upper=rng.uniform(0.04, 0.2),
        thick_lower=rng.uniform(0.35, 0.65),
        hollow=rng.uniform(0.1, 0.35),
        fold=rng.uniform(0, 0.3),
        tooth_mm=diameter / 100 * rng.uniform(0.4, 1.6) if chance(rng, 0.75) else 0.0,
        tooth_pitch_mm=max(2.2, diameter / 100 * rng.uniform(2.5, 6)),
    )
    return Habit("aloe", float(diameter), growth, blade, aloe_skin(rng))


# ---- smooth fleshy rosettes: spoon leaves with a small point and a bloom


def fleshy_skin(rng):
    bank = bank_sample(rng)
    skin = Skin(skin_spectra(rng, bank, lightness=float(np.exp(rng.normal(0.35, 0.4)))))
    green, red = skin.spectra["green"], scaled(bank["red_green"], rng.uniform(0.7, 1.6))
    pink, apricot, cream, gold = bank["red_cream"], bank["red_gold"], bank["cream"], bank["gold"]
    tones = {  # skin colour, its class, range of bloom, weight
        "green": (green, GREEN, (0, 0.15), 2),
        "blue": (scaled(green, 1.2), GREEN, (0.3, 0.62), 4),
        "lilac": (mixed(green, pink, 0.3), GREEN, (0.3, 0.55), 2),
        "pink": (mixed(pink, cream, rng.uniform(0, 0.4)), RED, (0.05, 0.35), 2),
        "bronze": (mixed(red, green, rng.uniform(0.1, 0.4)), RED, (0, 0.15), 2),
        "apricot": (mixed(mixed(apricot, gold, 0.5), cream, 0.3), RED, (0.05, 0.3), 1),
        "lime": (mixed(scaled(green, 1.6), gold, rng.uniform(0.3, 0.6)), GREEN, (0, 0.12), 2),
        "dark": (scaled(mixed(red, green, 0.2), rng.uniform(0.2, 0.45)), RED, (0, 0.08), 1),
    }
    tone = pick(rng, {name: t[3] for name, t in tones.items()})
    skin.spectra["green"], skin.living, bloom, _ = tones[tone]
    skin.bloom = float(rng.uniform(*bloom))
    skin.bloom_rubbed = rng.uniform(0.2, 0.8) if chance(rng, 0.4) else 0.0
    skin.spectra["red_green"] = mixed(skin.spectra["green"], pick_red(rng, red, pink), rng.uniform(0.7, 1.0))
    skin.redness = random_redness(rng, {"tips": 2, "edges": 3, "whole": 1}, 0.35, 0.4, rng.uniform(0.3, 0.9))
    skin.roughness = float(rng.uniform(0.3, 0.65))
    return skin


def pick_red(rng, red, pink):
    return red if chance(rng, 0.5) else scaled(pink, rng.uniform(0.6, 1.0))


def fleshy(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(30, 130)
    tight = chance(rng, 0.45)
    outer = rng.uniform(5, 40) if tight else rng.uniform(-3, 25)
    growth = Growth(
        leaf_count=int(rng.integers(30, 80) if tight else rng.integers(16, 45)),
        elevation_outer=outer,
        elevation_inner=rng.uniform(70, 90),
        upcurve=rng.uniform(15, 55) if tight else rng.uniform(-5, 40),
        inner_length=rng.uniform(0.15, 0.4),
        inner_width=rng.uniform(0.25, 0.5),
        stem_mm=diameter * rng.uniform(0.04, 0.16),
        divergence_jitter=0.03,
        roll=0.08,
        swerve=0.05,
    )
    slim = chance(rng, 0.2)  # long and thin like a finger
    blade = Blade(
        width_ratio=rng.uniform(0.2, 0.32) if slim else rng.uniform(0.42, 0.75),
        base_width=rng.uniform(0.35, 0.7),
        widest_at=rng.uniform(0.5, 0.76),
        taper=rng.uniform(1.5, 2.6),
        bluntness=rng.uniform(0.5, 0.9),
        point_length=rng.uniform(0.02, 0.09),
        point_width=rng.uniform(0.06, 0.25),
        thick_upper=rng.uniform(0.1, 0.5) if slim else rng.uniform(0.02, 0.2),
        thick_lower=rng.uniform(0.5, 0.9) if slim else rng.uniform(0.2, 0.5),
        hollow=0.0 if slim else rng.uniform(0, 0.12),
        fold=0.0 if slim else rng.uniform(0, 0.3),
        wave=rng.uniform(0.05, 0.2) if chance(rng, 0.12) else 0.0,
        keel=rng.uniform(0, 0.6),
    )
    return Habit("fleshy", float(diameter), growth, blade, fleshy_skin(rng))


# ---- agave-like: stiff leaves with a dark end spine


def agave(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(60, 200)
    outer = rng.uniform(0, 35)
    growth = Growth(
        leaf_count=int(rng.integers(12, 46)),
        elevation_outer=outer,
        elevation_inner=rng.uniform(75, 90),
        upcurve=rng.uniform(-5, 30),
        inner_length=0.6,
        stem_mm=diameter * rng.uniform(0.06, 0.14),
        swerve=0.05,
    )
    spine_length = rng.uniform(0.03, 0.08)
    blade = Blade(
        width_ratio=rng.uniform(0.14, 0.42),
        base_width=rng.uniform(0.6, 0.95),
        widest_at=rng.uniform(0.4, 0.6),
        taper=rng.uniform(1.3, 2.2),
        bluntness=rng.uniform(0.8, 1.2),
        point_length=spine_length,
        point_width=rng.uniform(0.06, 0.12),
        thick_upper=rng.uniform(0.02, 0.12),
        thick_lower=rng.uniform(0.2, 0.45),
        hollow=rng.uniform(0.05, 0.25),
        fold=rng.uniform(0.05, 0.35),
        tooth_mm=diameter / 100 * rng.uniform(0.3, 1.4) if chance(rng, 0.5) else 0.0,
        tooth_pitch_mm=max(2.5, diameter / 100 * rng.uniform(4, 9)),
    )
    varied = pick(rng, {"cream": 1, "gold": 1})
    skin = Skin(skin_spectra(rng, bank_sample(rng), varied, float(np.exp(rng.normal(0.1, 0.4)))))
    skin.bloom, skin.spine_tip = rng.uniform(0.05, 0.45), spine_length
    if chance(rng, 0.55):
        skin.variegation = pick(rng, {"margin": 0.6, "centre": 0.25, "striation": 0.15})
        skin.varied_class, skin.varied_share = CREAM if varied == "cream" else GOLD, rng.uniform(0.15, 0.45)
        skin.bloom *= 0.5
    if chance(rng, 0.5):
        skin.spectra["tooth"] = skin.spectra["spine"]
    skin.roughness = float(rng.uniform(0.4, 0.7))
    return Habit("agave", float(diameter), growth, blade, skin)


# ---- spider-plant-like: many narrow arching leaves


def spider(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(120, 260)
    growth = Growth(
        leaf_count=int(rng.integers(22, 55)),
        elevation_outer=rng.uniform(25, 50),
        elevation_inner=rng.uniform(75, 90),
        upcurve=0.0,
        droop=rng.uniform(60, 130),
        droop_start=rng.uniform(1.3, 2.2),
        inner_length=0.5,
        inner_width=0.6,
        stem_mm=diameter * rng.uniform(0.02, 0.06),
        base_radius=0.02,
        divergence_jitter=0.2,
        length_jitter=0.15,
        roll=0.4,
        swerve=0.35,
    )
    blade = Blade(
        width_ratio=rng.uniform(0.04, 0.11),
        base_width=rng.uniform(0.6, 0.9),
        widest_at=rng.uniform(0.25, 0.4),
        taper=rng.uniform(1.1, 1.8),
        bluntness=rng.uniform(0.9, 1.2),
        thick_upper=0.05,
        thick_lower=0.12,
        hollow=0.05,
        fold=rng.uniform(0.2, 0.6),
    )
    varied = pick(rng, {"cream": 3, "gold": 1})
    skin = Skin(skin_spectra(rng, bank_sample(rng), varied, float(np.exp(rng.normal(0.4, 0.4)))))
    skin.variegation = pick(rng, {"centre": 5, "margin": 4, "none": 2})
    skin.varied_class, skin.varied_share = CREAM if varied == "cream" else GOLD, rng.uniform(0.25, 0.5)
    skin.roughness = float(rng.uniform(0.3, 0.5))
    return Habit("spider", float(diameter), growth, blade, skin)


# ---- broad stalked foliage with pale patches


def foliage(rng, diameter=None) -> Habit:
    diameter = diameter or rng.uniform(120, 300)
    growth = Growth(
        leaf_count=int(rng.integers(10, 26)),
        elevation_outer=rng.uniform(30, 55),
        elevation_inner=rng.uniform(75, 88),
        upcurve=0.0,
        droop=rng.uniform(40, 110),
        droop_start=rng.uniform(1.5, 2.5),
        inner_length=0.65,
        inner_width=0.7,
        stem_mm=diameter * rng.uniform(0.02, 0.08),
        base_radius=0.03,
        divergence_jitter=0.2,
        length_jitter=0.12,
        roll=0.5,
        swerve=0.3,
    )
    blade = Blade(
        width_ratio=rng.uniform(0.2, 0.42),
        base_width=rng.uniform(0.07, 0.11),
        stalk=rng.uniform(0.25, 0.42),
        widest_at=rng.uniform(0.52, 0.66),
        taper=rng.uniform(1.1, 1.6),
        bluntness=rng.uniform(0.8, 1.1),
        thick_upper=0.02,
        thick_lower=0.03,
        hollow=0.0,
        fold=rng.uniform(0.05, 0.35),
        wave=rng.uniform(0, 0.1),
    )
    skin = Skin(skin_spectra(rng, bank_sample(rng), "cream", float(np.exp(rng.normal(0.2, 0.4)))))
    skin.variegation = pick(rng, {"patches": 7, "none": 2, "margin": 1})
    skin.varied_share, skin.veins = rng.uniform(0.2, 0.6), rng.uniform(0.05, 0.35)
    skin.roughness = float(rng.uniform(0.22, 0.5))
    return Habit("foliage", float(diameter), growth, blade, skin)


MAKERS = {
    "zebra": zebra,
    "window": window,
    "strap": strap,
    "aloe": aloe,
    "fleshy": fleshy,
    "agave": agave,
    "spider": spider,
    "foliage": foliage,
}
HABITS = {
    "zebra": 0.40,
    "window": 0.08,
    "strap": 0.12,
    "aloe": 0.11,
    "fleshy": 0.18,
    "agave": 0.06,
    "spider": 0.025,
    "foliage": 0.025,
}


# ---- what happened to the individual


def weathered(rng, habit: Habit) -> Habit:
    """Gives one plant its own past: lean, gaps, damage, dust."""
    growth, skin = habit.growth, habit.skin
    growth.lean_deg = abs(rng.normal(0, 5)) if chance(rng, 0.8) else rng.uniform(5, 25)
    growth.lean_azimuth = float(rng.uniform(0, 2 * np.pi))
    growth.lopsided = abs(rng.normal(0, 0.04)) if chance(rng, 0.8) else rng.uniform(0.1, 0.3)
    growth.gap_deg = rng.uniform(30, 130) if chance(rng, 0.08) else 0.0
    growth.gap_azimuth = float(rng.uniform(0, 2 * np.pi))
    if chance(rng, 0.07):  # grown flat and wide open
        growth.elevation_outer, growth.upcurve = rng.uniform(-5, 6), growth.upcurve * 0.4
        growth.elevation_inner *= 0.75
    few = max(1, growth.leaf_count // 6)
    skin.condition = Condition(
        dead_tip_chance=float(rng.choice([0, 0, 0.15, 0.35, 0.7])),
        dead_tip_share={"fleshy": 0.05, "window": 0.05, "strap": 0.08}.get(habit.name, 0.16),
        withered_leaves=int(rng.integers(1, few + 1)) if chance(rng, 0.15) else 0,
        yellowed_leaves=int(rng.integers(1, few + 1)) if chance(rng, 0.12) else 0,
        scar_chance=rng.uniform(0.05, 0.6) if chance(rng, 0.2) else 0.0,
        broken_chance=rng.uniform(0.04, 0.25) if chance(rng, 0.08) else 0.0,
        dust=rng.uniform(0.05, 0.35) if chance(rng, 0.15) else 0.0,
        wet=chance(rng, 0.06),
        plumpness=rng.uniform(0.5, 0.85) if chance(rng, 0.1) else 1.0,
    )
    return habit


def sibling(rng, like: Habit, diameter_mm=None) -> Habit:
    """Another individual of the same kind: the same plant body, a little different in every measure."""
    diameter = float(diameter_mm or like.diameter_mm * rng.uniform(0.75, 1.2))
    ratio = diameter / like.diameter_mm
    growth, blade, skin = like.growth, like.blade, like.skin
    light = rng.normal(1, 0.06)
    bands = skin.bands
    if bands:
        bands = replace(bands, width_mm=bands.width_mm * min(1.2, ratio**0.4), pitch_mm=bands.pitch_mm * min(1.2, ratio**0.4))
    return replace(
        like,
        diameter_mm=diameter,
        growth=replace(
            growth,
            leaf_count=max(min(7, growth.leaf_count), int(growth.leaf_count * ratio**0.4 * rng.uniform(0.85, 1.15))),
            elevation_outer=growth.elevation_outer + rng.normal(0, 5),
            elevation_inner=growth.elevation_inner + rng.normal(0, 3),
            upcurve=growth.upcurve + rng.normal(0, 5),
            stem_mm=growth.stem_mm * ratio * rng.uniform(0.8, 1.25),
        ),
        blade=replace(blade, width_ratio=blade.width_ratio * rng.uniform(0.9, 1.1), tooth_mm=blade.tooth_mm * min(1.3, ratio)),
        skin=replace(
            skin,
            spectra={name: scaled(spectrum, light) for name, spectrum in skin.spectra.items()},
            bands=bands,
            varied_share=float(np.clip(skin.varied_share * rng.uniform(0.8, 1.2), 0, 1)),
            sector_azimuth=float(rng.uniform(0, 2 * np.pi)),
        ),
    )


def any_habit(rng, diameter_mm=None, like: Habit | None = None) -> Habit:
    """A random plant of a random kind; with `like`, another individual of that kind."""
    if like is not None:
        return weathered(rng, sibling(rng, like, diameter_mm))
    return weathered(rng, MAKERS[pick(rng, HABITS)](rng, diameter_mm))
