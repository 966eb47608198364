"""The shape of one leaf: its spine, its outline, its cross-section and its mesh."""

from dataclasses import dataclass

import cv2
import numpy as np

UP = np.array([0.0, 0.0, 1.0])


@dataclass
class Blade:
    """Leaf shape of a whole plant, in shares of the leaf's own length and half width."""

    width_ratio: float  # widest point / length, of the longest leaf
    base_width: float = 0.86  # width at the foot, as a share of the widest
    widest_at: float = 0.18
    taper: float = 1.75  # 1 narrows evenly from the widest point on, larger keeps the width for longer
    bluntness: float = 1.0  # below 1 rounds the end, 1 leaves it pointed, above 1 draws it out
    point_length: float = 0.0  # a small point on a rounded end
    point_width: float = 0.12
    stalk: float = 0.0  # share of the length that is a bare stalk
    thick_upper: float = 0.15
    thick_lower: float = 0.6
    hollow: float = 0.06  # depth of the trough along the upper face
    keel: float = 0.0  # 0 round underside, 1 sharp ridge
    fold: float = 0.0  # lifts both margins, like a half-open book
    wave: float = 0.0  # wavy margins
    tooth_mm: float = 0.0
    tooth_pitch_mm: float = 4.0


@dataclass
class Pose:
    """Where one leaf sits and how it runs; the elevation is sampled evenly from foot to tip."""

    youth: float  # 0 oldest leaf, 1 youngest
    azimuth: float
    elevation: np.ndarray
    length_mm: float
    width_mm: float
    foot: np.ndarray
    roll: float = 0.0
    swerve: float = 0.0
    plumpness: float = 1.0  # below 1: thirsty or withered
    kept: float = 1.0  # share of the leaf that is left when its end broke off
    withered: bool = False
    yellowed: bool = False


def smoothstep(x):
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


def width_profile(along, blade: Blade, kept: float = 1.0):
    """Half width over the length, 1 at the widest point; never quite 0, so that normals stay defined."""
    v = np.clip(along, 0, 1) * kept
    body_end = 1 - blade.point_length
    foot = blade.base_width + (1 - blade.base_width) * smoothstep((v - blade.stalk) / max(blade.widest_at - blade.stalk, 0.02))
    start = blade.widest_at if blade.widest_at > 0.3 else 0.0
    past = np.clip((v - start) / (body_end - start), 0, 1)
    width = foot * (1 - past**blade.taper) ** blade.bluntness
    if blade.point_length:
        point = blade.point_width * np.clip((1 - v) / (2 * blade.point_length), 0, 0.5) * 2
        width = np.where(v > body_end - blade.point_length, np.maximum(width, point), width)
    if kept < 1:  # a broken end closes at once
        width = width * np.sqrt(np.clip((1 - along) / 0.012, 0, 1))
    return np.maximum(width, 0.008)


def around(columns: int):
    """Closed cross-section: lateral position -1..1 over the upper face and back over the lower one."""
    turn = np.linspace(0, 1, columns)
    half = np.where(turn <= 0.5, 2 * turn, 2 * (1 - turn))
    return turn, -np.cos(np.pi * half), np.sin(np.pi * half), turn <= 0.5


def along_rows(rows: int):
    """Row positions from foot to tip, closer together near the tip: outlines lose the tip first."""
    return 1 - (1 - np.linspace(0, 1, rows)) ** 1.4


def spine(pose: Pose, blade: Blade, along, half_width):
    """Points along the leaf's middle, its direction and its sideways and upward axes."""
    elevation = np.interp(along, np.linspace(0, 1, len(pose.elevation)), pose.elevation)
    azimuth = pose.azimuth + pose.swerve * along**2
    outward = np.stack([np.cos(azimuth), np.sin(azimuth), 0 * azimuth], -1)
    heading = np.cos(elevation)[:, None] * outward + np.sin(elevation)[:, None] * UP
    steps = (heading[1:] + heading[:-1]) / 2 * (np.diff(along) * pose.length_mm)[:, None]
    points = pose.foot + np.concatenate([np.zeros((1, 3)), np.cumsum(steps, 0)])
    # a leaf that reaches the soil lies on it
    rest = 0.3 + half_width * blade.thick_lower * pose.plumpness * np.abs(np.cos(elevation))
    sink = np.clip(rest - points[:, 2], 0, None)
    if sink.max() > 0:
        points[:, 2] += sink
        heading = np.gradient(points, axis=0) + 1e-4 * outward  # outward alone where the leaf would go straight down
        heading /= np.linalg.norm(heading, axis=1, keepdims=True)
    side = np.stack([-np.sin(azimuth), np.cos(azimuth), 0 * azimuth], -1)
    up = np.cross(heading, side)
    roll = (pose.roll * along)[:, None]
    side = side * np.cos(roll) + up * np.sin(roll)
    return points, heading, side, np.cross(heading, side)


def section_height(pose: Pose, blade: Blade, along, half_width, across, bulge, is_upper):
    """Height of the leaf surface over its spine, for every row and column."""
    v = along[:, None]
    half = half_width[:, None]
    # a bare stalk is round, whatever the blade is like
    stalk = np.clip((blade.stalk * 1.1 - v) / 0.04, 0, 1) if blade.stalk else 0.0
    lower = blade.thick_lower * pose.plumpness * (1 + 0.25 * np.exp(-v / 0.15)) * (1 - stalk) + 0.9 * stalk
    upper = blade.thick_upper * pose.plumpness * (1 - stalk) + 0.6 * stalk
    hollow = (blade.hollow + 0.35 * (1 - pose.plumpness)) * (1 - v) ** 0.7 * (1 - stalk)
    ridge = 1 - np.abs(across)
    under = (1 - blade.keel) * bulge**0.9 + blade.keel * ridge
    top = bulge * upper - hollow * np.exp(-((across / 0.55) ** 2))
    height = np.where(is_upper, top, -under * lower) * half
    if blade.fold:
        height = height + blade.fold * (1 - stalk) * np.abs(across) * half
    if blade.wave:
        height = height + blade.wave * half * across**2 * np.sin(v * 19 + pose.azimuth * 7 + np.where(across > 0, 1.5, 0))
    return height


def toothed(across, along, blade: Blade, pose: Pose):
    """Sideways positions in mm of extra length that the marginal teeth add at each row."""
    run = along * pose.length_mm / blade.tooth_pitch_mm
    tooth = np.clip(1 - np.abs(run - np.round(run)) / 0.22, 0, 1) * blade.tooth_mm * np.clip((1 - along) * 5, 0, 1)
    edge = np.where(np.abs(across) > 0.9999, np.sign(across), 0)
    return tooth[:, None] * edge[None, :]


def grid_normals(points, heading):
    """Outward normals of a closed tube of points; where it has no width, the leaf's own direction."""
    around_step = np.empty_like(points)
    around_step[:, 1:-1] = points[:, 2:] - points[:, :-2]
    around_step[:, 0] = around_step[:, -1] = points[:, 1] - points[:, -2]
    normal = np.cross(np.gradient(points, axis=0), around_step)
    length = np.linalg.norm(normal, axis=-1, keepdims=True)
    return np.where(length > 1e-9, normal / np.maximum(length, 1e-9), heading[:, None, :])


def sample_relief(relief, along, turn):
    """Relief map read at the mesh vertices, smoothed to what the mesh can carry."""
    rows, columns = relief.shape
    blur_x, blur_y = 0.35 * columns / len(turn), 0.35 * rows / len(along)
    soft = cv2.GaussianBlur(relief, (0, 0), sigmaX=max(0.3, blur_x), sigmaY=max(0.3, blur_y))
    x, y = np.meshgrid((turn * (columns - 1)).astype(np.float32), (along * (rows - 1)).astype(np.float32))
    height = cv2.remap(soft, x, y, cv2.INTER_LINEAR)
    height[:, 0] = height[:, -1] = (height[:, 0] + height[:, -1]) / 2
    return height * np.clip((1 - along[:, None]) * 12, 0, 1)


def leaf_surface(pose: Pose, blade: Blade, relief, rows: int, columns: int):
    """Vertex grid (rows, columns, 3), its normals, and the row and column positions in 0..1."""
    along = along_rows(rows)
    turn, across, bulge, is_upper = around(columns)
    half_width = pose.width_mm / 2 * width_profile(along, blade, pose.kept)
    points, heading, side, up = spine(pose, blade, along, half_width)
    sideways = across[None, :] * half_width[:, None]
    if blade.tooth_mm:
        sideways = sideways + toothed(across, along, blade, pose)
    height = section_height(pose, blade, along, half_width, across, bulge, is_upper)
    surface = points[:, None, :] + sideways[..., None] * side[:, None, :] + height[..., None] * up[:, None, :]
    if relief is not None:
        surface = surface + grid_normals(surface, heading) * sample_relief(relief, along, turn)[..., None]
    surface[..., 2] = np.maximum(surface[..., 2], 0.05)
    return surface, grid_normals(surface, heading), along, turn


def grid_faces(rows: int, columns: int):
    index = np.arange(rows * columns).reshape(rows, columns)
    first = np.stack([index[:-1, :-1], index[:-1, 1:], index[1:, 1:]], -1).reshape(-1, 3)
    second = np.stack([index[:-1, :-1], index[1:, 1:], index[1:, :-1]], -1).reshape(-1, 3)
    return np.concatenate([first, second])
