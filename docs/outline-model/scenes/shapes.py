"""Meshes and materials: what plants, pots and props are put together from. Lengths in mm, z up."""

import math

import cv2
import mitsuba as mi
import numpy as np

if mi.variant() is None:
    mi.set_variant("scalar_rgb")

VERTEX_COLOUR = {"type": "mesh_attribute", "name": "vertex_color"}
QUAD_FACES = np.array([[0, 1, 2], [0, 2, 3]])
QUAD_UV = np.array([[0, 1], [1, 1], [1, 0], [0, 0]], float)


# ------------------------------------------------------------------ Mitsuba objects
def mesh(name, vertices, faces, bsdf, normals=None, uv=None, colours=None, flat=False, emitter=None):
    """A Mitsuba mesh; `flat` = hard edges, one normal a face."""
    props = mi.Properties()
    props["bsdf"] = mi.load_dict(bsdf) if isinstance(bsdf, dict) else bsdf
    if emitter is not None:
        props["emitter"] = mi.load_dict(emitter)
    if flat:
        props["face_normals"] = True
    shape = mi.Mesh(
        name,
        len(vertices),
        len(faces),
        has_vertex_normals=normals is not None,
        has_vertex_texcoords=uv is not None,
        props=props,
    )
    if colours is not None:
        shape.add_attribute("vertex_color", 3, np.ascontiguousarray(colours, np.float32).ravel())
    buffers = mi.traverse(shape)
    buffers["vertex_positions"] = np.ascontiguousarray(vertices, np.float32).ravel()
    buffers["faces"] = np.ascontiguousarray(faces, np.uint32).ravel()
    if normals is not None:
        buffers["vertex_normals"] = np.ascontiguousarray(normals, np.float32).ravel()
    if uv is not None:
        buffers["vertex_texcoords"] = np.ascontiguousarray(uv, np.float32).ravel()
    buffers.update()
    return shape


def tex(image):
    """Linear reflectance image as a texture."""
    image = np.ascontiguousarray(image, np.float32)
    if image.ndim == 2:
        image = image[..., None]
    return {"type": "bitmap", "bitmap": mi.Bitmap(image), "raw": True}


def _rgb(colour):
    return colour if isinstance(colour, dict) else {"type": "rgb", "value": [float(c) for c in colour]}


def principled(colour, roughness=0.5, specular=0.5):
    roughness = roughness if isinstance(roughness, dict) else float(roughness)
    inner = {"type": "principled", "base_color": _rgb(colour), "roughness": roughness, "specular": float(specular)}
    return {"type": "twosided", "inner": inner}


def metal(colour, roughness=0.3):
    inner = {"type": "principled", "base_color": _rgb(colour), "roughness": float(roughness), "metallic": 0.85}
    return {"type": "twosided", "inner": inner}


def diffuse(colour):
    return {"type": "twosided", "inner": {"type": "diffuse", "reflectance": _rgb(colour)}}


# ------------------------------------------------------------------ moving things
def spin(points, angle):
    """Turn about the z axis."""
    c, s = math.cos(angle), math.sin(angle)
    return points @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])


def turn_about(axis, angle):
    """Rotation matrix about any axis."""
    k = np.asarray(axis, float) / np.linalg.norm(axis)
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    return np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross


def merge(parts):
    """[(vertices, faces), ...] as one mesh."""
    vertices, faces, offset = [], [], 0
    for v, f in parts:
        vertices.append(v)
        faces.append(f + offset)
        offset += len(v)
    return np.concatenate(vertices), np.concatenate(faces)


# ------------------------------------------------------------------ simple bodies
def _grid_faces(rows, columns, closed):
    """Triangles of a grid of vertices; `closed` joins the last column to the first."""
    index = np.arange(rows * columns).reshape(rows, columns)
    following = np.roll(index, -1, 1)
    if not closed:
        index, following = index[:, :-1], following[:, :-1]
    lower = np.stack([index[:-1], following[:-1], following[1:]], -1).reshape(-1, 3)
    upper = np.stack([index[:-1], following[1:], index[1:]], -1).reshape(-1, 3)
    return np.concatenate([lower, upper])


def loft(profile, power, sides=96):
    """Body through rings (half size, z); power 2 = round, 10 = square with rounded corners."""
    a = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    k = 1 / (np.abs(np.cos(a)) ** power + np.abs(np.sin(a)) ** power) ** (1 / power)
    p = np.array(profile, float)
    z = np.repeat(p[:, 1:2], sides, 1)
    vertices = np.stack([p[:, :1] * (k * np.cos(a)), p[:, :1] * (k * np.sin(a)), z], -1)
    return vertices.reshape(-1, 3), _grid_faces(len(p), sides, closed=True)


def box(x, y, z0, z1, width, depth, angle=0.0):
    w, d = width / 2, depth / 2
    corners = np.array([[-w, -d], [w, -d], [w, d], [-w, d]])
    vertices = np.concatenate([np.c_[corners, np.full(4, z0)], np.c_[corners, np.full(4, z1)]]).astype(float)
    quads = [(0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    faces = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
    return spin(vertices, angle) + [x, y, 0], faces


def tube(path, radius, sides=8):
    """Bent round rod along points `path`, radius constant or one a point; ends closed to a point."""
    path = np.asarray(path, float)
    radius = np.broadcast_to(np.asarray(radius, float), len(path)).copy()
    radius[0] *= 0.2
    radius[-1] *= 0.2
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True) + 1e-9
    across = np.cross(along, [0.31, 0.17, 0.93])
    across /= np.linalg.norm(across, axis=1, keepdims=True) + 1e-9
    third = np.cross(along, across)
    a = np.linspace(0, 2 * np.pi, sides, endpoint=False)[None, :, None]
    vertices = path[:, None] + radius[:, None, None] * (np.cos(a) * across[:, None] + np.sin(a) * third[:, None])
    return vertices.reshape(-1, 3), _grid_faces(len(path), sides, closed=True)


def blade(rng, length, width, bend, rows=14, columns=5, cup=0.2):
    """A flat leaf from the origin along +x, bending down by `bend` radians."""
    t = np.linspace(0, 1, rows)
    across = np.abs(np.linspace(-1, 1, columns))
    half = width / 2 * np.sin(np.pi * np.clip(t * 0.92 + 0.06, 0, 1)) ** rng.uniform(0.6, 1.3)
    a = np.arange(1, rows + 1) / rows * bend
    x = np.concatenate([[0], np.cumsum(np.cos(a[1:])) * length / rows])
    z = np.concatenate([[0], -np.cumsum(np.sin(a[1:])) * length / rows])
    y = np.linspace(-1, 1, columns)[None] * half[:, None]
    vertices = np.stack([np.repeat(x[:, None], columns, 1), y, z[:, None] + cup * across**2 * half[:, None]], -1)
    return vertices.reshape(-1, 3), _grid_faces(rows, columns, closed=False)


def lift(points, elevation):
    """Tip something that lies along +x upwards."""
    c, s = math.cos(elevation), math.sin(elevation)
    return np.stack([points[:, 0] * c - points[:, 2] * s, points[:, 1], points[:, 0] * s + points[:, 2] * c], -1)


# ------------------------------------------------------------------ soft bodies (hands)
def _capsule_distance(points, a, b, ra, rb):
    d = b - a
    t = np.clip(((points - a) @ d) / (d @ d + 1e-9), 0, 1)
    return np.linalg.norm(points - a - t[..., None] * d, axis=-1) - (ra + (rb - ra) * t)


def soft_body(capsules, blend=4.0, step=2.2):
    """Capsules (a, b, radius at a, radius at b) melted into one smooth skin: vertices, faces, normals."""
    ends = np.array([[c[0], c[1]] for c in capsules], float).reshape(-1, 3)
    reach = max(max(c[2], c[3]) for c in capsules) + 2 * blend
    low, high = ends.min(0) - reach, ends.max(0) + reach
    axes = [np.arange(low[i], high[i] + step, step) for i in range(3)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), -1).astype(np.float32)
    total = np.zeros(points.shape[:3], np.float32)
    for a, b, ra, rb in capsules:
        a, b = np.asarray(a, np.float32), np.asarray(b, np.float32)
        reach = max(ra, rb) + 4 * blend
        cut = tuple(  # far from a capsule its share is nothing
            slice(*np.searchsorted(axes[i], [min(a[i], b[i]) - reach, max(a[i], b[i]) + reach])) for i in range(3)
        )
        total[cut] += np.exp(-_capsule_distance(points[cut], a, b, ra, rb) / blend)
    return _skin(-blend * np.log(np.maximum(total, 1e-9)), low, step)


def _skin(field, low, step):
    """Zero surface of a sampled distance: one vertex in each cell the surface crosses, one quad for each edge."""
    inside = field < 0
    shape = np.array(field.shape) - 1
    corners = [field[i : i + shape[0], j : j + shape[1], k : k + shape[2]] for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    count = sum((c < 0).astype(int) for c in corners)
    cell = np.argwhere((count > 0) & (count < 8))
    number = np.full(shape, -1)
    number[tuple(cell.T)] = np.arange(len(cell))
    weight = np.stack([1 / (np.abs(c[tuple(cell.T)]) + 0.15) for c in corners], -1)
    place = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    at = cell + weight @ place / weight.sum(-1, keepdims=True)
    gradient = np.stack(np.gradient(field), -1)
    normals = gradient[tuple(np.round(at).astype(int).T)]
    at = at - normals * np.stack([_sample(field, at)], -1) / ((normals**2).sum(-1, keepdims=True) + 1e-6) * 0.8
    normals = normals / (np.linalg.norm(normals, axis=-1, keepdims=True) + 1e-9)
    faces = []
    for axis in range(3):
        ahead = [slice(None)] * 3
        behind = [slice(None)] * 3
        ahead[axis], behind[axis] = slice(1, None), slice(None, -1)
        edge = np.argwhere(inside[tuple(ahead)] != inside[tuple(behind)])
        one, two = np.eye(3, dtype=int)[(axis + 1) % 3], np.eye(3, dtype=int)[(axis + 2) % 3]
        edge = edge[(edge[:, (axis + 1) % 3] > 0) & (edge[:, (axis + 2) % 3] > 0) & (edge < shape).all(1)]
        quad = [number[tuple((edge - o).T)] for o in (0 * one, one, one + two, two)]
        faces += [np.stack(quad[:3], -1), np.stack([quad[0], quad[2], quad[3]], -1)]
    return at * step + low, np.concatenate(faces), normals


def _sample(field, at):
    from scipy import ndimage

    return ndimage.map_coordinates(field, at.T, order=1)


# ------------------------------------------------------------------ stones and grains
def _icosphere(divisions):
    t = (1 + 5**0.5) / 2
    flat = [(-1, t), (1, t), (-1, -t), (1, -t)]
    vertices = np.array([(a, b, 0) for a, b in flat] + [(0, a, b) for a, b in flat] + [(b, 0, a) for a, b in flat], float)
    cap = [(0, 11, 5), (0, 5, 1), (0, 1, 7), (0, 7, 10), (0, 10, 11), (1, 5, 9), (5, 11, 4), (11, 10, 2), (10, 7, 6), (7, 1, 8)]
    cup = [(3, 9, 4), (3, 4, 2), (3, 2, 6), (3, 6, 8), (3, 8, 9), (4, 9, 5), (2, 4, 11), (6, 2, 10), (8, 6, 7), (9, 8, 1)]
    vertices /= np.linalg.norm(vertices, axis=1, keepdims=True)
    faces = np.array(cap + cup)
    for _ in range(divisions):
        edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), 1)
        edges, where = np.unique(edges, axis=0, return_inverse=True)
        middle = vertices[edges].mean(1)
        ab, bc, ca = len(vertices) + where.reshape(3, -1)
        vertices = np.concatenate([vertices, middle / np.linalg.norm(middle, axis=1, keepdims=True)])
        a, b, c = faces.T
        faces = np.concatenate([np.stack(t, -1) for t in ((a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca))])
    return vertices, faces


def _stones(rng, count, divisions, rough):
    """Balls cut by random planes: chunky facets as of crushed stone."""
    ball, faces = _icosphere(divisions)
    out = []
    for _ in range(count):
        v = ball.copy()
        for _ in range(5):
            d = rng.standard_normal(3)
            d /= np.linalg.norm(d)
            over = v @ d - rng.uniform(0.45, 0.85)
            v = v - np.maximum(over, 0)[:, None] * 0.85 * d
        out.append(v * (1 + rough * rng.standard_normal((len(v), 1))))
    return np.stack(out), faces


def _any_rotations(rng, n):
    quaternions = rng.standard_normal((n, 4))
    w, x, y, z = quaternions.T / np.linalg.norm(quaternions, axis=1)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    return np.stack([np.stack(r, -1) for r in rows], 1)


def scatter(rng, centres, sizes, colours, divisions=1, rough=0.05, flatness=1.0):
    """Stones at `centres` as one mesh with a colour for each vertex."""
    n = len(centres)
    kinds, faces = _stones(rng, 14, divisions, rough)
    stretch = rng.uniform(0.7, 1.25, (n, 3)) * [1, 1, flatness]
    stones = kinds[rng.integers(0, len(kinds), n)] * stretch[:, None] * np.asarray(sizes)[:, None, None]
    vertices = np.einsum("nij,nkj->nki", _any_rotations(rng, n), stones) + centres[:, None]
    each = vertices.shape[1]
    faces = faces[None] + (np.arange(n) * each)[:, None, None]
    return vertices.reshape(-1, 3), faces.reshape(-1, 3), np.repeat(colours[:, None], each, 1).reshape(-1, 3)


# ------------------------------------------------------------------ surfaces
def smooth_noise(rng, height, width, cells_down, cells_across):
    """About N(0, 1), of so many blobs down and across."""
    a = rng.standard_normal((max(2, int(cells_down)), max(2, int(cells_across)))).astype(np.float32)
    return cv2.resize(a, (width, height), interpolation=cv2.INTER_CUBIC) * 1.25


def _other_colour(rng):
    return np.clip(np.exp(rng.normal(-1.5, 0.9)) * (1 + rng.normal(0, 0.3, 3)), 0.005, 0.9)


def any_surface(rng, n=256):
    """Plain, blotched or striped paint, cloth, stone ... of any colour, as an image."""
    base = np.clip(np.exp(rng.normal(-1.6, 0.9)), 0.01, 0.8) * (1 + rng.normal(0, 0.25, 3))
    shade = np.ones((n, n), np.float32)
    for _ in range(3):
        shade += rng.uniform(0.02, 0.25) * smooth_noise(rng, n, n, rng.integers(2, n), rng.integers(2, n))
    image = np.clip(base * shade[..., None], 0.005, 0.9)
    kind = rng.choice(["plain", "blobs", "stripes", "planks"], p=[0.5, 0.2, 0.15, 0.15])
    if kind == "blobs":
        m = np.clip(smooth_noise(rng, n, n, rng.integers(2, 60), rng.integers(2, 60)) * 2 + 0.5, 0, 1)[..., None]
        image = image * (1 - m) + m * _other_colour(rng)
    elif kind == "stripes":
        m = ((np.arange(n) // int(rng.integers(4, 40))) % 2)[None, :, None]
        if rng.random() < 0.5:
            m = m ^ ((np.arange(n) // int(rng.integers(4, 40))) % 2)[:, None, None]
        image = image * (1 - m) + m * _other_colour(rng)
    elif kind == "planks":
        image = planks(rng, n)
    return np.clip(image, 0.004, 0.9).astype(np.float32)


def planks(rng, n=256):
    """Boards with grain and dark gaps."""
    wood = np.array([0.32, 0.2, 0.115]) if rng.random() < 0.6 else np.array([0.30, 0.29, 0.27])
    shade = 1 + 0.14 * smooth_noise(rng, n, n, 3, n // 2) + 0.08 * smooth_noise(rng, n, n, 20, n)
    boards = int(rng.integers(2, 7))
    board = np.arange(n) * boards // n
    shade *= rng.uniform(0.75, 1.25, boards)[board][None]
    gap = (np.arange(n) * boards % n) < boards * max(1, n // 128)
    shade[:, gap] *= 0.15
    return np.clip(wood * rng.uniform(0.3, 2.0) * shade[..., None], 0.004, 0.9).astype(np.float32)
