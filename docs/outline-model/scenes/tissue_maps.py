"""What covers a leaf: variegation, bands, flecks, redness, bloom, dead parts; painted in leaf coordinates."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from leaf import Blade, Pose, smoothstep, width_profile

BACKGROUND, GREEN, CREAM, GOLD, RED, BAND, DEAD = range(7)
NEVER_RED = -9.0


@dataclass
class Bands:
    """Raised pale bands across the leaf, or rows of dots."""

    form: str  # standard, wide, extra_wide
    width_mm: float
    pitch_mm: float
    height: float  # share of the width
    dots: bool = False
    upper: bool = True
    lower: bool = True


@dataclass
class Flecks:
    """Flat pale specks of living tissue."""

    size_mm: float
    cover: float  # threshold in standard deviations; lower means more flecks
    strength: float
    in_rows: bool = False


@dataclass
class Window:
    """Translucent leaf end with darker lines running into it."""

    start: float
    lines: int
    clearness: float


@dataclass
class Redness:
    share: float  # of the living surface
    leaf_share: float  # of the leaves
    style: str  # tips, stripes, both, edges, whole
    sun_azimuth: float
    softness: float = 0.25  # how gradually it runs out


@dataclass
class Condition:
    """How a plant has been kept."""

    dead_tip_chance: float = 0.0
    dead_tip_share: float = 0.16  # of the leaf's length, at most
    withered_leaves: int = 0
    yellowed_leaves: int = 0
    scar_chance: float = 0.0
    broken_chance: float = 0.0
    dust: float = 0.0
    wet: bool = False
    plumpness: float = 1.0


@dataclass
class Skin:
    """Surface of a whole plant. Spectra: green, varied, red_green, red_varied, band, dead, yellow, spine, tooth."""

    spectra: dict[str, np.ndarray]
    living: int = GREEN  # class of the unvaried skin: RED for kinds that are pink or bronze all over
    variegation: str = "none"
    varied_class: int = CREAM
    varied_share: float = 0.0
    sector_azimuth: float = 0.0
    bands: Bands | None = None
    flecks: Flecks | None = None
    window: Window | None = None
    redness: Redness | None = None
    bloom: float = 0.0
    bloom_rubbed: float = 0.0
    veins: float = 0.0
    spine_tip: float = 0.0  # share of the length
    roughness: float = 0.4
    specular: float = 0.5
    condition: Condition = field(default_factory=Condition)


@dataclass
class LeafGrid:
    """Texel positions on one leaf: along (rows,1) 0 foot .. 1 tip, across (1,columns) -1 .. 1."""

    pose: Pose
    along: np.ndarray
    across: np.ndarray
    upper: np.ndarray
    half_width: np.ndarray  # (rows,1) mm

    @property
    def shape(self):
        return len(self.along), self.across.shape[1]


@dataclass
class LeafMaps:
    """Weights 0..1 (red: any number, the reddest first) for one leaf; a plain 0 means nothing there."""

    varied: np.ndarray
    red: np.ndarray
    shade: np.ndarray
    relief: np.ndarray
    band: np.ndarray | float = 0.0
    dead: np.ndarray | float = 0.0
    fleck: np.ndarray | float = 0.0
    window: np.ndarray | float = 0.0
    bloom: np.ndarray | float = 0.0
    dust: np.ndarray | float = 0.0
    tooth: np.ndarray | float = 0.0
    spine: np.ndarray | float = 0.0


def smooth_noise(rng, height, width, cells_down, cells_across):
    """Noise of about that many cells, roughly standard normal."""
    cells = rng.standard_normal((max(2, cells_down), max(2, cells_across))).astype(np.float32)
    return cv2.resize(cells, (width, height), interpolation=cv2.INTER_CUBIC) * 1.25


def leaf_grid(pose: Pose, blade: Blade, rows: int, columns: int) -> LeafGrid:
    turn = np.linspace(0, 1, columns, dtype=np.float32)
    across = -np.cos(np.pi * np.where(turn <= 0.5, 2 * turn, 2 * (1 - turn)))
    along = np.linspace(0, 1, rows, dtype=np.float32)
    half_width = pose.width_mm / 2 * width_profile(along, blade, pose.kept)
    return LeafGrid(pose, along[:, None], across[None, :], turn <= 0.5, half_width[:, None].astype(np.float32))


# ---- variegation: signed distance from the edge of the pale tissue, in leaf widths, positive inside


def spaced_stripes(rng, count, share, evenness):
    """Distance field over the leaf width 0..1 of `count` stripes that together cover `share` of it."""
    across = np.linspace(0, 1, 2001)
    widths = rng.dirichlet(np.ones(count) * evenness) * share
    gaps = rng.dirichlet(np.ones(count + 1) * 2.0) * (1 - share)
    starts = np.cumsum(gaps[:-1]) + np.concatenate([[0], np.cumsum(widths)[:-1]])
    field_ = np.full(2001, -1.0)
    for start, width in zip(starts, widths):
        field_ = np.maximum(field_, width / 2 - np.abs(across - start - width / 2))
    return field_


def fine_lines(rng, share):
    count = int(rng.integers(18, 42))
    across = np.linspace(0, 1, 2001)
    centres = (np.arange(count) + 0.5 + rng.uniform(-0.33, 0.33, count)) / count
    widths = np.clip(rng.lognormal(0, 0.45, count), 0.35, 2.2)
    widths *= share / widths.sum()
    return (widths[:, None] / 2 - np.abs(across - centres[:, None])).max(0)


def profile_across(rng, variegation, share):
    """Distance field over the leaf width for the kinds that run the whole length."""
    across = np.linspace(0, 1, 2001)
    share = np.clip(share + rng.normal(0, 0.07), 0.03, 0.97)
    if variegation in ("white_stripes", "gold_stripes"):
        return spaced_stripes(rng, int(rng.integers(2, 6)), share, 2.5)
    if variegation == "pale":  # a few green stripes are left
        return -spaced_stripes(rng, int(rng.integers(1, 5)), 1 - share, 2.5)
    if variegation == "striation":
        return fine_lines(rng, share)
    if variegation in ("gold_centre", "centre"):
        return share / 2 - np.abs(across - 0.5 - rng.normal(0, 0.03))
    if variegation == "margin":
        return share / 2 - np.minimum(across, 1 - across) + rng.normal(0, 0.01)
    return np.full(2001, 1.0 if variegation == "albino" else -1.0)


def fading_stripes(rng, grid: LeafGrid, distance):
    """Lets some stripes end before the tip or start after the foot."""
    rows, columns = grid.shape
    direction = 1 if rng.random() < 0.7 else -1
    gate = (grid.along - rng.uniform(0.15, 0.6) + 0.05 * smooth_noise(rng, rows, columns, 2, 10)) * direction
    chosen = np.sin(np.pi * ((grid.across + 1) * rng.uniform(0.6, 1.2) + 2 * rng.random())) > 0.2
    return np.where(chosen, np.minimum(distance, gate), distance)


def patches(rng, grid: LeafGrid, share):
    """Splashes that run out along the side veins, from specks to half a leaf."""
    rows, columns = grid.shape
    slanted = grid.along - 0.35 * np.abs(grid.across)
    side = (grid.across > 0) * 1.0
    tall = 400
    streaks = smooth_noise(rng, tall, 2, 26, 2) + 1.2 * smooth_noise(rng, tall, 2, 5, 2)
    at = np.clip((slanted + 0.4) / 1.4 * (tall - 1), 0, tall - 1).astype(int)
    noise = streaks[at, np.broadcast_to(side, (rows, columns)).astype(int)] + 0.5 * smooth_noise(rng, rows, columns, 12, 10)
    leaf_share = np.clip(share + rng.normal(0, 0.25), 0, 1)
    return 0.06 * (noise + 4.4 * (leaf_share - 0.5))


def variegation_map(rng, grid: LeafGrid, skin: Skin):
    rows, columns = grid.shape
    kind = skin.variegation
    if kind == "none":
        return np.zeros((1, 1), np.float32)
    wander = smooth_noise(rng, rows, 1, 4, 2)[:, :1] * (0.006 if kind == "striation" else 0.012)
    position = (grid.across + 1) / 2 + wander + smooth_noise(rng, rows, columns, 14, 3) * 0.004
    if kind == "sectorial":
        turned = np.angle(np.exp(1j * (grid.pose.azimuth - skin.sector_azimuth)))
        distance = (np.pi * skin.varied_share - np.abs(turned + (position - 0.5) * 0.55)) / 0.55
    elif kind == "patches":
        distance = patches(rng, grid, skin.varied_share)
    else:
        distance = np.interp(position, np.linspace(0, 1, 2001), profile_across(rng, kind, skin.varied_share))
        if kind in ("white_stripes", "gold_stripes") and rng.random() < 0.35:
            distance = fading_stripes(rng, grid, distance)
    return smoothstep(distance * 2 * grid.half_width / 0.2 + 0.5).astype(np.float32)


# ---- bands and dots


def band_centres(rng, length, pitch, width):
    centres = [length * 0.08 + rng.uniform(0, pitch)]
    while centres[-1] < length * 0.95:
        centres.append(centres[-1] + max(width * 1.15, pitch * rng.normal(1, 0.07)))
    return np.array(centres[:-1] if len(centres) > 1 else centres)


def dot_field(rng, across, lateral_mm, distance, half, nearest, count, pitch):
    """Positive inside a dot, 1 in its middle."""
    run = lateral_mm / pitch + rng.uniform(0, 1, count)[nearest]
    offset = (run - np.floor(run) - 0.5) * pitch
    number = np.floor(run).astype(int) * 131 + nearest * 17 + int(rng.integers(0, 999))
    luck = (np.sin(number * 12.9898) * 43758.5453) % 1.0  # one draw per dot
    inside = 1 - np.sqrt(distance**2 + (offset * 0.96) ** 2) / (half * (0.82 + 0.3 * luck))
    return np.where((np.abs(across) < 0.93 - 0.25 * (luck < 0.15)) & (luck > 0.06), inside, -1)


def band_field(rng, grid: LeafGrid, across, lateral_mm, distance, half, nearest, count, bands, pitch):
    """Positive inside a band; its rim is scalloped by the beads it is made of."""
    scallop = 0.90 + 0.13 * np.abs(np.cos(np.pi * (lateral_mm / pitch + rng.uniform(0, 1, count)[nearest])))
    reach = np.clip(rng.normal(0.93, 0.05, count), 0.75, 1.05)[nearest]
    thinning = np.sqrt(np.clip(1 - (np.abs(across) / reach) ** 7, 0, 1))
    if bands.form == "standard":  # now and then a band has a gap
        gap = smooth_noise(rng, *distance.shape, max(3, count), 9)
        thinning = np.where(gap > 1.9, thinning * 0.2, thinning)
    return 1 - distance / np.maximum(half * scallop * thinning, 1e-3)


def bands_on_face(rng, grid: LeafGrid, bands: Bands, columns):
    """Cover and relief in mm of one face; `columns` selects its texels."""
    across = grid.across[:, columns]
    rows, width_texels = grid.shape[0], across.shape[1]
    length, youth = grid.pose.length_mm, grid.pose.youth
    pitch = bands.pitch_mm * rng.normal(1, 0.04) * (1 - 0.12 * youth)
    width = bands.width_mm * rng.normal(1, 0.05) * (1 - 0.10 * youth)
    centres = band_centres(rng, length, pitch, width)
    count = len(centres)
    waviness = {"standard": 0.05, "wide": 0.045, "extra_wide": 0.06}[bands.form] * pitch
    bow = rng.normal(0, 0.1) * pitch * across**2
    position = grid.along * length + waviness * smooth_noise(rng, rows, width_texels, max(3, count), 8) + bow
    nearest = np.searchsorted((centres[1:] + centres[:-1]) / 2, position)
    distance = np.abs(position - centres[nearest])
    half = (width * np.clip(rng.normal(1, 0.10, count), 0.7, 1.3))[nearest] / 2
    lateral = across * grid.half_width
    bead = max(0.55, width * (1.25 if bands.dots else 0.95))
    if bands.dots:
        inside = dot_field(rng, across, lateral, distance, half, nearest, count, bead)
        beads = 1.0
    else:
        inside = band_field(rng, grid, across, lateral, distance, half, nearest, count, bands, bead)
        beads = 0.86 + 0.14 * np.cos(2 * np.pi * lateral / bead)
    height = min(bands.height * width, 0.22 + 0.12 * width)
    dome = np.sqrt(np.clip(1 - (1 - np.clip(inside, 0, 1)) ** 2, 0, 1))
    return smoothstep(inside * half / 0.10 + 0.5), np.where(inside > 0, height * dome * beads, 0)


def band_maps(rng, grid: LeafGrid, bands: Bands):
    cover = np.zeros(grid.shape, np.float32)
    relief = np.zeros(grid.shape, np.float32)
    for wanted, columns in ((bands.upper, grid.upper), (bands.lower, ~grid.upper)):
        if wanted:
            cover[:, columns], relief[:, columns] = bands_on_face(rng, grid, bands, columns)
    return cover, relief


# ---- smaller marks


def fleck_map(rng, grid: LeafGrid, flecks: Flecks):
    rows, columns = grid.shape
    down = int(grid.pose.length_mm / flecks.size_mm / 1.7)
    noise = smooth_noise(rng, rows, columns, down, int(2.4 * grid.pose.width_mm / flecks.size_mm))
    level = flecks.cover + 0.6 * grid.along
    if flecks.in_rows:
        wave = smooth_noise(rng, rows, columns, 6, 5)
        level = level - 0.9 * np.sin(grid.along * grid.pose.length_mm / flecks.size_mm / 1.6 + wave)
    return smoothstep((noise - level) / 0.5 + 0.5) * flecks.strength


def window_map(rng, grid: LeafGrid, window: Window):
    rows, columns = grid.shape
    edge = window.start + 0.05 * smooth_noise(rng, rows, columns, 3, 14)
    clear = smoothstep((grid.along - edge) / 0.22) * np.where(grid.upper, 1.0, 0.7)[None, :]
    wander = smooth_noise(rng, rows, columns, 5, 4) * 0.35
    lines = np.cos(np.pi * window.lines * grid.across + wander * window.lines / 3)
    branches = smooth_noise(rng, rows, columns, 10, window.lines)
    line = smoothstep((lines + 0.35 * branches - 0.55) / 0.35) * smoothstep((1 - grid.along) / 0.12)
    return clear * window.clearness * (1 - 0.9 * line)


def red_map(rng, grid: LeafGrid, redness: Redness):
    """How readily each spot turns red; the plant's share decides how far it goes."""
    rows, columns = grid.shape
    if rng.random() > redness.leaf_share:
        return np.full((1, 1), NEVER_RED, np.float32)
    stripes = smooth_noise(rng, rows, columns, 3, 26)
    tip = grid.along**1.5
    edge = np.abs(grid.across) ** 6
    spread = {
        "tips": 2.6 * tip + 0.22 * stripes,
        "stripes": 0.9 * stripes + 0.7 * tip,
        "both": 0.55 * stripes + 1.6 * tip,
        "edges": 1.6 * np.abs(grid.across) ** 14 + 1.8 * grid.along**6 + 0.1 * stripes,
        "whole": 0.5 * stripes + 0.4 * tip + 0.5 * smooth_noise(rng, rows, columns, 4, 5),
    }[redness.style]
    sunny = 0.25 * np.cos(grid.pose.azimuth - redness.sun_azimuth)
    return spread + 0.25 * rng.standard_normal() + 0.5 * (1 - grid.pose.youth) + sunny + 0.35 * edge


def dead_map(rng, grid: LeafGrid, condition: Condition):
    rows, columns = grid.shape
    pose = grid.pose
    dead = 0.0
    if pose.withered:
        return np.ones(grid.shape, np.float32)
    if pose.yellowed:
        dead = smoothstep((grid.along - rng.uniform(0.1, 1.0) + 0.08 * smooth_noise(rng, rows, columns, 6, 6)) / 0.1 + 0.5)
    if rng.random() < condition.dead_tip_chance * (1.3 - pose.youth):
        share = condition.dead_tip_share * rng.uniform(0.2, 1)
        ragged = 0.02 * smooth_noise(rng, rows, columns, 12, 10)
        dead = np.maximum(dead, smoothstep((grid.along - (1 - share) + ragged) / 0.012 + 0.5))
    if pose.kept < 1:  # a callus seals the broken end
        dead = np.maximum(dead, smoothstep((grid.along - 0.965 + 0.008 * smooth_noise(rng, rows, columns, 3, 9)) / 0.01 + 0.5))
    if rng.random() < condition.scar_chance:
        for _ in range(int(rng.integers(1, 4))):
            down, sideways = rng.uniform(0.15, 0.95), rng.uniform(-0.9, 0.9)
            size = rng.uniform(0.6, 3.0)
            away = np.hypot(
                (grid.along - down) * pose.length_mm, (grid.across - sideways) * grid.half_width * rng.uniform(1, 3)
            )
            spot = size - away + 0.5 * smooth_noise(rng, rows, columns, 20, 12)
            dead = np.maximum(dead, np.where(grid.upper[None, :], smoothstep(spot / 0.3 + 0.5), 0))
    return dead


def shade_map(rng, grid: LeafGrid, skin: Skin):
    """Uneven lightness, darker at the foot; veins and wrinkles of thirsty leaves."""
    rows, columns = grid.shape
    shade = 1 + 0.05 * smooth_noise(rng, rows, columns, 3, 60) + 0.05 * smooth_noise(rng, rows, columns, 30, 30)
    shade += 0.07 * rng.standard_normal()
    shade *= 1 - 0.10 * (1 - grid.along) ** 3
    if skin.veins:
        slanted = grid.along - 0.25 * np.abs(grid.across) ** 0.8
        side_veins = smoothstep((np.cos(slanted * 2 * np.pi * 16) - 0.6) / 0.4)
        midrib = smoothstep(1 - np.abs(grid.across) / 0.05)
        shade *= 1 + skin.veins * (0.5 * side_veins + midrib)
    return shade


def micro_relief(rng, grid: LeafGrid, plumpness):
    rows, columns = grid.shape
    pose = grid.pose
    across_cells = 2.5 * pose.width_mm
    relief = 0.035 * smooth_noise(rng, rows, columns, int(pose.length_mm / 0.8), int(across_cells / 0.8))
    relief += 0.02 * smooth_noise(rng, rows, columns, 4, int(across_cells / 0.5))
    if plumpness < 0.9:
        relief += 0.06 * pose.width_mm * (0.9 - plumpness) * smooth_noise(rng, rows, columns, 3, 28)
    return relief * np.clip((1 - grid.along) * 4, 0, 1) * min(1.0, pose.width_mm / 6)


def bloom_map(rng, grid: LeafGrid, skin: Skin):
    """A waxy bloom, thinner on old leaves and gone where something touched it."""
    rows, columns = grid.shape
    bloom = skin.bloom * (0.75 + 0.25 * grid.pose.youth) * (1 + 0.12 * smooth_noise(rng, rows, columns, 5, 8))
    if skin.bloom_rubbed:
        rubs = smooth_noise(rng, rows, columns, 9, 14) + 0.8 * smooth_noise(rng, rows, columns, 3, 4)
        bloom *= 1 - skin.bloom_rubbed * smoothstep((rubs - 1.2) / 0.6)
    return np.clip(bloom, 0, 0.85)


def leaf_maps(rng, grid: LeafGrid, blade: Blade, skin: Skin) -> LeafMaps:
    condition = skin.condition
    rows, columns = grid.shape
    maps = LeafMaps(
        varied=variegation_map(rng, grid, skin),
        red=red_map(rng, grid, skin.redness) if skin.redness else np.full((1, 1), NEVER_RED, np.float32),
        shade=shade_map(rng, grid, skin),
        relief=micro_relief(rng, grid, grid.pose.plumpness),
        dead=dead_map(rng, grid, condition),
    )
    if skin.bands:
        maps.band, raised = band_maps(rng, grid, skin.bands)
        maps.relief += raised
    if skin.flecks:
        maps.fleck = fleck_map(rng, grid, skin.flecks)
    if skin.window:
        maps.window = window_map(rng, grid, skin.window)
    if skin.bloom:
        maps.bloom = bloom_map(rng, grid, skin)
    if condition.dust:
        settled = np.where(grid.upper, 1.0, 0.35)[None, :] * (1 + 0.5 * smooth_noise(rng, rows, columns, 9, 12))
        maps.dust = np.clip(condition.dust * settled, 0, 0.7)
    if blade.tooth_mm:
        maps.tooth = smoothstep((np.abs(grid.across) - 0.985) / 0.01) * np.ones_like(grid.along)
    if skin.spine_tip and grid.pose.kept == 1:
        maps.spine = smoothstep((grid.along - (1 - skin.spine_tip)) / 0.015 + 0.5) * np.ones_like(grid.across)
    return maps


def red_threshold(leaves: list[LeafMaps], share: float):
    """Level above which the given share of the living surface is red."""
    samples = np.concatenate([np.broadcast_to(m.red, m.shade.shape)[::7, ::5].ravel() for m in leaves])
    able = (samples > NEVER_RED / 2).mean()
    return float(np.quantile(samples, 1 - min(share, 0.93 * able))) if able > 0 else None


def blend(colour, other, weight):
    """Mixes a flat colour into a picture in place."""
    if np.ndim(weight):
        colour += (other - colour) * np.asarray(weight, np.float32)[..., None]


def paint(skin: Skin, palette: dict, maps: LeafMaps, red_level, dying=False):
    """Tissue classes, linear colour and roughness of one leaf."""
    shape = maps.shade.shape
    softness = skin.redness.softness if skin.redness else 1.0
    red = smoothstep((maps.red - red_level) / softness + 0.5) if red_level is not None else np.zeros((1, 1))
    strength = red * np.clip(0.75 + 0.35 * (np.clip(maps.red, -5, 5) - (red_level or 0)), 0.7, 1.0)
    colour = np.empty((*shape, 3), np.float32)
    colour[:] = palette["green"]
    blend(colour, palette["window"], maps.window)
    blend(colour, palette["fleck"], maps.fleck)
    blend(colour, palette["varied"], maps.varied)
    reddened = palette["red_green"] + (palette["red_varied"] - palette["red_green"]) * maps.varied[..., None]
    blend(colour, reddened, strength)
    bloom = np.asarray(maps.bloom) * (1 - 0.75 * strength)  # redness shows through the wax
    blend(colour, palette["bloom"], bloom)
    blend(colour, palette["tooth"], maps.tooth)
    colour *= np.clip(maps.shade, 0.6, 1.4)[..., None]
    blend(colour, palette["band"] * (0.9 + 0.1 * np.clip(maps.shade, 0.6, 1.4)[..., None]), maps.band)
    blend(colour, palette["dead"] * np.clip(maps.shade, 0.5, 1.5)[..., None] ** 2, maps.dead)
    blend(colour, palette["spine"], maps.spine)
    blend(colour, palette["dust"], maps.dust)

    tissue = np.full(shape, skin.living, np.uint8)
    tissue[np.broadcast_to(maps.varied > 0.5, shape)] = skin.varied_class
    tissue[np.broadcast_to(red * (1 - 0.8 * bloom) > 0.45, shape)] = RED
    tissue[np.broadcast_to(np.asarray(maps.band) > 0.5, shape)] = BAND
    tissue[np.broadcast_to((np.asarray(maps.dead) > 0.5) | (np.asarray(maps.spine) > 0.5) | dying, shape)] = DEAD

    roughness = skin.roughness + (0.62 - skin.roughness) * np.asarray(maps.band, np.float32)
    roughness = roughness + (0.7 - roughness) * np.maximum(maps.dead, np.minimum(np.asarray(maps.dust) * 1.5, 1))
    roughness = roughness + 0.25 * bloom - 0.12 * np.asarray(maps.window)
    if skin.condition.wet:
        roughness = roughness * 0.3
    return tissue, np.clip(colour, 0.003, 0.95), np.broadcast_to(np.clip(roughness, 0.06, 0.95), shape)
