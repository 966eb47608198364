"""Pieces of both generators; Mitsuba's scalar variant unless another one was set before."""

import math
import os
import time
import json
import numpy as np
import cv2
import mitsuba as mi

if mi.variant() is None:
    mi.set_variant("scalar_rgb")
import colour as C
import plant as PL

T4 = mi.ScalarTransform4f
VC = {"type": "mesh_attribute", "name": "vertex_color"}
PATTERNS = ["none", "white_stripes", "striation", "gold_stripes", "sectorial", "gold_centre", "albino", "pale"]
LIGHTS = ["overcast", "sun", "window", "tungsten", "shade", "led"]


def mesh(name, V, F, bsdf, N=None, UV=None, colr=None, face_normals=False):
    props = mi.Properties()
    props["bsdf"] = mi.load_dict(bsdf) if isinstance(bsdf, dict) else bsdf
    if face_normals:
        props["face_normals"] = True
    m = mi.Mesh(name, len(V), len(F), has_vertex_normals=N is not None, has_vertex_texcoords=UV is not None, props=props)
    if colr is not None:
        m.add_attribute("vertex_color", 3, np.ascontiguousarray(colr, np.float32).ravel())
    p = mi.traverse(m)
    p["vertex_positions"] = np.ascontiguousarray(V, np.float32).ravel()
    p["faces"] = np.ascontiguousarray(F, np.uint32).ravel()
    if N is not None:
        p["vertex_normals"] = np.ascontiguousarray(N, np.float32).ravel()
    if UV is not None:
        p["vertex_texcoords"] = np.ascontiguousarray(UV, np.float32).ravel()
    p.update()
    return m


def tex(a, filt="bilinear"):
    a = np.ascontiguousarray(a, np.float32)
    if a.ndim == 2:
        a = a[..., None]
    return {"type": "bitmap", "bitmap": mi.Bitmap(a), "raw": True, "filter_type": filt}


def principled(base, rough=0.5, spec=0.5):
    b = base if isinstance(base, dict) else {"type": "rgb", "value": [float(x) for x in base]}
    r = rough if isinstance(rough, dict) else float(rough)
    return {"type": "twosided", "b": {"type": "principled", "base_color": b, "roughness": r, "specular": spec}}


def diffuse(base):
    b = base if isinstance(base, dict) else {"type": "rgb", "value": [float(x) for x in base]}
    return {"type": "twosided", "b": {"type": "diffuse", "reflectance": b}}


def loft(profile, power, na=96):
    """profile: list of (half_size, z); power=2 round, 10 square -> closed surface of revolution-like mesh"""
    a = np.linspace(0, 2 * np.pi, na, endpoint=False)
    k = 1 / (np.abs(np.cos(a)) ** power + np.abs(np.sin(a)) ** power) ** (1 / power)
    pr = np.array(profile)
    V = np.stack([pr[:, :1] * (k * np.cos(a))[None], pr[:, :1] * (k * np.sin(a))[None], np.repeat(pr[:, 1:2], na, 1)], -1)
    n = len(pr)
    idx = np.arange(n * na).reshape(n, na)
    j = np.roll(idx, -1, 1)
    F = np.concatenate(
        [np.stack([idx[:-1], j[:-1], j[1:]], -1).reshape(-1, 3), np.stack([idx[:-1], j[1:], idx[1:]], -1).reshape(-1, 3)]
    )
    return V.reshape(-1, 3), F


def box(cx, cy, z0, z1, w, h, ang=0.0):
    x, y = w / 2, h / 2
    v = np.array([[-x, -y, z0], [x, -y, z0], [x, y, z0], [-x, y, z0], [-x, -y, z1], [x, -y, z1], [x, y, z1], [-x, y, z1]])
    c, s = math.cos(ang), math.sin(ang)
    v[:, :2] = v[:, :2] @ np.array([[c, s], [-s, c]]) + [cx, cy]
    f = np.array(
        [
            [0, 2, 1],
            [0, 3, 2],
            [4, 5, 6],
            [4, 6, 7],
            [0, 1, 5],
            [0, 5, 4],
            [1, 2, 6],
            [1, 6, 5],
            [2, 3, 7],
            [2, 7, 6],
            [3, 0, 4],
            [3, 4, 7],
        ]
    )
    return v, f


def grains(rng, region, bounds, base_z, kind, objs, hole=None, density=1.0):
    """region(x,y)->bool; scatters potting mix / gravel over bounds=(x0,x1,y0,y1)"""
    x0, x1, y0, y1 = bounds
    A = (x1 - x0) * (y1 - y0)

    def pts(nper_mm2, zlo, zhi, cap=60000):
        n = int(min(cap, A * nper_mm2 * density))
        p = np.stack([rng.uniform(x0, x1, n), rng.uniform(y0, y1, n), base_z + rng.uniform(zlo, zhi, n)], -1)
        ok = region(p[:, 0], p[:, 1])
        if hole is not None:
            ok &= ~hole(p[:, 0], p[:, 1])
        return p[ok]

    def add(nm, P_, S_, c_, sub, amp, flat, bs=None):
        if len(P_) == 0:
            return
        V, F, cc = PL.scatter(rng, P_, S_, c_, sub, amp, flat)
        objs[nm] = mesh(nm, V, F, bs or diffuse(VC), colr=cc, face_normals=True)

    if kind == "mix":
        p = pts(0.17, -1.2, 0.5)
        n = len(p)
        br = (
            rng.uniform(0.5, 1.6, (n, 1))
            * np.array([[0.050, 0.031, 0.020]])
            * np.where(rng.random((n, 1)) < 0.2, np.array([[1.9, 1.7, 1.5]]), 1)
        )
        add("soil", p, rng.lognormal(math.log(1.35), 0.38, n).clip(0.5, 3.2), br, 1, 0.07, 0.8)
        p = pts(0.02, -0.4, 0.8)
        n = len(p)
        add("bark", p, rng.uniform(1.2, 3.4, n), rng.uniform(0.6, 1.5, (n, 1)) * np.array([[0.10, 0.052, 0.028]]), 1, 0.05, 0.35)
        pf = rng.uniform(0.008, 0.035)
        p = pts(pf, -0.6, 0.9)
        n = len(p)
        add(
            "perlite",
            p,
            rng.lognormal(math.log(1.25), 0.3, n).clip(0.6, 2.6),
            rng.uniform(0.62, 0.86, (n, 1)) * np.array([[1, 0.985, 0.95]]),
            2,
            0.05,
            0.9,
        )
    else:
        tint = {"gravel_grey": [0.26, 0.26, 0.25], "gravel_pink": [0.42, 0.29, 0.24], "gravel_white": [0.55, 0.54, 0.5]}[kind]
        p = pts(0.15 if base_z == 0 else 0.085, -1.6, 0.7)
        n = len(p)
        c = (
            np.array([tint])
            * rng.uniform(0.55, 1.35, (n, 1))
            * (1 + 0.03 * rng.standard_normal((n, 3)))
            * (1 + rng.normal(0, 0.07, (n, 1)) * np.array([[1, 0.2, -1]]))
        )
        add(
            "gravel",
            p,
            rng.lognormal(math.log(2.0), 0.3, n).clip(0.8, 4.0),
            c.clip(0.02, 0.85),
            2,
            0.03,
            0.7,
            principled(VC, 0.6, 0.3),
        )


def rot_z(V, N, a, tilt=0.0, tdir=0.0):
    c, s = math.cos(a), math.sin(a)
    R = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    k = np.array([math.cos(tdir), math.sin(tdir), 0])
    K = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    R = (np.eye(3) + math.sin(tilt) * K + (1 - math.cos(tilt)) * K @ K) @ R
    return V @ R.T, N @ R.T


class Camera:
    def __init__(s, ctr, vdir, up0, roll, f, W, H):
        s.ctr, s.v, s.f, s.W, s.H = np.array(ctr), vdir, f, W, H
        d = -vdir
        left = np.cross(up0, d)
        left /= np.linalg.norm(left)
        up = np.cross(d, left)
        c, sn = math.cos(roll), math.sin(roll)
        s.left, s.up, s.d = c * left + sn * up, -sn * left + c * up, d

    def project(s, P):
        q = np.atleast_2d(P) - s.o
        x, y, z = q @ s.left, q @ s.up, q @ s.d
        return np.stack([s.W / 2 - s.f * x / z, s.H / 2 - s.f * y / z], -1)

    def fit(s, pts, margin):
        lo, hi = 50, 4000
        for _ in range(3):
            lo, hi = 50, 4000
            for _ in range(40):
                m = (lo + hi) / 2
                s.o = s.ctr + s.v * m
                z = (pts - s.o) @ s.d
                ok = z.min() > 20
                if ok:
                    p = s.project(pts)
                    ok = (np.abs(p[:, 0] - s.W / 2).max() * margin < s.W / 2) and (
                        np.abs(p[:, 1] - s.H / 2).max() * margin < s.H / 2
                    )
                lo, hi = (lo, m) if ok else (m, hi)
            s.dist = hi
            s.o = s.ctr + s.v * hi
            p = s.project(pts)
            off = (p.max(0) + p.min(0)) / 2 - [s.W / 2, s.H / 2]
            k = hi / s.f
            s.ctr = s.ctr - s.left * off[0] * k - s.up * off[1] * k
        s.o = s.ctr + s.v * s.dist


def make_lights(rng, light, E):
    """lights are tinted relative to the reference illuminant E (=1,1,1)"""
    H, W = 128, 256
    th = (np.arange(H) + 0.5) / H * np.pi  # 0 = up
    ph = (np.arange(W) + 0.5) / W * 2 * np.pi
    el = np.pi / 2 - th
    sky = np.zeros((H, W, 3), np.float32)
    upm = (el > 0)[:, None, None]
    grad = (0.55 + 0.45 * np.clip(np.sin(el), 0, 1))[:, None, None]
    n = PL.smooth_noise(rng, H, W, 10, 14)[..., None]
    emit, info = {}, dict(kind=light)
    clouds = 1 + 0.25 * n
    wdir = rng.uniform(0, 6.28)
    side = (1 + 0.7 * np.cos(ph - wdir))[None, :, None]
    if light == "overcast":
        sky = np.where(upm, 1.0 * grad * clouds * (0.6 + 0.4 * side), 0.12) * np.ones(3)
    elif light == "shade":
        sky = np.where(upm, 0.6 * grad * (0.35 + 0.65 * side) * clouds, 0.10) * np.ones(3)
    elif light == "sun":
        sb = np.array([0.66, 0.88, 1.28])  # blue sky relative to sunlight
        sky = np.where(upm, 0.16 * grad * (1 + 0.2 * n) * sb, 0.05 * np.array([1, 0.95, 0.85]))
        e = math.radians(rng.uniform(28, 68))
        a = rng.uniform(0, 6.28)
        dvec = np.array([math.cos(e) * math.cos(a), math.cos(e) * math.sin(a), math.sin(e)])
        dist, half = 6000.0, math.radians(0.27)
        r = dist * math.tan(half)
        rad = 2.2 / (math.pi * math.sin(half) ** 2)
        emit["sun"] = {
            "type": "sphere",
            "center": [float(x) for x in dvec * dist],
            "radius": float(r),
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [rad, rad, rad * 0.98]}},
        }
        info.update(sun_elev_deg=round(math.degrees(e), 1), sun_az_deg=round(math.degrees(a), 1))
    else:
        amb = {"window": 0.05, "tungsten": 0.035, "led": 0.05}[light]
        sky = np.where(upm, amb, amb * 0.5) * (1 + 0.15 * n) * np.ones(3)

        def panel(nm, a, elev, dist, w, h, L):
            dvec = np.array([math.cos(elev) * math.cos(a), math.cos(elev) * math.sin(a), math.sin(elev)])
            tr = T4().look_at(
                origin=[float(x) for x in dvec * dist], target=[0, 0, 0], up=[0, 0, 1] if elev < 1.4 else [0, 1, 0]
            ) @ T4().scale([w / 2, h / 2, 1])
            emit[nm] = {
                "type": "rectangle",
                "to_world": tr,
                "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(L)] * 3}},
            }

        if light == "window":
            panel("win", wdir, math.radians(rng.uniform(25, 50)), 1300, 900, 1100, 2.5)
        elif light == "led":
            panel("led1", wdir, math.radians(rng.uniform(60, 85)), 700, 500, 120, 6)
        else:
            e = math.radians(rng.uniform(40, 75))
            dvec = np.array([math.cos(e) * math.cos(wdir), math.cos(e) * math.sin(wdir), math.sin(e)]) * 750
            emit["lamp"] = {
                "type": "sphere",
                "center": [float(x) for x in dvec],
                "radius": 45.0,
                "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [70.0] * 3}},
            }
    sky = np.maximum(sky, 0.002).astype(np.float32)
    emit["env"] = {"type": "envmap", "bitmap": mi.Bitmap(np.ascontiguousarray(sky)), "to_world": T4().rotate([1, 0, 0], 90)}
    return emit, info


def sensor_dict(cam, aperture, focus_d, crop=None, spp=16):
    film = {"type": "hdrfilm", "width": cam.W, "height": cam.H, "pixel_format": "rgb", "rfilter": {"type": "box"}}
    if crop:
        film.update(crop_offset_x=crop[0], crop_offset_y=crop[1], crop_width=crop[2], crop_height=crop[3])
    return {
        "type": "thinlens",
        "fov": math.degrees(2 * math.atan(cam.W / 2 / cam.f)),
        "fov_axis": "x",
        "aperture_radius": float(aperture),
        "focus_distance": float(focus_d),
        "near_clip": 5.0,
        "far_clip": 20000.0,
        "to_world": T4().look_at(
            origin=[float(v) for v in cam.o], target=[float(v) for v in cam.o + cam.d * 100], up=[float(v) for v in cam.up]
        ),
        "film": film,
        "sampler": {"type": "independent", "sample_count": spp},
    }


def white_level(emit, integ, z):
    """radiance of a perfect horizontal diffuser under the same lights (no plant)"""
    d = {
        "type": "scene",
        "integrator": integ,
        "p": {
            "type": "rectangle",
            "to_world": T4().translate([0, 0, float(z)]) @ T4().scale(5),
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": [1.0, 1.0, 1.0]}},
        },
        "s": {
            "type": "perspective",
            "fov": 1.0,
            "to_world": T4().look_at([0, 0, float(z) + 200], [0, 0, float(z)], [0, 1, 0]),
            "film": {"type": "hdrfilm", "width": 16, "height": 16, "pixel_format": "rgb", "rfilter": {"type": "box"}},
        },
    }
    d.update(emit)
    return np.array(mi.render(mi.load_dict(d), spp=512, seed=3)).reshape(-1, 3).mean(0)


def develop(hdr, white, rng, E, meta, ev=None):
    """linear radiance -> 8-bit sRGB as a phone would: exposure, partial white balance, noise, tone, sharpening"""
    if ev is None:
        ev = float(np.clip(rng.normal(0.0, 0.5), -1.5, 1.0))
    gain = 0.80 / white[1] * 2**ev
    wE = C.white_rgb(E)
    wE = wE / wE[1]
    pwb = float(rng.uniform(0.72, 1.0))
    cast = np.clip(wE, 0.05, 5) ** (1 - pwb) * np.exp(rng.normal(0, 0.035, 3))
    cast /= cast[1]
    x = hdr * gain * cast[None, None]
    H, W = x.shape[:2]
    yy, xx = np.mgrid[0:H, 0:W]
    r2 = ((xx - W / 2) ** 2 + (yy - H / 2) ** 2) / ((W / 2) ** 2 + (H / 2) ** 2)
    vig = float(rng.uniform(0.0, 0.14))
    x = x * (1 - vig * r2)[..., None]
    fw = float(rng.choice([9000, 4000, 2000, 1200]))  # electrons at full scale
    x = np.maximum(x, 0)
    x = x + rng.standard_normal(x.shape, dtype=np.float32) * np.sqrt(x / fw + (2.5 / fw) ** 2).astype(np.float32)
    tone = "srgb" if rng.random() < 0.7 else "scurve"
    y = C.srgb_encode(np.clip(x, 0, 1)).astype(np.float32)
    if tone == "scurve":
        y = np.clip(y, 0, 1)
        y = y * 0.55 + 0.45 * (y * y * (3 - 2 * y))
        g = y.mean(-1, keepdims=True)
        y = np.clip(g + (y - g) * 1.10, 0, 1)
    sh = float(rng.uniform(0.1, 0.5))
    y = np.clip(y + sh * (y - cv2.GaussianBlur(y, (0, 0), 1.2)), 0, 1)
    meta.update(
        exposure_ev=round(ev, 3),
        wb_adaptation=round(pwb, 3),
        residual_cast_rgb=[round(float(c), 4) for c in cast],
        radiometric_gain=float(gain),
        white_level_rgb=[float(v) for v in white],
        vignetting=round(vig, 3),
        full_well_e=fw,
        tone=tone,
        sharpen=round(sh, 2),
    )
    return (y * 255 + 0.5).astype(np.uint8)


def despeckle(hdr, white):
    """clamp fireflies: pixels far above the local median"""
    med = cv2.medianBlur(hdr, 3)
    lim = np.maximum(med * 3, 0.25 * white.max())
    return np.where((hdr > lim).any(-1, keepdims=True) & (hdr.max(-1, keepdims=True) > 2.5 * white.max()), med, hdr)
