#!/usr/bin/env python3
"""Large rendered scenes with label cards: NAME.jpg, NAME.class.png (tissue), NAME.inst.png (plant), NAME.json (truth)."""

import argparse
import io
import json
import math
import os
import sys
import time

if "DRJIT_LIBLLVM_PATH" not in os.environ:
    for p in ("/usr/lib/x86_64-linux-gnu/libLLVM.so.19.1", "/usr/lib/x86_64-linux-gnu/libLLVM-19.so"):
        if os.path.exists(p):
            os.environ["DRJIT_LIBLLVM_PATH"] = p
            break
import numpy as np
import cv2
import segno
import piexif
import pyoidn
from PIL import Image, ImageDraw, ImageFont
import mitsuba as mi

mi.set_variant("llvm_ad_rgb")
import drjit as dr
from base import *

if os.environ.get("GEN_THREADS"):
    dr.set_thread_count(int(os.environ["GEN_THREADS"]))
if os.environ.get("DRLOG"):
    dr.set_log_level(dr.LogLevel.Info)
import colour as C
import plant as PL

HERE = os.path.dirname(os.path.abspath(__file__))
PALETTE = [0, 0, 0, 40, 140, 40, 235, 230, 200, 230, 180, 40, 200, 40, 60, 255, 255, 255, 110, 70, 30]
CARD_W, CARD_H, PATCHES = 85.6, 54.0, [0.90, 0.59, 0.36, 0.20, 0.09, 0.03]


# ----------------------------------------------------------------------------- the card
def card_texture(payload, ppmm=20):
    W, H = int(round(CARD_W * ppmm)), int(round(CARD_H * ppmm))
    im = np.full((H, W), 0.84, np.float32)
    qr = segno.make(payload, error="m", micro=False)
    mat = np.array([list(r) for r in qr.matrix], np.uint8)
    nmod = mat.shape[0]
    mod = {21: 1.2, 25: 1.0}.get(nmod, 0.9)
    qx, qy = 5.0, 5.0  # top-left corner of QR symbol, mm from card top-left
    k = int(round(mod * ppmm))
    q = np.kron(mat, np.ones((k, k), np.uint8))
    im[int(qy * ppmm) : int(qy * ppmm) + q.shape[0], int(qx * ppmm) : int(qx * ppmm) + q.shape[1]] = np.where(q > 0, 0.035, 0.84)
    px, py, pw, ph = 36.0, 20.0, 7.4, 10.0
    patches = []
    for i, r in enumerate(PATCHES):
        x0 = px + i * (pw + 0.4)
        im[int(py * ppmm) : int((py + ph) * ppmm), int(x0 * ppmm) : int((x0 + pw) * ppmm)] = r
        patches.append(dict(reflectance=r, x_mm=round(x0, 3), y_mm=py, w_mm=pw, h_mm=ph))
    # text + rule through PIL
    u8 = Image.fromarray((im * 255).astype(np.uint8))
    d = ImageDraw.Draw(u8)

    def f(mm):
        return ImageFont.truetype("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf", int(mm * ppmm))

    d.text((36 * ppmm, 5 * ppmm), payload.split(":")[-1], fill=9, font=f(7))
    d.text((36 * ppmm, 14 * ppmm), "Haworthia", fill=40, font=f(3))
    rx, ry = 17.0, 40.0
    L = 9
    d.rectangle([rx * ppmm - 1, ry * ppmm, (rx + 50) * ppmm + 1, ry * ppmm + 2], fill=L)
    for m in range(51):
        h = 5.5 if m % 10 == 0 else 4.2 if m % 5 == 0 else 2.8
        d.rectangle([(rx + m) * ppmm - 1, ry * ppmm, (rx + m) * ppmm + 1, (ry + h) * ppmm], fill=L)
        if m % 10 == 0:
            d.text(((rx + m - 1.2) * ppmm, (ry + 6) * ppmm), str(m), fill=L, font=f(2.6))
    t = np.asarray(u8, np.float32) / 255
    im2 = np.where(np.abs(t - im) > 0.006, t, im)
    info = dict(
        payload=payload,
        qr_version=qr.version,
        qr_error="M",
        qr_modules=nmod,
        qr_module_mm=mod,
        qr_x_mm=qx,
        qr_y_mm=qy,
        qr_size_mm=nmod * mod,
        card_white_reflectance=0.84,
        ink_reflectance=0.035,
        patches=patches,
        rule=dict(x_mm=rx, y_mm=ry, length_mm=50, tick_mm=1),
    )
    return im2, info


def card_quad(cx, cy, z, ang, tiltx, tilty):
    """4 corners TL,TR,BR,BL in world mm; +y of the card up"""
    w, h = CARD_W / 2, CARD_H / 2
    l = np.array([[-w, h, 0], [w, h, 0], [w, -h, 0], [-w, -h, 0]])
    c, s = math.cos(ang), math.sin(ang)
    R = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    Rx = np.array([[1, 0, 0], [0, math.cos(tiltx), -math.sin(tiltx)], [0, math.sin(tiltx), math.cos(tiltx)]])
    Ry = np.array([[math.cos(tilty), 0, math.sin(tilty)], [0, 1, 0], [-math.sin(tilty), 0, math.cos(tilty)]])
    M = R @ Rx @ Ry
    return l @ M.T + [cx, cy, z], M


# ----------------------------------------------------------------------------- parameters
def plant_params(rng, o):
    form = o.get("form") or rng.choice(["standard", "wide", "extra_wide"], p=[0.45, 0.3, 0.25])
    (w0, w1), (p0, p1) = PL.FORMS[form]
    w, p = rng.uniform(w0, w1), rng.uniform(p0, p1)
    p = min(max(p, w * (1.8 if form == "extra_wide" else 2.0)), 6.0)
    pat = o.get("pattern") or rng.choice(PATTERNS, p=[0.2, 0.16, 0.14, 0.14, 0.1, 0.1, 0.08, 0.08])
    D = o.get("diameter") or rng.uniform(50, 90)
    n = o.get("n") or int(rng.integers(18, 31) if D > 45 else rng.integers(10, 20))
    N = rng.uniform(1.9, 2.8)
    cab, car = rng.uniform(42, 70), rng.uniform(8, 14)
    gcab, gcar = rng.uniform(1.2, 6), rng.uniform(4, 10)
    if pat == "pale":
        gcab, gcar = rng.uniform(1.5, 4.5), rng.uniform(4, 6.5)
    cc, ccr, cN = rng.uniform(0.1, 0.9), rng.uniform(0.2, 1.4), rng.uniform(2.8, 3.8)
    ant, antc = rng.uniform(14, 25), rng.uniform(8, 18)
    pig = dict(
        green=dict(N=N, Cab=cab, Car=car, Ant=0.3),
        gold=dict(N=2.4, Cab=gcab, Car=gcar, Ant=0),
        cream=dict(N=cN, Cab=cc, Car=ccr, Ant=0),
        red_green=dict(N=N, Cab=cab * 0.22, Car=car * 0.6, Ant=ant),
        red_cream=dict(N=cN, Cab=cc, Car=ccr, Ant=antc),
        red_gold=dict(N=2.4, Cab=gcab, Car=gcar, Ant=antc),
    )
    back = dict(green=0.10, gold=0.22, cream=0.24, red_green=0.10, red_cream=0.2, red_gold=0.2)
    spectra = {
        k: C.prospect(v["N"], v["Cab"], v["Car"], v["Ant"], backing=back[k]) * (0.80 if "green" in k else 0.9)
        for k, v in pig.items()
    }
    tb = rng.uniform(0.62, 0.80)
    spectra["tubercle"] = tb * (1 - 0.14 * (700 - C.WL).clip(0) / 300)
    spectra["dead"] = 0.05 + 0.22 * ((C.WL - 400) / 380) ** 1.6
    vf = {
        "none": 0,
        "white_stripes": rng.uniform(0.15, 0.55),
        "striation": rng.uniform(0.25, 0.65),
        "gold_stripes": rng.uniform(0.15, 0.55),
        "sectorial": rng.uniform(0.38, 0.55),
        "gold_centre": rng.uniform(0.3, 0.6),
        "albino": 1.0,
        "pale": rng.uniform(0.84, 0.96),
    }[pat]
    red = o.get("red")
    if red is None:
        red = 0 if rng.random() < 0.5 else float(rng.uniform(0.03, 0.35))
    dots = o.get("dots")
    if dots is None:
        dots = bool(form == "standard" and rng.random() < 0.5)
    return dict(
        diameter_mm=float(D),
        n_leaves=int(n),
        elev_outer=float(rng.uniform(14, 30)),
        elev_inner=float(rng.uniform(72, 84)),
        upcurve=float(rng.uniform(12, 34)),
        width_ratio=float(rng.uniform(0.25, 0.34)),
        thick_up=float(rng.uniform(0.10, 0.2)),
        thick_low=float(rng.uniform(0.55, 0.75)),
        concave=float(rng.uniform(0.02, 0.14)),
        stem_mm=float(D * rng.uniform(0.06, 0.11)),
        pattern=str(pat),
        var_frac=float(vf),
        band_form=str(form),
        dots=dots,
        band_width=float(w),
        band_pitch=float(p),
        band_height=float(rng.uniform(0.28, 0.42)),
        dead_prob=float(rng.choice([0, 0.15, 0.35])),
        red_frac=float(red),
        red_leaf_share=float(rng.choice([0.5, 0.8, 1.0])),
        red_style=str(rng.choice(["tips", "stripes", "both"])),
        red_sun_phi=float(rng.uniform(0, 6.28)),
        roughness=float(rng.uniform(0.30, 0.48)),
        pig=pig,
        spectra=spectra,
        striation_class=int(rng.choice([PL.CREAM, PL.CREAM, PL.GOLD])),
        sector_class=int(rng.choice([PL.GOLD, PL.CREAM])),
        albino_class=int(rng.choice([PL.GOLD, PL.CREAM])),
        tex_nu=o.get("tex_nu", 320),
        tex_mm=o.get("tex_mm", 0.075),
        mesh_mm=o.get("mesh_mm", 0.17),
        mesh_nc=o.get("mesh_nc", 88),
    )


def build_scene(seed, kind, o):
    """returns scene dict pieces + metadata.  o: overrides"""
    rng = np.random.default_rng([seed, 11])
    light = o.get("light") or LIGHTS[int(rng.integers(0, len(LIGHTS)))]
    if kind == "mix":
        kind = str(rng.choice(["single", "tray", "bed"], p=[0.55, 0.25, 0.20]))
    ill = {
        "overcast": "overcast6500",
        "sun": "sun5500",
        "window": "overcast6500",
        "tungsten": "tungsten2850",
        "shade": "shade8000",
        "led": str(rng.choice(["led4000", "led6000"])),
    }[light]
    E = C.illuminant(ill)
    objs, plants, deferred = {}, [], []
    # ---------------- plants and support
    specs = []  # (params, x, y, z, rot, pup?)
    pat = o.get("pattern")
    if kind in ("single", "bed", "series"):
        P = plant_params(np.random.default_rng([o.get("plant_seed", seed), 21]), dict(o))
        specs.append((P, 0, 0, 0.0, False))
        npup = o.get("pups", int(rng.choice([0, 0, 0, 1, 2])) if kind != "series" else 0)
        a0 = rng.uniform(0, 6.28)
        for k in range(npup):
            d = rng.uniform(24, 32)
            a = a0 + k * rng.uniform(1.2, 2.5)
            R = P["diameter_mm"] / 2 + d * 0.30
            P2 = plant_params(
                np.random.default_rng([seed, 31 + k]),
                dict(
                    diameter=d,
                    n=int(rng.integers(8, 14)),
                    pattern=P["pattern"] if rng.random() < 0.5 else str(rng.choice(PATTERNS)),
                    form="standard",
                    mesh_mm=0.16,
                    mesh_nc=56,
                    tex_nu=224,
                    red=P["red_frac"] * 0.5,
                ),
            )
            specs.append((P2, R * math.cos(a), R * math.sin(a), 0.0, True))
    else:
        n = o.get("n_plants", int(rng.integers(3, 9)))
        cols = 2 if n <= 4 else (3 if n <= 6 else 4)
        cell = rng.uniform(46, 56)
        rows = -(-n // cols)
        for k in range(n):
            d = rng.uniform(25, min(46, cell * 0.88))
            P = plant_params(
                np.random.default_rng([seed, 41 + k]),
                dict(
                    diameter=d,
                    n=int(rng.integers(9, 18)),
                    form=str(rng.choice(["standard", "wide"], p=[0.75, 0.25])),
                    mesh_mm=0.20,
                    mesh_nc=56,
                    tex_nu=224,
                    tex_mm=0.085,
                    pattern=pat,
                ),
            )
            specs.append(
                (
                    P,
                    (k % cols - (cols - 1) / 2) * cell + rng.normal(0, 2),
                    (k // cols - (rows - 1) / 2) * cell + rng.normal(0, 2),
                    0.0,
                    False,
                )
            )
    for k, (P, x, y, z, pup) in enumerate(specs):
        ps = [o.get("plant_seed", seed), 51 + k]
        b = PL.build_plant(np.random.default_rng(ps), P, E)
        r2 = np.random.default_rng([seed, 61 + k])
        V, N = rot_z(b["V"], b["N"], o.get("plant_rot", r2.uniform(0, 6.28)), abs(r2.normal(0, 0.05)), r2.uniform(0, 6.28))
        V = V + [x, y, z]
        objs[f"plant{k+1}"] = mesh(f"plant{k+1}", V, b["F"], principled(tex(b["col"]), tex(b["rough"]), 0.5), N=N, UV=b["UV"])
        plants.append(dict(P=P, b=b, pup=pup, x=x, y=y, z=z, V=V))
    Vall = np.concatenate([p["V"][::37] for p in plants])
    rad = max(math.hypot(p["x"], p["y"]) + p["b"]["rmax"] for p in plants)
    hx = np.abs(Vall[:, 0]).max()
    hy = np.abs(Vall[:, 1]).max()
    # ---------------- substrate, pot, backdrop
    sub = o.get("substrate") or str(
        rng.choice(["mix", "mix", "gravel_grey", "gravel_pink", "gravel_white"], p=[0.35, 0.2, 0.2, 0.15, 0.1])
    )
    card_on = o.get("card", bool(rng.random() < 0.70))
    has_card_at_top = True
    backdrop, pot = None, None
    cw = math.hypot(CARD_W, CARD_H) / 2
    ang = rng.uniform(-0.5, 0.5) + rng.choice([0, 0, 0, math.pi / 2, math.pi])
    dirn = rng.choice([0, math.pi / 2, math.pi, 3 * math.pi / 2]) + rng.normal(0, 0.25)
    rim, bench_z = 0, 0
    if kind == "bed":
        ext = rad + 150
        side = rad + 20 + rng.uniform(0, 8)
        cc = np.array([math.cos(dirn) * side, math.sin(dirn) * side])
        cz = 2.2
        lim = rad + 190
        objs["base"] = mesh(
            "base",
            np.array([[-9000, -9000, -2.5], [9000, -9000, -2.5], [9000, 9000, -2.5], [-9000, 9000, -2.5]]),
            np.array([[0, 1, 2], [0, 2, 3]]),
            diffuse([0.03, 0.022, 0.016] if sub == "mix" else [0.14, 0.13, 0.12]),
        )
        deferred.append((0.0, sub, ""))
        side_r = side
    else:
        rim = rng.uniform(4, 9)
        h = rng.uniform(58, 85) if kind != "tray" else rng.uniform(35, 55)
        bench_z = -h
        if kind == "tray":
            pot = str(rng.choice(["black_tray", "white_tray"]))
            hw_, hh_ = hx + 9, hy + 9
            sx, sy = hw_, hh_
            prof = [
                (0.93, -h),
                (1, rim),
                (1.035, rim),
                (1.035, rim - 3),
                (1.05, rim - 3),
                (1.05, rim + 0.8),
                (0.985, rim + 0.8),
                (0.97, -8),
            ]
            V, F = loft(prof, 14, 160)
            V[:, 0] *= sx
            V[:, 1] *= sy

            def inner(x, y):
                return (np.abs(x) < sx * 0.965) & (np.abs(y) < sy * 0.965)

            bnd = (-sx, sx, -sy, sy)
            prad = max(sx, sy) * 1.06
            pc = [0.012, 0.012, 0.013] if pot == "black_tray" else [0.72, 0.72, 0.70]
            objs["pot"] = mesh("pot", V, F, principled(pc, 0.35, 0.5), face_normals=True)
        else:
            pot = o.get("pot") or str(rng.choice(["black_square", "terracotta_round", "white_round"]))
            pr = max(rad * rng.uniform(0.68, 0.95), 26) if rng.random() < 0.8 else rad * 1.15
            pr = max(pr, max(math.hypot(p["x"], p["y"]) for p in plants) + 14)
            if kind == "series":
                pr = rad * 0.95
            power = 9 if pot == "black_square" else 2
            if pot == "terracotta_round":
                prof = [
                    (0.70 * pr, -h),
                    (0.93 * pr, rim - 16),
                    (1.0 * pr, rim - 16),
                    (1.04 * pr, rim),
                    (1.0 * pr, rim + 0.8),
                    (0.93 * pr, rim),
                    (0.88 * pr, -8),
                ]
                bs = principled(
                    tex(
                        np.clip(
                            np.array([0.42, 0.175, 0.095])[None, None]
                            * (1 + 0.10 * PL.smooth_noise(rng, 256, 256, 30, 30)[..., None]),
                            0.05,
                            0.8,
                        )
                    ),
                    0.85,
                    0.2,
                )
            elif pot == "white_round":
                prof = [
                    (0.74 * pr, -h),
                    (0.97 * pr, rim - 4),
                    (1.02 * pr, rim - 3.5),
                    (1.03 * pr, rim),
                    (0.985 * pr, rim + 0.5),
                    (0.95 * pr, rim - 1),
                    (0.9 * pr, -8),
                ]
                bs = principled([0.74, 0.74, 0.72], 0.3, 0.5)
            else:
                prof = [
                    (0.72 * pr, -h),
                    (0.97 * pr, rim - 5),
                    (1.02 * pr, rim - 5),
                    (1.035 * pr, rim),
                    (1.0 * pr, rim + 0.6),
                    (0.985 * pr, rim - 1),
                    (0.95 * pr, -8),
                ]
                bs = principled([0.013, 0.013, 0.014], 0.38, 0.5)
            V, F = loft(prof, power, 128)
            uvp = np.stack([np.arctan2(V[:, 1], V[:, 0]) / 6.2832 * 3, V[:, 2] / 60], -1)
            objs["pot"] = mesh("pot", V, F, bs, UV=uvp, face_normals=(power > 2))
            if power > 2:

                def inner(x, y):
                    return (np.abs(x) ** 9 + np.abs(y) ** 9) ** (1 / 9) < pr * 0.955

            else:

                def inner(x, y):
                    return np.hypot(x, y) < pr * 0.90

            bnd = (-pr, pr, -pr, pr)
            prad = pr * 1.06 * (1.0 if power == 2 else 1.2)
        soilV, soilF = loft(
            [(0.97 * (prad if kind != "tray" else 1), -2.2), (0.001, -2.2)],
            2 if kind != "tray" and pot != "black_square" else 14,
            64,
        )
        if kind == "tray":
            soilV[:, 0] *= sx
            soilV[:, 1] *= sy
        else:
            soilV[:, :2] *= (pr * 0.93 / (prad * 0.97)) if pot == "black_square" else (pr * 0.89 / (prad * 0.97))
        objs["soilbase"] = mesh("soilbase", soilV, soilF, diffuse([0.03, 0.022, 0.016] if sub == "mix" else [0.14, 0.13, 0.12]))
        grains(rng, inner, bnd, 0, sub, objs)
        side_r = max(prad, rad * 0.95) + rng.uniform(2, 10)
        # backdrop
        backdrop = o.get("backdrop") or str(rng.choice(["black", "grey", "blue", "white", "slats", "slats", "gravel"]))
        zb = bench_z
        big = 2600
        if backdrop == "slats":
            woodc = np.array([0.30, 0.20, 0.12]) if rng.random() < 0.6 else np.array([0.30, 0.29, 0.27])
            aw = rng.uniform(0, 3.14)
            pitch, bw = rng.uniform(52, 80), None
            bw = pitch - rng.uniform(6, 14)
            nb = 17
            tx = (
                np.ones((1024, 256), np.float32)
                + 0.12 * PL.smooth_noise(rng, 1024, 256, 8, 70)
                + 0.07 * PL.smooth_noise(rng, 1024, 256, 40, 200)
                + 0.05 * PL.smooth_noise(rng, 1024, 256, 200, 120)
            )
            wt = np.clip(woodc[None, None] * tx[..., None], 0.02, 0.8)
            VV, FF, UU = [], [], []
            for k in range(nb):
                v, f = box((k - nb // 2) * pitch, 0, zb - 20, zb, bw, 2200)
                uo = rng.random(2)
                UU.append(np.stack([v[:, 0] / bw * 0.9 + uo[0] + k * 0.13, v[:, 1] / 900 + uo[1]], -1))
                VV.append(v)
                FF.append(f + 8 * k)
            VV = np.concatenate(VV)
            VV, _ = rot_z(VV, VV, aw)
            objs["slats"] = mesh(
                "slats", VV, np.concatenate(FF), principled(tex(wt), 0.65, 0.25), UV=np.concatenate(UU), face_normals=True
            )
            objs["floor"] = mesh(
                "floor",
                np.array([[-big, -big, zb - 400], [big, -big, zb - 400], [big, big, zb - 400], [-big, big, zb - 400]]),
                np.array([[0, 1, 2], [0, 2, 3]]),
                diffuse([0.05, 0.05, 0.05]),
            )
        elif backdrop == "gravel":
            objs["floor"] = mesh(
                "floor",
                np.array([[-big, -big, zb - 2.5], [big, -big, zb - 2.5], [big, big, zb - 2.5], [-big, big, zb - 2.5]]),
                np.array([[0, 1, 2], [0, 2, 3]]),
                diffuse([0.16, 0.15, 0.14]),
            )
            deferred.append((zb, "gravel_grey", "bd_"))
        else:
            colr = {
                "black": [0.022, 0.022, 0.024],
                "grey": [0.19, 0.19, 0.19],
                "blue": [0.035, 0.085, 0.27],
                "white": [0.78, 0.78, 0.77],
            }[backdrop]
            ng = 220
            g = np.linspace(-big, big, ng)
            X, Y = np.meshgrid(g, g)
            Z = zb + np.minimum(0, 0) + 0.22 * PL.smooth_noise(rng, ng, ng, 14, 14) * (np.hypot(X, Y) > side_r * 0.5)
            V = np.stack([X, Y, Z - 0.8], -1).reshape(-1, 3)
            idx = np.arange(ng * ng).reshape(ng, ng)
            F = np.concatenate(
                [
                    np.stack([idx[:-1, :-1], idx[:-1, 1:], idx[1:, 1:]], -1).reshape(-1, 3),
                    np.stack([idx[:-1, :-1], idx[1:, 1:], idx[1:, :-1]], -1).reshape(-1, 3),
                ]
            )
            t = (
                1
                + 0.05 * PL.smooth_noise(rng, 1024, 1024, 300, 300)
                + 0.05 * PL.smooth_noise(rng, 1024, 1024, 9, 9)
                + 0.03 * PL.smooth_noise(rng, 1024, 1024, 1000, 40)
                + 0.03 * PL.smooth_noise(rng, 1024, 1024, 40, 1000)
            )
            uvb = np.stack([X / 260, Y / 260], -1).reshape(-1, 2)
            objs["sheet"] = mesh(
                "sheet", V, F, diffuse(tex(np.clip(np.array(colr)[None, None] * t[..., None], 0.004, 0.9))), UV=uvb
            )
        has_card_at_top = bool(rng.random() < 0.55)
        d2 = side_r + 30
        cc = np.array([math.cos(dirn) * d2, math.sin(dirn) * d2])
        cz = rim if has_card_at_top else bench_z + 1.2
    # ---------------- card / ruler / tag
    card = None
    pts = [Vall]
    if card_on:
        payload = f"VG1:ZB-{o.get('card_no', int(rng.integers(1, 9999))):04d}"
        tx, cinfo = card_texture(payload)
        if kind == "tray":  # card beside the tray on the nearer side
            s = np.array([math.cos(dirn), math.sin(dirn)])
            far = min(abs(sx / max(1e-6, abs(s[0]))), abs(sy / max(1e-6, abs(s[1])))) * 1.06
            cc = s * (far + 34 + abs(s[0]) * 12)
        quad, M = card_quad(cc[0], cc[1], cz, ang, rng.normal(0, 0.012), rng.normal(0, 0.012))
        # keep clear of the plants: push outwards
        for _ in range(60):
            dmin = min(
                (
                    np.hypot(
                        *(
                            np.clip(((p["V"][::53] - quad.mean(0)) @ M)[:, :2], None, None) * 0
                            + np.maximum(np.abs(((p["V"][::53] - quad.mean(0)) @ M)[:, :2]) - [CARD_W / 2, CARD_H / 2], 0)
                        ).T
                    )
                ).min()
                for p in plants
            )
            pin = loft([(1, 0)], 2, 48)[0][:, :2] * (prad if kind not in ("bed", "tray") else 0.01)
            if kind == "tray":
                pin = np.array([[a * sx * 1.06, b * sy * 1.06] for a in np.linspace(-1, 1, 9) for b in np.linspace(-1, 1, 9)])
            lp = (np.c_[pin, np.full(len(pin), cz)] - quad.mean(0)) @ M
            dp = np.hypot(*np.maximum(np.abs(lp[:, :2]) - [CARD_W / 2, CARD_H / 2], 0).T).min() if kind != "bed" else 99
            if dmin > 5 and dp > 3:
                break
            quad[:, :2] += np.array([math.cos(dirn), math.sin(dirn)]) * 3
        gloss = bool(rng.random() < 0.2)
        Vc = np.concatenate([quad, quad + M @ np.array([0, 0, -0.5])])
        uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
        bs = principled(tex(tx), 0.18, 0.5) if gloss else diffuse(tex(tx))
        objs["card"] = mesh("card", quad, np.array([[0, 2, 1], [0, 3, 2]]), bs, UV=uv, face_normals=True)
        sideF = np.array([[0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]])
        objs["cardside"] = mesh("cardside", Vc, sideF, diffuse([0.8, 0.8, 0.78]), face_normals=True)
        if kind != "bed" and has_card_at_top:  # a block carries the card at rim height
            c0 = quad.mean(0)
            v, f = box(c0[0], c0[1], bench_z - 0.5, cz - 3.0, 66, 40, ang)
            objs["block"] = mesh(
                "block",
                v,
                f,
                principled([0.12, 0.12, 0.13] if rng.random() < 0.5 else [0.34, 0.22, 0.13], 0.7, 0.2),
                face_normals=True,
            )
        card = dict(quad=quad, M=M, info=cinfo, z=float(quad[:, 2].mean()), glossy=gloss)
        pts.append(quad)
    extra = None
    if not card_on and rng.random() < 0.5:
        extra = "steel_ruler"
        im = np.full((15 * 12, 150 * 12), 0.5, np.float32)
        for m in range(151):
            hh = 7 if m % 10 == 0 else 5.2 if m % 5 == 0 else 3.2
            im[: int(hh * 12), max(0, m * 12 - 1) : m * 12 + 2] = 0.04
        th = rng.uniform(0, 6.28)
        dd = max(side_r, rad) + 12
        zc = 4.2 if kind == "bed" else bench_z + 1.0
        v, f = box(0, 0, -0.4, 0.4, 150, 15)
        v[:, 1] += dd
        v, _ = rot_z(v, v, th)
        v[:, 2] += zc
        uv = np.array([[0, 1], [1, 1], [1, 0], [0, 0]] * 2, float)
        objs["ruler"] = mesh(
            "ruler",
            v,
            f,
            {"type": "twosided", "b": {"type": "principled", "base_color": tex(im), "metallic": 0.85, "roughness": 0.32}},
            UV=uv,
            face_normals=True,
        )
        pts.append(v * [0.8, 0.8, 1])
    tag = bool(rng.random() < 0.3)
    if tag and kind != "series":
        a = dirn + math.pi + rng.normal(0, 0.4)
        rr = rad * 0.75 if kind == "bed" else (min(prad * 0.78, rad) if kind != "tray" else min(sx, sy) * 0.9)
        v, f = box(0, 0, 0, 0.7, 13, 62)
        tl = rng.uniform(0.3, 0.8)
        Rm = np.array([[1, 0, 0], [0, math.sin(tl), -math.cos(tl)], [0, math.cos(tl), math.sin(tl)]])
        v = (v - [0, -25, 0]) @ Rm.T
        v, _ = rot_z(v, v, a - math.pi / 2)
        v = v + [rr * math.cos(a), rr * math.sin(a), -4]
        objs["tag"] = mesh(
            "tag",
            v,
            f,
            principled([[0.8, 0.8, 0.78], [0.75, 0.55, 0.06], [0.5, 0.06, 0.05]][int(rng.integers(0, 3))], 0.35, 0.5),
            face_normals=True,
        )
    # ---------------- lights
    emit, linfo = make_lights(rng, light, E)
    # ---------------- camera
    pts = np.concatenate(pts)
    portrait = bool(rng.random() < 0.3)
    W, H = (2000, 1500)
    hi = o.get("hires", False)
    W = o.get("width", 2000)
    if hi:
        W = 4000
    H = W * 3 // 4
    orient = 1
    if portrait:
        W, H = H, W
        orient = int(rng.choice([6, 8]))
    elif rng.random() < 0.12:
        orient = 3
    fovl = rng.uniform(42, 66)  # long-edge field of view, degrees
    tilt = 0.0 if rng.random() < 0.3 else float(rng.uniform(12, 60))
    if kind == "tray":
        tilt = min(tilt, 48)
    if kind == "bed":
        tilt = min(tilt, 42)
    az, roll = rng.uniform(0, 2 * np.pi), rng.normal(0, 0.12) if rng.random() < 0.8 else rng.uniform(-3, 3)
    if card_on and rng.random() < 0.7:
        az = ang - math.pi / 2 + rng.normal(0, 0.35)  # card roughly upright
    ctr = (pts.max(0) + pts.min(0)) / 2
    vdir = np.array(
        [math.sin(math.radians(tilt)) * math.cos(az), math.sin(math.radians(tilt)) * math.sin(az), math.cos(math.radians(tilt))]
    )
    up0 = np.array([-math.cos(az), -math.sin(az), 0]) if tilt < 80 else np.array([0, 0, 1.0])
    if tilt > 5:
        up0 = np.array([0, 0, 1.0])
    flen = (max(W, H) / 2) / math.tan(math.radians(fovl) / 2)
    cam = Camera(ctr, vdir, up0, roll, flen, W, H)
    margin = rng.uniform(1.04, 1.18)
    cam.fit(pts, margin)
    alt = Camera(ctr, vdir, up0, roll, flen, H, W)
    alt.fit(pts, margin)
    if alt.dist < cam.dist * 0.95 and rng.random() < 0.85:  # hold the phone the better way round
        cam, W, H = alt, H, W
        portrait = H > W
        orient = int(rng.choice([6, 8])) if portrait else 1
    for gz, gk, pre in deferred:  # loose ground only where the camera can see it
        cx_, cy_ = np.meshgrid(np.linspace(-0.06, 1.06, 12) * W, np.linspace(-0.06, 1.06, 12) * H)
        dd_ = (W / 2 - cx_)[..., None] / cam.f * cam.left + (H / 2 - cy_)[..., None] / cam.f * cam.up + cam.d
        dd_ = dd_.reshape(-1, 3)
        dd_ = dd_[dd_[:, 2] < -0.05]
        gp = cam.o + dd_ * ((gz - cam.o[2]) / dd_[:, 2])[:, None]
        gp = gp[np.hypot(gp[:, 0] - cam.ctr[0], gp[:, 1] - cam.ctr[1]) < 900]
        b_ = (gp[:, 0].min() - 15, gp[:, 0].max() + 15, gp[:, 1].min() - 15, gp[:, 1].max() + 15)

        def vis(x, y):
            p = cam.project(np.stack([x, y, np.full(len(x), gz)], -1))
            return (np.abs(p[:, 0] - W / 2) < W * 0.58) & (np.abs(p[:, 1] - H / 2) < H * 0.58)

        hole = None
        if card is not None and abs(card["z"] - gz) < 8:
            q_, M_ = card["quad"], card["M"]

            def hole(x, y):
                l_ = (np.stack([x, y, np.full(len(x), card["z"])], -1) - q_.mean(0)) @ M_
                return (np.abs(l_[:, 0]) < CARD_W / 2 + 1.2) & (np.abs(l_[:, 1]) < CARD_H / 2 + 1.2)

        oo = {}
        grains(rng, vis, b_, gz, gk, oo, hole=hole)
        for k_, v_ in oo.items():
            objs[pre + k_] = v_
    meta = dict(
        seed=seed,
        kind=kind,
        light=light,
        illuminant=ill,
        substrate=sub,
        pot=pot,
        backdrop=backdrop,
        tilt_deg=round(tilt, 2),
        fov_long_deg=round(float(fovl), 2),
        orientation=orient,
        card_on=card_on,
        extra=extra,
        tag=tag and kind != "series",
        bench_z=round(float(bench_z), 2),
        rim_z=round(float(rim), 2),
        hires=hi,
    )
    return objs, plants, card, emit, linfo, cam, meta, rng, E


# ----------------------------------------------------------------------------- render
def render(scene_d, cam, spp, aperture, focus_d, integ, seed, wl, max_lanes=8_000_000):
    W, H = cam.W, cam.H
    rows = max(1, min(H, int(max_lanes / (W * spp))))
    nb = -(-H // rows)
    scene = mi.load_dict(scene_d)
    out = np.zeros((H, W, 9), np.float32)
    tr0 = time.time()
    integ = mi.load_dict(integ)
    aov = mi.load_dict({"type": "aov", "aovs": "alb:albedo,nn:sh_normal"})
    rows = -(-H // nb)
    y = 0
    for k in range(nb):
        h = min(rows, H - y)
        if h <= 0:
            break
        s = mi.load_dict(sensor_dict(cam, aperture, focus_d, (0, y, W, h), spp))
        im = mi.render(scene, sensor=s, integrator=integ, spp=spp, seed=seed * 131 + k)
        out[y : y + h, :, :3] = np.array(im)[..., :3]
        a = np.array(mi.render(scene, sensor=s, integrator=aov, spp=spp, seed=seed * 131 + k))
        out[y : y + h, :, 3:] = a[..., -6:]
        y += h
    out = np.nan_to_num(out, nan=0.0, posinf=0.0, neginf=0.0)
    raw = despeckle(np.ascontiguousarray(out[..., :3]), wl)
    tdn = time.time()
    den = pyoidn.denoise(raw, albedo=np.clip(out[..., 3:6], 0, 1).copy(), normal=np.clip(out[..., 6:9], -1, 1).copy(), hdr=True)
    return scene, den


def masks(scene, cam, plants):
    W, H = cam.W, cam.H
    inst = np.zeros((H, W), np.uint8)
    cls = np.zeros((H, W), np.uint8)
    base = np.zeros((H, W), np.uint8)
    ids = {}
    for s in scene.shapes():
        ids[s.id()] = int(np.array(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(s)))[0])
    px, py = np.meshgrid(np.arange(W) + 0.5, np.arange(H) + 0.5)
    dirs = (cam.W / 2 - px)[..., None] / cam.f * cam.left + (cam.H / 2 - py)[..., None] / cam.f * cam.up + cam.d
    dirs /= np.linalg.norm(dirs, axis=-1, keepdims=True)
    dirs = dirs.reshape(-1, 3).astype(np.float32)
    card_px = 0
    n = len(dirs)
    step = 3_000_000
    I, U, Vv = [], [], []
    for a in range(0, n, step):
        d = dirs[a : a + step]
        ray = mi.Ray3f(mi.Point3f(*[float(v) for v in cam.o]), mi.Vector3f(d[:, 0].copy(), d[:, 1].copy(), d[:, 2].copy()))
        si = scene.ray_intersect(ray)
        I.append(np.array(dr.reinterpret_array(mi.UInt32, dr.select(si.is_valid(), si.shape, dr.zeros(mi.ShapePtr, len(d))))))
        U.append(np.array(si.uv.x))
        Vv.append(np.array(si.uv.y))
    I, U, Vv = np.concatenate(I).reshape(H, W), np.concatenate(U).reshape(H, W), np.concatenate(Vv).reshape(H, W)
    for k, p in enumerate(plants):
        m = I == ids[f"plant{k+1}"]
        inst[m] = k + 1
        ch, cw = p["b"]["cls"].shape
        x = np.clip((U[m] * cw).astype(int), 0, cw - 1)
        y = np.clip((Vv[m] * ch).astype(int), 0, ch - 1)
        cls[m] = p["b"]["cls"][y, x]
        base[m] = p["b"]["base"][y, x]
    cardm = (I == ids["card"]) if "card" in ids else None
    return inst, cls, base, cardm, ids


def produce(seed, outdir, kind, o, name, spp_budget, date, series=None):
    t0 = time.time()
    objs, plants, card, emit, linfo, cam, meta, rng, E = build_scene(seed, kind, o)
    t1 = time.time()
    integ = {"type": "path", "max_depth": 5, "rr_depth": 4}
    d = {"type": "scene"}
    d.update(objs)
    d.update(emit)
    spp = int(max(2, round(spp_budget * 3e6 / (cam.W * cam.H)))) if cam.W * cam.H > 3.1e6 else spp_budget
    # focus on the main plant, with some error
    tgt = np.array([plants[0]["x"], plants[0]["y"], plants[0]["b"]["height"] * 0.5]) if len(plants) < 3 else cam.ctr
    fd = float((tgt - cam.o) @ cam.d) * (1 + rng.normal(0, 0.012))
    ap = float(rng.uniform(0.35, 1.3))
    white = white_level(emit, integ, 0)
    scene, hdr = render(d, cam, spp, ap, fd, integ, seed, white)
    t2 = time.time()
    inst, cls, base, cardm, ids = masks(scene, cam, plants)
    hdr = cv2.GaussianBlur(hdr, (0, 0), 0.5)  # optics + demosaic blur
    img = develop(hdr, white, rng, E, meta, o.get("ev"))
    q = int(rng.integers(75, 96))
    # ------------------------------------------------ write
    os.makedirs(outdir, exist_ok=True)
    orient = meta["orientation"]
    rot = {1: 0, 6: 1, 8: 3, 3: 2}[orient]
    stored = np.rot90(img, rot)  # stored so that applying EXIF orientation gives `img`
    ex = piexif.dump(
        {
            "0th": {
                piexif.ImageIFD.Make: b"Testcam",
                piexif.ImageIFD.Model: b"TC-1 synthetic",
                piexif.ImageIFD.Orientation: orient,
                piexif.ImageIFD.Software: b"gen.py",
                piexif.ImageIFD.DateTime: date.encode(),
            },
            "Exif": {
                piexif.ExifIFD.DateTimeOriginal: date.encode(),
                piexif.ExifIFD.ColorSpace: 1,
                piexif.ExifIFD.PixelXDimension: stored.shape[1],
                piexif.ExifIFD.PixelYDimension: stored.shape[0],
            },
        }
    )
    Image.fromarray(np.ascontiguousarray(stored)).save(f"{outdir}/{name}.jpg", quality=q, subsampling=2 if q < 90 else 0, exif=ex)

    def pal(a, p, fn):
        im = Image.fromarray(a, "P") if False else Image.fromarray(a)
        im = im.convert("L")
        im2 = Image.frombytes("P", im.size, im.tobytes())
        im2.putpalette(p + [128] * (768 - len(p)))
        im2.save(fn, optimize=True)

    pal(cls, PALETTE, f"{outdir}/{name}.class.png")
    pal(
        inst,
        [0, 0, 0, 230, 60, 60, 60, 180, 75, 255, 225, 25, 0, 130, 200, 245, 130, 48, 145, 30, 180, 70, 240, 240, 240, 50, 230],
        f"{outdir}/{name}.inst.png",
    )
    pl = []
    for k, p in enumerate(plants):
        m = inst == k + 1
        n = int(m.sum())
        c = cls[m]
        bb = base[m]
        cnt = {PL.CLASS_NAMES[j]: int((c == j).sum()) for j in range(1, 7)}
        tis = cnt["green"] + cnt["cream"] + cnt["gold"] + cnt["stress_red"]
        liv = tis + cnt["tubercle"]
        bliv = c != PL.DEAD
        P, b = p["P"], p["b"]
        gf = cnt["green"] / tis if tis else None
        bg = float((bb[bliv] == PL.GREEN).mean()) if bliv.any() else None
        ys, xs = np.nonzero(m)
        v = p["V"]
        lw = [
            [
                i["leaf"],
                (i.get("upper") or {}).get("mean_width_mm"),
                (i.get("upper") or {}).get("mean_pitch_mm"),
                (i.get("lower") or {}).get("mean_width_mm"),
                (i.get("lower") or {}).get("mean_pitch_mm"),
            ]
            for i in b["leafinfo"]
        ]
        pc = cam.project(v[::29])

        def rr(z):
            return None if z is None else round(float(z), 4)

        pl.append(
            dict(
                id=k + 1,
                is_pup=p["pup"],
                pattern=P["pattern"],
                band_form=P["band_form"],
                tubercles_separate=P["dots"],
                pixels=n,
                class_pixels=cnt,
                class_fractions={j: rr(z / n) if n else None for j, z in cnt.items()},
                green_fraction_excl_tubercle=rr(gf),
                green_fraction_incl_tubercle=rr(cnt["green"] / liv) if liv else None,
                base_green_fraction_living=rr(bg),
                red_fraction_excl_tubercle=rr(cnt["stress_red"] / tis) if tis else None,
                variegated_fraction_excl_tubercle=rr((cnt["cream"] + cnt["gold"]) / tis) if tis else None,
                surface_area_truth=b["truth_area"],
                rosette_diameter_mm=rr(b["feret"]),
                height_mm=rr(b["height"]),
                n_leaves=P["n_leaves"],
                band_width_mm=rr(b["mean_width"]),
                band_pitch_mm=rr(b["mean_pitch"]),
                band_width_mm_nominal=rr(P["band_width"]),
                band_pitch_mm_nominal=rr(P["band_pitch"]),
                leaves_upper_w_p_lower_w_p=lw,
                leaves=b["leafinfo"],
                bbox_px=[int(xs.min()), int(ys.min()), int(xs.max()) + 1, int(ys.max()) + 1] if n else None,
                projected_bbox_px=[rr(t) for t in (*pc.min(0), *pc.max(0))],
                base_xyz_mm=[rr(p["x"]), rr(p["y"]), rr(p["z"])],
                px_per_mm_at_plant=rr(cam.f / float((np.array([p["x"], p["y"], b["height"] * 0.5]) - cam.o) @ cam.d)),
                expected_flags=dict(
                    too_pale_base_green_lt_0p20=bool(bg is not None and bg < 0.20),
                    albino=P["pattern"] == "albino",
                    variegated=P["pattern"] != "none",
                    reddened_gt_0p05=bool(tis and cnt["stress_red"] / tis > 0.05),
                    dead_tips=cnt["dead"] > 0,
                ),
                pigments=P["pig"],
                tissue_rgb_linear_under_illuminant=b["rgbs"],
                tissue_lab_D65={
                    k2: [round(t, 2) for t in C.rgb_to_lab(C.refl_to_rgb(s2, C.D65))] for k2, s2 in P["spectra"].items()
                },
                params={k2: v2 for k2, v2 in P.items() if k2 not in ("spectra", "pig")},
            )
        )
    tr = dict(
        name=name,
        image=f"{name}.jpg",
        class_mask=f"{name}.class.png",
        instance_mask=f"{name}.inst.png",
        width=cam.W,
        height=cam.H,
        frame="upright (EXIF orientation applied)",
        stored_width=stored.shape[1],
        stored_height=stored.shape[0],
        class_names=PL.CLASS_NAMES,
        datetime_original=date,
        jpeg_quality=q,
        spp=spp,
        aperture_radius_mm=round(ap, 3),
        focus_distance_mm=round(fd, 1),
        series=series,
        lights=linfo,
        **meta,
    )
    tr["camera"] = dict(
        origin_mm=[round(float(v), 3) for v in cam.o],
        dir=[float(v) for v in cam.d],
        up=[float(v) for v in cam.up],
        left=[float(v) for v in cam.left],
        focal_px=float(cam.f),
        cx=cam.W / 2,
        cy=cam.H / 2,
    )
    tr["px_per_mm_at_soil_plane_centre"] = round(cam.f / float((np.array([0, 0, 0.0]) - cam.o) @ cam.d), 4)
    if card:
        qd = card["quad"]
        cp = cam.project(qd)
        i = card["info"]

        def loc(x, y):  # card mm (from TL, y down) -> world
            return qd[0] + (qd[1] - qd[0]) * x / CARD_W + (qd[3] - qd[0]) * y / CARD_H

        qx, qy, qs = i["qr_x_mm"], i["qr_y_mm"], i["qr_size_mm"]
        qp = cam.project(np.array([loc(qx, qy), loc(qx + qs, qy), loc(qx + qs, qy + qs), loc(qx, qy + qs)]))
        el = [np.linalg.norm(cp[(j + 1) % 4] - cp[j]) / [CARD_W, CARD_H][j % 2] for j in range(4)]
        qe = [np.linalg.norm(qp[(j + 1) % 4] - qp[j]) / i["qr_modules"] for j in range(4)]
        # share of the card area that no object hides
        poly = np.zeros(cls.shape, np.uint8)
        cv2.fillPoly(poly, [np.round(cp).astype(np.int32)], 1)
        vis = float((cardm & (poly > 0)).sum() / max(1, poly.sum()))
        r0 = i["rule"]
        rp = cam.project(np.array([loc(r0["x_mm"], r0["y_mm"]), loc(r0["x_mm"] + 50, r0["y_mm"])]))
        tr["card"] = dict(
            present=True,
            payload=i["payload"],
            corners_px_TL_TR_BR_BL=[[round(float(t), 2) for t in c] for c in cp],
            qr_corners_px_TL_TR_BR_BL=[[round(float(t), 2) for t in c] for c in qp],
            size_mm=[CARD_W, CARD_H],
            px_per_mm_mean=round(float(np.mean(el)), 4),
            px_per_mm_edges_T_R_B_L=[round(float(e), 4) for e in el],
            px_per_mm_at_centre_depth=round(cam.f / float((qd.mean(0) - cam.o) @ cam.d), 4),
            qr_module_px_min=round(float(min(qe)), 3),
            visible_fraction=round(vis, 4),
            glossy=card["glossy"],
            z_mm=round(card["z"], 2),
            z_minus_soil_mm=round(card["z"], 2),
            rule_ends_px=[[round(float(t), 2) for t in c] for c in rp],
            patches=[
                dict(
                    **pt,
                    centre_px=[
                        round(float(t), 2) for t in cam.project(loc(pt["x_mm"] + pt["w_mm"] / 2, pt["y_mm"] + pt["h_mm"] / 2))[0]
                    ],
                )
                for pt in i["patches"]
            ],
            **{
                k2: i[k2]
                for k2 in (
                    "qr_version",
                    "qr_error",
                    "qr_modules",
                    "qr_module_mm",
                    "qr_x_mm",
                    "qr_y_mm",
                    "qr_size_mm",
                    "card_white_reflectance",
                    "ink_reflectance",
                    "rule",
                )
            },
        )
    else:
        tr["card"] = dict(present=False, other=meta["extra"])
    tr["plants"] = pl
    tr["timing_s"] = dict(build=round(t1 - t0, 1), render=round(t2 - t1, 1), rest=round(time.time() - t2, 1))
    json.dump(
        tr,
        open(f"{outdir}/{name}.json", "w"),
        indent=None,
        separators=(",", ":"),
        default=lambda z: z.item() if hasattr(z, "item") else str(z),
    )
    print(
        f"{name}: {meta['kind']} {meta['light']} plants={len(pl)} pat={[p['pattern'] for p in pl]} card={meta['card_on']} tilt={meta['tilt_deg']:.0f} spp={spp} build {t1-t0:.1f}s render {t2-t1:.1f}s rest {time.time()-t2:.1f}s",
        flush=True,
    )
    del scene
    return tr


def plan(seed):
    """cycle patterns and lights so that a run of consecutive seeds covers everything"""
    k = seed % 1000 - 1
    b = seed // 1000
    o = {"light": LIGHTS[(k + 5 * b) % 6]}
    pat = PATTERNS[(k * 3 + k // 8 + 3 * b) % 8]
    kinds = ["single", "bed", "single", "tray", "single", "tray", "single", "bed"]
    kind = kinds[(k + k // 8) % 8]
    if kind != "tray":
        o["pattern"] = pat
    if k == 9:
        o["hires"] = True
    return kind, o


SERIES = [
    ("2025-10-12", 0.02),
    ("2025-11-09", 0.08),
    ("2025-12-14", 0.20),
    ("2026-01-18", 0.36),
    ("2026-02-22", 0.26),
    ("2026-03-22", 0.10),
]


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("--seed-from", type=int, default=1)
    ap.add_argument("--count", type=int, default=1)
    ap.add_argument("--out", default="out")
    ap.add_argument("--width", type=int, default=2000)
    ap.add_argument("--kind", default="mix", choices=["mix", "single", "tray", "bed", "series"])
    ap.add_argument("--spp", type=int, default=4)
    ap.add_argument("--skip-existing", action="store_true")
    ap.add_argument("--set", default="", help='JSON of overrides, e.g. {"pattern":"albino","light":"sun","card":true}')
    a = ap.parse_args()
    extra = json.loads(a.set) if a.set else {}
    for s in range(a.seed_from, a.seed_from + a.count):
        r = np.random.default_rng([s, 5])
        if a.kind == "series":
            o = {
                "plant_seed": s,
                "card_no": s % 10000,
                "pattern": str(r.choice(["none", "white_stripes", "gold_stripes", "gold_centre"])),
                "form": str(r.choice(["standard", "wide", "extra_wide"])),
                "pot": str(r.choice(["black_square", "terracotta_round"])),
                "substrate": "mix",
                "card": True,
                "diameter": float(r.uniform(55, 85)),
                "dots": False,
            }
            for j, (dt, rf) in enumerate(SERIES):
                name = f"series{s:04d}_{j+1}"
                if a.skip_existing and os.path.exists(f"{a.out}/{name}.json"):
                    continue
                oo = dict(
                    o,
                    red=rf,
                    light=LIGHTS[(s + j) % 6],
                    width=a.width,
                    plant_rot=float(r.uniform(0, 6.28)) * 0 + j * 0.4,
                    **extra,
                )
                produce(
                    s * 10 + j + 500000,
                    a.out,
                    "series",
                    oo,
                    name,
                    a.spp,
                    dt.replace("-", ":") + f" {9 + j}:{10 + 7 * j:02d}:00".replace(" 9:", " 09:"),
                    series=dict(id=f"series{s:04d}", index=j + 1, red_target_area=rf),
                )
            continue
        name = f"scene{s:04d}"
        if a.skip_existing and os.path.exists(f"{a.out}/{name}.json"):
            continue
        k, o = plan(s)
        if a.kind != "mix":
            k = a.kind
        o["width"] = a.width
        o.update(extra)
        date = f"2025:{int(r.integers(1, 13)):02d}:{int(r.integers(1, 28)):02d} {int(r.integers(8, 18)):02d}:{int(r.integers(0, 60)):02d}:{int(r.integers(0, 60)):02d}"
        produce(s, a.out, k, o, name, a.spp, date)


if __name__ == "__main__":
    main()
