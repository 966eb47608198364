"""bulk training scenes: many small renders with exact masks.  usage: lgen.py OUT SEED0 SEED1 PROC NPROC [--size 512 --spp 14 --bg DIR --until EPOCH]"""

import sys
import os

for k in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(k, "1")
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import glob
import math
import time
import argparse
import traceback
from base import *
import drjit as dr

dr.set_thread_count(1)
cv2.setNumThreads(1)
CW = np.array


def plant_params(rng, o):
    form = o.get("form") or rng.choice(["standard", "wide", "extra_wide"], p=[0.6, 0.28, 0.12])
    (w0, w1), (p0, p1) = PL.FORMS[form]
    w, p = rng.uniform(w0, w1), rng.uniform(p0, p1)
    p = min(max(p, w * (1.6 if form == "extra_wide" else 1.8)), 6.0)
    pat = o.get("pattern") or rng.choice(PATTERNS, p=[0.42, 0.10, 0.10, 0.09, 0.08, 0.08, 0.07, 0.06])
    D = o.get("diameter") or rng.uniform(50, 95)
    style = rng.choice(["att", "spiky", "broad", "ech"], p=[0.42, 0.23, 0.15, 0.20])
    n = int(rng.integers(14, 34))
    if style == "spiky":
        n = int(rng.integers(22, 60))
    if D < 40:
        n = int(n * 0.6) + 4
    wr = {"att": (0.20, 0.34), "spiky": (0.10, 0.2), "broad": (0.3, 0.48), "ech": (0.5, 0.8)}[style]
    eo = float(rng.uniform(-8, 50) if rng.random() < 0.6 else rng.uniform(14, 30))
    S = C.BANK[int(rng.integers(0, len(C.BANK)))]
    spectra = {k: S[i].copy() for i, k in enumerate(C.KEYS)}
    gs = float(np.exp(rng.normal(-0.35, 0.5))) if style != "ech" else float(np.exp(rng.normal(0.5, 0.4)))
    for k in spectra:
        if "green" in k:
            spectra[k] = np.clip(spectra[k] * gs, 0.003, 0.9)
    tb = rng.uniform(0.45, 0.85)
    if rng.random() < (0.25 if style != "ech" else 0.9):
        tb = None
    spectra["tubercle"] = (
        (tb * (1 - 0.14 * (700 - C.WL).clip(0) / 300)) if tb else np.clip(spectra["green"] * rng.uniform(0.9, 1.8), 0, 0.9)
    )
    spectra["dead"] = 0.05 + rng.uniform(0.1, 0.4) * ((C.WL - 400) / 380) ** 1.6
    vf = {
        "none": 0,
        "white_stripes": rng.uniform(0.15, 0.6),
        "striation": rng.uniform(0.25, 0.7),
        "gold_stripes": rng.uniform(0.15, 0.6),
        "sectorial": rng.uniform(0.3, 0.6),
        "gold_centre": rng.uniform(0.3, 0.7),
        "albino": 1.0,
        "pale": rng.uniform(0.8, 0.96),
    }[pat]
    red = 0 if rng.random() < 0.5 else float(rng.uniform(0.03, 0.7))
    dots = bool(form == "standard" and rng.random() < 0.5)
    return dict(
        diameter_mm=float(D),
        n_leaves=n,
        elev_outer=eo,
        elev_inner=float(rng.uniform(max(60, eo + 15), 88)),
        upcurve=float(rng.uniform(0, 40)),
        width_ratio=float(rng.uniform(*wr)),
        thick_up=float(rng.uniform(0.06, 0.25)),
        thick_low=float(rng.uniform(0.4, 0.8)),
        concave=float(rng.uniform(0.0, 0.16)),
        stem_mm=float(D * (rng.uniform(0.05, 0.14) if rng.random() < 0.8 else rng.uniform(0.15, 0.5))),
        pattern=str(pat),
        var_frac=float(vf),
        band_form=str(form),
        dots=dots,
        band_width=float(w),
        band_pitch=float(p),
        band_height=float(rng.uniform(0.2, 0.42)),
        dead_prob=float(rng.choice([0, 0.15, 0.35, 0.7])),
        red_frac=float(red),
        red_leaf_share=float(rng.choice([0.5, 0.8, 1.0])),
        red_style=str(rng.choice(["tips", "stripes", "both"])),
        red_sun_phi=float(rng.uniform(0, 6.28)),
        roughness=float(rng.uniform(0.26, 0.6)),
        pig={},
        spectra=spectra,
        striation_class=int(rng.choice([PL.CREAM, PL.CREAM, PL.GOLD])),
        sector_class=int(rng.choice([PL.GOLD, PL.CREAM])),
        albino_class=int(rng.choice([PL.GOLD, PL.CREAM])),
        tex_nu=144,
        tex_mm=0.17,
        mesh_mm=0.5,
        mesh_nc=36,
    )


def tube(p0, p1, r0, r1, n=20, m=14):
    p0, p1 = np.array(p0, float), np.array(p1, float)
    d = p1 - p0
    L = np.linalg.norm(d)
    d /= L
    a = np.array([0, 0, 1.0]) if abs(d[2]) < 0.9 else np.array([1.0, 0, 0])
    u = np.cross(d, a)
    u /= np.linalg.norm(u)
    v = np.cross(d, u)
    t = np.linspace(0, 1, n)
    ph = np.linspace(0, 2 * np.pi, m + 1)[:-1]
    s = np.sqrt(np.clip(1 - (np.abs(2 * t - 1)) ** 6, 0, 1))
    r = (r0 + (r1 - r0) * t) * s + 0.05
    V = p0 + t[:, None, None] * d * L + r[:, None, None] * (np.cos(ph)[None, :, None] * u + np.sin(ph)[None, :, None] * v)
    idx = np.arange(n * m).reshape(n, m)
    j = np.roll(idx, -1, 1)
    F = np.concatenate(
        [np.stack([idx[:-1], j[:-1], j[1:]], -1).reshape(-1, 3), np.stack([idx[:-1], j[1:], idx[1:]], -1).reshape(-1, 3)]
    )
    return V.reshape(-1, 3), F


def merge(parts):
    V, F, o = [], [], 0
    for v, f in parts:
        V.append(v)
        F.append(f + o)
        o += len(v)
    return np.concatenate(V), np.concatenate(F)


def leafmesh(rng, L, W, bend, nv=14, nu=5, cup=0.2):
    t = np.linspace(0, 1, nv)
    s = np.linspace(-1, 1, nu)
    w = W / 2 * np.sin(np.pi * np.clip(t * 0.92 + 0.06, 0, 1)) ** rng.uniform(0.6, 1.3)
    a = np.cumsum(np.ones(nv)) / nv * bend
    x = np.concatenate([[0], np.cumsum(np.cos(a[1:])) * L / nv])
    z = np.concatenate([[0], -np.cumsum(np.sin(a[1:])) * L / nv])
    V = np.stack([np.repeat(x[:, None], nu, 1), s[None] * w[:, None], z[:, None] + cup * np.abs(s)[None] ** 2 * w[:, None]], -1)
    idx = np.arange(nv * nu).reshape(nv, nu)
    F = np.concatenate(
        [
            np.stack([idx[:-1, :-1], idx[1:, :-1], idx[1:, 1:]], -1).reshape(-1, 3),
            np.stack([idx[:-1, :-1], idx[1:, 1:], idx[:-1, 1:]], -1).reshape(-1, 3),
        ]
    )
    return V.reshape(-1, 3), F


def foliage(rng, pos, R):
    """a leafy non-target plant: broad leaves, grass, trailing"""
    kind = rng.choice(["broad", "grass", "fern", "round"])
    parts = []
    n = {
        "broad": int(rng.integers(8, 40)),
        "grass": int(rng.integers(30, 120)),
        "fern": int(rng.integers(40, 140)),
        "round": int(rng.integers(30, 120)),
    }[kind]
    for i in range(n):
        ph = rng.uniform(0, 6.28)
        el = rng.uniform(-0.2, 1.4)
        if kind == "broad":
            L, W, b = R * rng.uniform(0.4, 0.9), R * rng.uniform(0.18, 0.45), rng.uniform(0.2, 1.6)
        elif kind == "grass":
            L, W, b = R * rng.uniform(0.8, 1.6), R * rng.uniform(0.02, 0.06), rng.uniform(0.1, 1.8)
            el = rng.uniform(0.5, 1.5)
        elif kind == "fern":
            L, W, b = R * rng.uniform(0.15, 0.4), R * rng.uniform(0.05, 0.15), rng.uniform(0, 1)
        else:
            L, W, b = R * rng.uniform(0.15, 0.3), R * rng.uniform(0.12, 0.25), rng.uniform(0, 0.6)
        v, f = leafmesh(rng, L, W, b)
        c, s = math.cos(el), math.sin(el)
        v = (
            v @ np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]]).T * [1, 1, 1]
            if False
            else np.stack([v[:, 0] * c - v[:, 2] * s, v[:, 1], v[:, 0] * s + v[:, 2] * c], -1)
        )
        c, s = math.cos(ph), math.sin(ph)
        v = np.stack([v[:, 0] * c - v[:, 1] * s, v[:, 0] * s + v[:, 1] * c, v[:, 2]], -1)
        off = np.zeros(3) if kind in ("broad", "grass") else rng.normal(0, 0.45, 3) * R * [1, 1, 0.7] + [0, 0, R * 0.5]
        parts.append((v + off, f))
    V, F = merge(parts)
    g = S_green(rng)
    vc = np.clip(g[None] * np.exp(rng.normal(0, 0.18, (len(V) // 70 + 1, 1))).repeat(70, 0)[: len(V)], 0.005, 0.9)
    return V + pos, F, vc


def S_green(rng):
    h = rng.random()
    if h < 0.75:
        R = C.BANK[int(rng.integers(0, len(C.BANK)))][0]
        return np.array(C.refl_to_rgb(R, C.D65)) * np.exp(rng.normal(0.1, 0.4))
    return np.clip(rng.uniform(0.02, 0.5, 3) * [1, rng.uniform(0.5, 1), rng.uniform(0.1, 0.6)], 0.01, 0.9)


def randtex(rng, n=256):
    k = rng.integers(0, 5)
    b = np.clip(np.exp(rng.normal(-1.6, 0.9)), 0.01, 0.8) * (1 + rng.normal(0, 0.25, 3))
    t = np.ones((n, n), np.float32)
    for _ in range(3):
        t += rng.uniform(0.02, 0.25) * PL.smooth_noise(rng, n, n, int(rng.integers(2, n)), int(rng.integers(2, n)))
    a = np.clip(b[None, None] * t[..., None], 0.005, 0.9)
    if k == 0:  # second colour blobs / stripes
        m = PL.sstep(PL.smooth_noise(rng, n, n, int(rng.integers(2, 60)), int(rng.integers(2, 60))) * 2 + 0.5)[..., None]
        a = a * (1 - m) + m * np.clip(np.exp(rng.normal(-1.5, 0.9)) * (1 + rng.normal(0, 0.3, 3)), 0.005, 0.9)
    if k == 1:
        m = ((np.arange(n) // int(rng.integers(4, 40))) % 2)[None, :, None]
        if rng.random() < 0.5:
            m = m ^ ((np.arange(n) // int(rng.integers(4, 40))) % 2)[:, None, None]
        a = a * (1 - m) + m * np.clip(np.exp(rng.normal(-1.5, 0.9)) * (1 + rng.normal(0, 0.3, 3)), 0.005, 0.9)
    return np.clip(a, 0.004, 0.9).astype(np.float32)


BG = []


def phototex(rng):
    if not BG:
        return randtex(rng)
    im = cv2.imread(BG[int(rng.integers(0, len(BG)))])[..., ::-1].astype(np.float32) / 255
    s = rng.uniform(0.4, 1.0)
    im = cv2.resize(im, None, fx=s, fy=s, interpolation=cv2.INTER_AREA)
    return np.clip((im**2.2) * rng.uniform(0.5, 1.0), 0.003, 0.9)


QUADF = np.array([[0, 1, 2], [0, 2, 3]])


def build(seed):
    rng = np.random.default_rng([seed, 77])
    light = LIGHTS[int(rng.integers(0, 6))]
    ill = {
        "overcast": "overcast6500",
        "sun": "sun5500",
        "window": "overcast6500",
        "tungsten": "tungsten2850",
        "shade": "shade8000",
        "led": str(rng.choice(["led4000", "led6000"])),
    }[light]
    E = C.illuminant(ill)
    kind = str(rng.choice(["single", "tray", "bed", "pots"], p=[0.62, 0.12, 0.10, 0.16]))
    objs, plants = {}, []
    specs = []  # params,x,y
    D = rng.uniform(50, 95)
    P = plant_params(rng, dict(diameter=D))
    if kind in ("single", "bed"):
        specs.append((P, 0, 0, 0))
        npup = int(rng.choice([0, 0, 0, 1, 2, 3, 5]))
        for k in range(npup):
            d = rng.uniform(0.25, 0.6) * D
            a = rng.uniform(0, 6.28)
            R = D / 2 * rng.uniform(0.7, 1.05) + d * 0.25
            specs.append(
                (
                    plant_params(rng, dict(diameter=d, pattern=P["pattern"] if rng.random() < 0.5 else None)),
                    R * math.cos(a),
                    R * math.sin(a),
                    0,
                )
            )
    elif kind == "tray":
        n = int(rng.integers(3, 10))
        cols = 2 if n <= 4 else 3
        cell = rng.uniform(40, 62)
        for k in range(n):
            specs.append(
                (
                    plant_params(rng, dict(diameter=rng.uniform(0.5, 1.05) * cell)),
                    (k % cols - (cols - 1) / 2) * cell + rng.normal(0, 3),
                    (k // cols - (-(-n // cols) - 1) / 2) * cell + rng.normal(0, 3),
                    0,
                )
            )
    else:
        n = int(rng.integers(2, 5))
        x = 0
        for k in range(n):
            d = D * rng.uniform(0.7, 1.2) if k else D
            specs.append((plant_params(rng, dict(diameter=d)), x, rng.normal(0, 25) if k else 0, 1))
            x += d * rng.uniform(0.85, 1.3) * (1 if rng.random() < 0.6 else -1) if k % 2 == 0 else -2 * x + d * 0.3
    for k, (P, x, y, own) in enumerate(specs):
        b = PL.build_plant(rng, P, E)
        V, N = rot_z(b["V"], b["N"], rng.uniform(0, 6.28), abs(rng.normal(0, 0.09)), rng.uniform(0, 6.28))
        if rng.random() < 0.35:
            zs = rng.uniform(0.8, 1.5)
            V = V * [1, 1, zs]
            N = N / np.array([1, 1, zs])
            N /= np.linalg.norm(N, axis=1, keepdims=True) + 1e-9
        V = V + [x, y, 0]
        objs[f"plant{k+1}"] = mesh(f"plant{k+1}", V, b["F"], principled(tex(b["col"]), tex(b["rough"]), 0.5), N=N, UV=b["UV"])
        plants.append(dict(P=P, b=b, x=x, y=y, V=V))
    rads = [p["b"]["rmax"] for p in plants]
    rad = max(math.hypot(p["x"], p["y"]) + p["b"]["rmax"] for p in plants)
    sub = str(rng.choice(["mix", "gravel_grey", "gravel_pink", "gravel_white"], p=[0.5, 0.22, 0.14, 0.14]))
    tilt = float(rng.uniform(0, 30) if rng.random() < 0.3 else rng.uniform(30, 84))
    if kind == "tray":
        tilt = min(tilt, 62)
    if kind == "bed":
        tilt = min(tilt, 75)
    bench = -2.5
    support = []

    def potat(nm, x, y, r0):
        nonlocal bench
        h = rng.uniform(0.7, 1.9) * r0 if kind != "pots" else hh
        pr = r0 * rng.uniform(0.6, 1.15)
        rim = rng.uniform(0, 9)
        pw = float(rng.choice([2, 2, 2, 10]))
        ty = rng.choice(["terra", "white", "black", "color", "tex"], p=[0.3, 0.25, 0.2, 0.15, 0.1])
        tp = rng.uniform(0.55, 1.0)
        prof = [
            (tp * pr, -h),
            (pr * (tp * 0.3 + 0.7) if rng.random() < 0.5 else pr * 0.97, rim - rng.uniform(4, 18)),
            (1.0 * pr, rim - 4),
            (1.03 * pr, rim),
            (1.0 * pr, rim + 0.8),
            (0.95 * pr, rim - 1),
            (0.9 * pr, -8),
        ]
        V, F = loft(prof, pw, 96)
        uv = np.stack([np.arctan2(V[:, 1], V[:, 0]) / 6.2832 * 2, V[:, 2] / 60], -1)
        cl = {
            "terra": np.array([0.42, 0.175, 0.095]) * rng.uniform(0.6, 1.3),
            "white": np.full(3, rng.uniform(0.5, 0.82)),
            "black": np.full(3, rng.uniform(0.01, 0.06)),
            "color": rng.uniform(0.02, 0.7, 3),
            "tex": np.ones(3),
        }[ty]
        bs = principled(
            tex(
                randtex(rng)
                if ty == "tex"
                else np.clip(
                    cl[None, None] * (1 + rng.uniform(0, 0.12) * PL.smooth_noise(rng, 128, 128, 30, 30)[..., None]), 0.004, 0.9
                )
            ),
            rng.uniform(0.2, 0.9),
            0.4,
        )
        objs[nm] = mesh(nm, V + [x, y, 0], F, bs, UV=uv, face_normals=pw > 2)
        support.append(nm)

        def inner(X, Y):
            return (
                (np.hypot(X - x, Y - y) < pr * 0.91)
                if pw == 2
                else ((np.abs(X - x) ** 9 + np.abs(Y - y) ** 9) ** (1 / 9) < pr * 0.95)
            )

        sv, sf = loft([(pr * 0.9, -2.2), (0.001, -2.2)], pw, 48)
        objs[nm + "s"] = mesh(nm + "s", sv + [x, y, 0], sf, diffuse([0.03, 0.022, 0.016] if sub == "mix" else [0.14, 0.13, 0.12]))
        support.append(nm + "s")
        oo = {}
        grains(rng, inner, (x - pr, x + pr, y - pr, y + pr), 0, sub, oo, density=0.55)
        for a, m in oo.items():
            objs[nm + a] = m
            support.append(nm + a)
        bench = min(bench, -h)
        return pr

    hh = rng.uniform(40, 80)
    if kind == "single":
        prr = potat("pot", np.mean([p["x"] for p in plants]), np.mean([p["y"] for p in plants]), max(rads[0], rad * 0.75))
    elif kind == "tray":
        prr = potat("pot", 0, 0, rad * 0.98)
    elif kind == "pots":
        for k, p in enumerate(plants):
            prr = potat(f"pot{k}", p["x"], p["y"], p["b"]["rmax"] * 0.8)
    else:
        prr = rad
    big = 3000
    # floor
    g = phototex(rng) if rng.random() < 0.25 else randtex(rng)
    sc = rng.uniform(80, 1200)
    fz = bench if kind != "bed" else -2.5
    objs["floor"] = mesh(
        "floor",
        CW([[-big, -big, fz], [big, -big, fz], [big, big, fz], [-big, big, fz]]),
        QUADF,
        principled(tex(g), rng.uniform(0.25, 1), rng.uniform(0, 0.5)),
        UV=CW([[-big, -big], [big, -big], [big, big], [-big, big]]) / sc,
    )
    if kind == "bed":
        oo = {}
        grains(rng, lambda x, y: np.hypot(x, y) < 170, (-170, 170, -170, 170), 0, sub, oo, density=0.3)
        for a, m in oo.items():
            objs["bed" + a] = m
            support.append("bed" + a)
    # camera
    fovl = rng.uniform(24, 62)
    S = SIZE
    az, roll = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.12) if rng.random() < 0.9 else rng.uniform(-3, 3)
    f = (S / 2) / math.tan(math.radians(fovl) / 2)
    vd = CW(
        [math.sin(math.radians(tilt)) * math.cos(az), math.sin(math.radians(tilt)) * math.sin(az), math.cos(math.radians(tilt))]
    )
    main = plants if (kind == "tray" and rng.random() < 0.7) or rng.random() < 0.45 else plants[:1]
    pts = np.concatenate([p["V"][::17] for p in main])
    ctr = (pts.max(0) + pts.min(0)) / 2
    cam = Camera(ctr, vd, CW([0, 0, 1.0]) if tilt > 5 else CW([-math.cos(az), -math.sin(az), 0]), roll, f, S, S)
    mg = rng.uniform(0.72, 1.35) if rng.random() < 0.7 else rng.uniform(1.35, 2.6)
    cam.fit(pts, mg)
    if mg > 1.1:
        sh = rng.uniform(-1, 1, 2) * (mg - 1) / mg * 0.5 * S / f * cam.dist
        cam.ctr = cam.ctr + cam.left * sh[0] + cam.up * sh[1]
        cam.o = cam.ctr + cam.v * cam.dist
    if cam.o[2] < fz + 15:
        cam.o = cam.o + CW([0, 0, fz + 15 - cam.o[2]])
    # wall behind
    if rng.random() < 0.85:
        back = -CW([math.cos(az), math.sin(az), 0])
        dist = rad + rng.uniform(30, 900) * (1 if tilt > 25 else 3)
        sd = CW([-back[1], back[0], 0])
        w = (dist + cam.dist) * rng.uniform(0.7, 1.6)
        h = w * rng.uniform(0.6, 1.1)
        c = back * dist
        z0 = fz - rng.uniform(0, 60)
        q = CW(
            [c - sd * w + [0, 0, z0], c + sd * w + [0, 0, z0], c + sd * w + [0, 0, z0 + 2 * h], c - sd * w + [0, 0, z0 + 2 * h]]
        )
        tt = phototex(rng) if rng.random() < 0.7 else randtex(rng)
        k = 1 if rng.random() < 0.6 else rng.uniform(1, 4)
        objs["wall"] = mesh("wall", q, QUADF, diffuse(tex(tt)), UV=CW([[0, 1], [1, 1], [1, 0], [0, 0]]) * k)
    # clutter: leafy plants (never targets), boxes, balls
    nc = int(rng.choice([0, 0, 1, 2, 4, 7]))
    fr = math.tan(math.radians(fovl) / 2) * cam.dist
    for k in range(nc):
        R = rng.uniform(0.3, 1.4) * D
        a = az + math.pi + rng.normal(0, 1.0) if rng.random() < 0.8 else rng.uniform(0, 6.28)
        d = rad + R * 0.7 + rng.exponential(70)
        pos = CW([math.cos(a) * d, math.sin(a) * d, (fz if rng.random() < 0.5 else 0) + rng.uniform(-0.3, 0.3) * R])
        if rng.random() < 0.72:
            V, F, vc = foliage(rng, pos, R)
            objs[f"fol{k}"] = mesh(f"fol{k}", V, F, principled(VC, rng.uniform(0.3, 0.8), 0.4), colr=vc)
        elif rng.random() < 0.5:
            v, fx = box(
                pos[0],
                pos[1],
                fz,
                fz + R * rng.uniform(0.3, 2),
                R * rng.uniform(0.3, 1.5),
                R * rng.uniform(0.3, 1.5),
                rng.uniform(0, 3),
            )
            objs[f"fol{k}"] = mesh(
                f"fol{k}", v, fx, principled(rng.uniform(0.02, 0.8, 3), rng.uniform(0.2, 0.9), 0.4), face_normals=True
            )
        else:
            V, F = loft([(R * 0.3, fz), (R * 0.5, fz + R * 0.6), (R * 0.45, fz + R)], float(rng.choice([2, 10])), 48)
            objs[f"fol{k}"] = mesh(
                f"fol{k}", V + [pos[0], pos[1], 0], F, principled(rng.uniform(0.02, 0.8, 3), rng.uniform(0.2, 0.9), 0.4)
            )
    # cards with codes, rules and patches: never plant
    for k in range(int(rng.choice([0, 0, 1, 1, 2]))):
        n = int(rng.integers(9, 33))
        kx = max(3, 200 // n)
        im = np.full((340, 540), rng.uniform(0.6, 0.88), np.float32)
        q = np.kron((rng.random((n, n)) < 0.5), np.ones((kx, kx)))[:300, :300]
        im[20 : 20 + q.shape[0], 20 : 20 + q.shape[1]] = np.where(q > 0, 0.03, 0.84)
        for j in range(6):
            im[120:190, 250 + j * 45 : 290 + j * 45] = 0.9 * 0.5**j
        for j in range(0, 270, 5):
            im[260 : 260 + (40 if j % 25 == 0 else 20), 250 + j : 252 + j] = 0.05
        for j in range(int(rng.integers(0, 40))):
            im[
                30 + 22 * (j // 12) : 44 + 22 * (j // 12), 250 + (j % 12) * 20 : 250 + (j % 12) * 20 + int(rng.integers(4, 16))
            ] = 0.06
        if rng.random() < 0.25:
            im = im[:: int(rng.integers(1, 3)) or 1, :260]
        a = rng.uniform(0, 6.28)
        dd = rad + rng.uniform(15, 70)
        al = rng.uniform(0, 6.28)
        z = (fz + 0.8) if rng.random() < 0.6 else 1.5
        v = CW([[-43, -27, 0], [43, -27, 0], [43, 27, 0], [-43, 27, 0]], float) * rng.uniform(0.6, 1.2)
        v[:, 2] += v[:, 1] * (rng.uniform(-0.1, 0.1) if rng.random() < 0.7 else rng.uniform(0.2, 2))
        c_, s_ = math.cos(al), math.sin(al)
        v = np.stack([v[:, 0] * c_ - v[:, 1] * s_, v[:, 0] * s_ + v[:, 1] * c_, v[:, 2] - v[:, 2].min()], -1) + [
            math.cos(a) * dd,
            math.sin(a) * dd,
            z,
        ]
        col = np.ones(3) if rng.random() < 0.7 else rng.uniform(0.3, 1, 3)
        objs[f"card{k}"] = mesh(
            f"card{k}",
            v,
            QUADF,
            diffuse(tex(np.clip(im[..., None] * col, 0.01, 0.9))),
            UV=CW([[0, 1], [1, 1], [1, 0], [0, 0]], float),
            face_normals=True,
        )
    # a hand holding the pot
    if kind == "single" and rng.random() < 0.18:
        sk = CW(
            [[0.55, 0.33, 0.24], [0.42, 0.24, 0.16], [0.25, 0.13, 0.08], [0.12, 0.065, 0.042]][int(rng.integers(0, 4))]
        ) * rng.uniform(0.8, 1.2)
        a0 = rng.uniform(0, 6.28)
        parts = []
        zt = rng.uniform(-0.9, -0.1) * abs(fz)
        for i in range(4):
            a1, a2 = a0 + rng.uniform(0.1, 0.5), a0 + rng.uniform(1.3, 1.9)
            z = zt - i * 17
            pA = CW([math.cos(a1) * (prr + 10), math.sin(a1) * (prr + 10), z])
            pB = CW([math.cos((a1 + a2) / 2) * (prr + 10) * 1.1, math.sin((a1 + a2) / 2) * (prr + 10) * 1.1, z])
            pC = CW([math.cos(a2) * (prr + 9), math.sin(a2) * (prr + 9), z + rng.normal(0, 4)])
            parts += [tube(pA, pB, 9, 8.5), tube(pB, pC, 8.5, 7)]
        parts.append(
            tube(
                [math.cos(a0 - 0.6) * (prr + 12), math.sin(a0 - 0.6) * (prr + 12), zt - 25],
                [math.cos(a0 + 0.1) * (prr + 6), math.sin(a0 + 0.1) * (prr + 6), zt + 12],
                13,
                9,
            )
        )
        w0 = CW([math.cos(a0) * (prr + 25), math.sin(a0) * (prr + 25), zt - 30])
        parts += [tube(w0 + [0, 0, 25], w0 * 2.2 + [0, 0, -80], 38, 30)]
        V, F = merge(parts)
        objs["hand"] = mesh("hand", V, F, principled(sk, 0.5, 0.4))
        support.append("hand")
    emit, info = make_lights(rng, light, E)
    return objs, plants, support, emit, cam, rng, E, dict(kind=kind, light=light, tilt=tilt)


def one(seed, out):
    t0 = time.time()
    objs, plants, support, emit, cam, rng, E, meta = build(seed)
    t1 = time.time()
    integ = {"type": "path", "max_depth": 5, "rr_depth": 4}
    white = white_level(emit, integ, 0) if False else np.ones(3)
    d = {"type": "scene"}
    d.update(objs)
    d.update(emit)
    scene = mi.load_dict(d)
    S = SIZE
    tgt = CW([plants[0]["x"], plants[0]["y"], plants[0]["b"]["height"] * 0.5])
    fd = float((tgt - cam.o) @ cam.d) * (1 + rng.normal(0, 0.02))
    ap = float(rng.choice([0.4, 1.0, 2.5, 5.0], p=[0.35, 0.3, 0.2, 0.15]) * rng.uniform(0.6, 1.4)) * cam.dist / 400
    sen = mi.load_dict(sensor_dict(cam, ap, fd, None, SPP))
    hdr = np.array(mi.render(scene, sensor=sen, integrator=mi.load_dict(integ), spp=SPP, seed=seed))[..., :3]
    hdr = np.ascontiguousarray(np.nan_to_num(hdr, nan=0, posinf=0, neginf=0), dtype=np.float32)
    pin = sensor_dict(cam, 1e-4, fd, None, 1)
    a = np.array(
        mi.render(
            scene,
            sensor=mi.load_dict(pin),
            integrator=mi.load_dict({"type": "aov", "aovs": "si:shape_index,uv:uv"}),
            spp=1,
            seed=seed,
        )
    )
    idx = a[..., -3]
    U = a[..., -2]
    Vv = a[..., -1]
    ids = [s.id() for s in scene.shapes()]
    code = np.zeros((S, S), np.uint8)
    Ii = np.round(idx).astype(int)
    if os.environ.get("DBG"):
        print(a.shape, ids[:6], np.unique(Ii)[:10], len(ids))
    for i, nm in enumerate(ids):
        m = Ii == i + IDX0
        if not m.any():
            continue
        if nm.startswith("plant"):
            k = int(nm[5:])
            b = plants[k - 1]["b"]
            ch, cw = b["cls"].shape
            c = b["cls"][np.clip((Vv[m] * ch).astype(int), 0, ch - 1), np.clip((U[m] * cw).astype(int), 0, cw - 1)]
            code[m] = min(k, 30) * 8 + c
        elif nm in support:
            code[m] = 1
    # exposure from the picture itself (auto exposure), then phone development
    hdr = despeckle(hdr, np.full(3, np.percentile(hdr, 97)))
    if os.environ.get("OIDN"):
        import pyoidn

        hdr = np.array(pyoidn.denoise(hdr, hdr=True))
    lum = hdr @ [0.21, 0.72, 0.07]
    pm = code >= 8
    key = np.median(lum[pm]) if pm.sum() > 200 and rng.random() < 0.5 else np.exp(np.log(lum + 1e-3).mean())
    wl = np.full(3, key / rng.uniform(0.10, 0.30))
    hdr = cv2.GaussianBlur(hdr, (0, 0), 0.5)
    dm = {}
    img = develop(hdr, wl, rng, E, dm, float(np.clip(rng.normal(0, 0.4), -1.2, 1.0)))
    if rng.random() < 0.7:
        img = cv2.fastNlMeansDenoisingColored(img, None, float(rng.uniform(2, 6)), float(rng.uniform(3, 8)), 3, 9)
    cv2.imwrite(f"{out}/{seed:06d}.jpg", img[..., ::-1], [1, 92])
    cv2.imwrite(f"{out}/{seed:06d}.png", code)
    open(f"{out}/{seed:06d}.txt.tmp", "w").write(" ".join(map(str, dm["residual_cast_rgb"])))
    os.rename(f"{out}/{seed:06d}.txt.tmp", f"{out}/{seed:06d}.txt")
    return t1 - t0, time.time() - t1, meta


if __name__ == "__main__":
    ap = argparse.ArgumentParser()
    ap.add_argument("out")
    ap.add_argument("s0", type=int)
    ap.add_argument("s1", type=int)
    ap.add_argument("proc", type=int)
    ap.add_argument("nproc", type=int)
    ap.add_argument("--size", type=int, default=512)
    ap.add_argument("--spp", type=int, default=14)
    ap.add_argument("--bg", default="")
    ap.add_argument("--until", type=float, default=1e18)
    A = ap.parse_args()
    SIZE, SPP, IDX0 = A.size, A.spp, int(os.environ.get("IDX0", 1))
    os.makedirs(A.out, exist_ok=True)
    if A.bg:
        BG[:] = sorted(glob.glob(A.bg + "/*.jpg"))
    for s in range(A.s0 + A.proc, A.s1, A.nproc):
        if time.time() > A.until:
            break
        try:
            r = one(s, A.out)
            print(s, "build %.1f render %.1f" % r[:2], r[2], flush=True)
        except Exception as e:
            print(s, "ERR", repr(e)[:200], flush=True)
            if os.environ.get("DBG"):
                traceback.print_exc()
