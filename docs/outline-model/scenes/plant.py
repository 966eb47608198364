"""One whole plant: where its leaves sit, and their meshes and pictures joined into one."""

from dataclasses import dataclass, replace

import numpy as np

import colour as spectra
from habits import Growth, Habit
from leaf import Blade, Pose, grid_faces, leaf_surface
from tissue_maps import Condition, leaf_grid, leaf_maps, paint, red_threshold

SPINE_POINTS = np.linspace(0, 1, 60)
CORE = Blade(width_ratio=1, base_width=1, taper=3, bluntness=0.5, thick_upper=1, thick_lower=1, hollow=0)


@dataclass
class Plant:
    """Stands on soil z = 0 at the origin, +z up, millimetres."""

    vertices: np.ndarray
    faces: np.ndarray
    normals: np.ndarray
    uv: np.ndarray  # into the atlases; v = row / height, top row first
    tissue: np.ndarray  # (H,W) uint8, classes of tissue_maps
    colour: np.ndarray  # (H,W,3) linear RGB reflectance under the illuminant
    roughness: np.ndarray
    specular: float
    radius_mm: float  # farthest leaf from the axis
    height_mm: float
    crown: np.ndarray  # the growing point: what a person would call the middle of the rosette
    habit: str


def elevations(rng, growth: Growth, youth, azimuth):
    """Elevation angle along one leaf, in radians."""
    outer, inner = np.radians(growth.elevation_outer), np.radians(growth.elevation_inner)
    start = outer + (inner - outer) * youth**0.85 + rng.normal(0, 0.05)
    start -= np.radians(growth.lean_deg) * np.cos(azimuth - growth.lean_azimuth)
    rise = np.radians(growth.upcurve) * (1 - 0.5 * youth) + rng.normal(0, 0.05)
    droop = np.radians(growth.droop) * (1 - 0.6 * youth) * max(0.2, rng.normal(1, 0.25))
    return np.minimum(start + rise * SPINE_POINTS**1.3 - droop * SPINE_POINTS**growth.droop_start, np.radians(100))


def is_missing(growth: Growth, youth, azimuth):
    away = np.abs(np.angle(np.exp(1j * (azimuth - growth.gap_azimuth))))
    return youth < 0.75 and np.degrees(away) < growth.gap_deg / 2


def leaf_poses(rng, habit: Habit) -> list[Pose]:
    """All leaves, oldest first, with lengths still relative to the longest."""
    growth, condition = habit.growth, habit.skin.condition
    turn = rng.uniform(0, 2 * np.pi)
    poses = []
    for number in range(growth.leaf_count):
        youth = number / max(1, growth.leaf_count - 1)
        azimuth = turn + number * np.radians(growth.divergence_deg) + rng.normal(0, growth.divergence_jitter)
        elevation = elevations(rng, growth, youth, azimuth)
        length = growth.inner_length + (1 - growth.inner_length) * (1 - youth**2.2)
        length *= rng.normal(1, growth.length_jitter) * (1 + growth.lopsided * np.cos(azimuth - growth.lean_azimuth))
        width = growth.inner_width + (1 - growth.inner_width) * (1 - youth**1.5)
        pose = Pose(youth, azimuth, elevation, length, width * rng.normal(1, 0.05), np.zeros(3))
        pose.roll, pose.swerve = rng.normal(0, growth.roll), rng.normal(0, growth.swerve)
        pose.plumpness = condition.plumpness
        pose.width_mm *= 0.5 + 0.5 * condition.plumpness  # thirsty leaves curl in
        pose.elevation = pose.elevation + 0.6 * (1 - condition.plumpness) * SPINE_POINTS**2 * (1 - youth)
        if not is_missing(growth, youth, azimuth) or number >= growth.leaf_count - 3:
            poses.append(pose)
    return poses


def spoil(rng, poses: list[Pose], habit: Habit):
    """Old leaves wither or turn yellow, others break off."""
    condition = habit.skin.condition
    for pose in poses[: condition.withered_leaves]:
        pose.withered = True
        pose.plumpness = 0.25
        curl = np.radians(rng.normal(20, 50)) * SPINE_POINTS**2
        pose.elevation = pose.elevation * 0.3 - np.radians(rng.uniform(5, 30)) * SPINE_POINTS + curl
        pose.length_mm *= rng.uniform(0.4, 0.85)
        pose.width_mm *= rng.uniform(0.3, 0.7)
        pose.roll += rng.normal(0, 0.9)
        pose.swerve += rng.normal(0, 0.6)
    for pose in poses[condition.withered_leaves : condition.withered_leaves + condition.yellowed_leaves]:
        pose.yellowed = True
        pose.plumpness *= 0.6
        pose.elevation = pose.elevation - np.radians(rng.uniform(5, 25))
    for pose in poses:
        if not pose.withered and pose.youth < 0.9 and rng.random() < condition.broken_chance:
            pose.kept = rng.uniform(0.35, 0.92)
            pose.length_mm *= pose.kept
            pose.elevation = np.interp(SPINE_POINTS * pose.kept, SPINE_POINTS, pose.elevation)


def scale_to_size(poses: list[Pose], habit: Habit):
    """Gives lengths in millimetres, so that the plant has the habit's diameter, and sets the feet."""
    growth = habit.growth
    living = [p for p in poses if not p.withered] or poses
    reach = max((np.cumsum(np.cos(p.elevation)) / len(p.elevation)).max() * p.length_mm + growth.base_radius for p in living)
    reach = max(reach, 0.35 if growth.stem_mm > habit.diameter_mm / 2 else 0.5)
    scale = habit.diameter_mm / 2 / reach
    longest = max(p.length_mm for p in poses) * scale
    for pose in poses:
        pose.length_mm *= scale
        pose.width_mm *= habit.blade.width_ratio * longest
        out = growth.base_radius * scale * (1 - 0.6 * pose.youth)
        rise = pose.youth * growth.stem_mm
        lean = rise * np.tan(np.radians(growth.lean_deg))
        pose.foot = np.array(
            [
                np.cos(pose.azimuth) * out + lean * np.cos(growth.lean_azimuth),
                np.sin(pose.azimuth) * out + lean * np.sin(growth.lean_azimuth),
                0.6 + rise,
            ]
        )


def core_of(poses: list[Pose], habit: Habit) -> Pose:
    """The short stem, drawn as one round upright leaf, so that no gap shows between the leaf feet."""
    foot_width = np.median([p.width_mm for p in poses]) * habit.blade.base_width
    spread = 2 * np.mean([np.hypot(*p.foot[:2]) for p in poses[: len(poses) // 2 + 1]])
    width = min(0.55 * foot_width + spread, 0.3 * habit.diameter_mm)
    core = Pose(0.9, 0.0, np.full(len(SPINE_POINTS), np.pi / 2), poses[-1].foot[2] + 0.12 * width, width, np.zeros(3))
    core.foot[2] = 0.3
    return core


@dataclass
class Resolution:
    mesh_rows: int
    mesh_columns: int
    texel_rows: int
    texel_columns: int


def resolution(poses: list[Pose], habit: Habit) -> Resolution:
    """Enough for the longest leaf, but within what a plant may cost in all."""
    count = len(poses)
    length = max(p.length_mm for p in poses)
    girth = 2.3 * max(p.width_mm for p in poses)
    detail = habit.mesh_columns / 36
    texel_columns = np.clip(girth / habit.texel_mm, 40 * detail, habit.texel_columns)
    texel_rows = np.clip(length / habit.texel_mm, 90 * detail, 640 * detail)
    mesh_columns = np.clip(girth / habit.mesh_mm, 16 * detail, habit.mesh_columns)
    mesh_rows = np.clip(length / habit.mesh_mm, 36 * detail, 420 * detail)
    texel_squeeze = max(1.0, count * texel_rows * texel_columns / (1.3e6 * detail**2)) ** 0.5
    mesh_squeeze = max(1.0, count * mesh_rows * mesh_columns / (1.5e5 * detail**2)) ** 0.5
    return Resolution(
        max(24, int(mesh_rows / mesh_squeeze)),
        int(mesh_columns / mesh_squeeze) // 2 * 2 + 1,
        max(48, int(texel_rows / texel_squeeze)),
        max(32, int(texel_columns / texel_squeeze) // 2 * 2),
    )


def palette_of(habit: Habit, illuminant):
    return {name: spectra.refl_to_rgb(s, illuminant).astype(np.float32) for name, s in habit.skin.spectra.items()}


def join(surfaces, size: Resolution):
    """One mesh out of all leaf surfaces; every leaf has its own strip of the atlas."""
    count = len(surfaces)
    faces = grid_faces(size.mesh_rows, size.mesh_columns)
    per_leaf = size.mesh_rows * size.mesh_columns
    uv = np.empty((count, size.mesh_rows, size.mesh_columns, 2))
    for number, (_, _, along, turn) in enumerate(surfaces):
        uv[number, ..., 0] = (number * size.texel_columns + turn[None, :] * (size.texel_columns - 1) + 0.5) / (
            count * size.texel_columns
        )
        uv[number, ..., 1] = (along[:, None] * (size.texel_rows - 1) + 0.5) / size.texel_rows
    vertices = np.concatenate([s[0].reshape(-1, 3) for s in surfaces])
    normals = np.concatenate([s[1].reshape(-1, 3) for s in surfaces])
    all_faces = (faces[None] + (np.arange(count) * per_leaf)[:, None, None]).reshape(-1, 3)
    return vertices, all_faces, normals, uv.reshape(-1, 2)


def growing_point(surfaces):
    """Half way up the youngest leaves."""
    middles = [surface[len(surface) // 2].mean(0) for surface, *_ in surfaces[-3:]]
    return np.mean(middles, 0)


def yellowed(palette):
    """An old leaf loses its green before it dries."""
    fading = dict(palette)
    for name in ("green", "red_green", "window", "fleck", "bloom"):
        fading[name] = 0.35 * palette[name] + 0.65 * palette["yellow"]
    return fading


def grow(rng, habit: Habit, illuminant) -> Plant:
    skin = habit.skin
    poses = leaf_poses(rng, habit)
    spoil(rng, poses, habit)
    scale_to_size(poses, habit)
    size = resolution(poses, habit)
    core_skin = replace(
        skin,
        bands=None,
        window=None,
        flecks=None,
        spine_tip=0.0,
        condition=Condition(dust=skin.condition.dust),
    )
    parts = [(pose, habit.blade, skin) for pose in poses] + [(core_of(poses, habit), CORE, core_skin)]
    maps = [leaf_maps(rng, leaf_grid(p, b, size.texel_rows, size.texel_columns), b, s) for p, b, s in parts]
    red_level = red_threshold(maps, skin.redness.share) if skin.redness else None
    palette = palette_of(habit, illuminant)
    painted = [
        paint(s, yellowed(palette) if p.yellowed else palette, m, red_level, p.yellowed) for (p, _, s), m in zip(parts, maps)
    ]
    surfaces = [leaf_surface(p, b, m.relief, size.mesh_rows, size.mesh_columns) for (p, b, _), m in zip(parts, maps)]
    vertices, faces, normals, uv = join(surfaces, size)
    return Plant(
        vertices=vertices,
        faces=faces,
        normals=normals,
        uv=uv,
        tissue=np.concatenate([t for t, _, _ in painted], 1),
        colour=np.concatenate([c for _, c, _ in painted], 1),
        roughness=np.concatenate([r for _, _, r in painted], 1).astype(np.float32),
        specular=0.8 if skin.condition.wet else skin.specular,
        radius_mm=float(np.hypot(vertices[:, 0], vertices[:, 1]).max()),
        height_mm=float(vertices[:, 2].max()),
        crown=growing_point(surfaces[:-1]),
        habit=habit.name,
    )
