"""Rosette geometry + tissue maps (leaf coordinates) with exact truth."""

import numpy as np
import cv2
from scipy import ndimage as ndi
import colour as C

BG, GREEN, CREAM, GOLD, RED, TUB, DEAD = range(7)
CLASS_NAMES = ["background", "green", "cream", "gold", "stress_red", "tubercle", "dead"]
FORMS = {"standard": ((0.5, 1.2), (2.0, 3.2)), "wide": ((1.2, 2.0), (3.0, 4.6)), "extra_wide": ((2.0, 3.5), (4.2, 6.0))}


def smooth_noise(rng, h, w, ch, cw):
    """noise of about ch x cw cells, ~N(0,1), cubic-upsampled to h x w"""
    a = rng.standard_normal((max(2, ch), max(2, cw))).astype(np.float32)
    return cv2.resize(a, (w, h), interpolation=cv2.INTER_CUBIC) * 1.25


def sstep(x):
    x = np.clip(x, 0, 1)
    return x * x * (3 - 2 * x)


def pattern_profile(rng, pattern, target):
    """1-D signed field f(u) in u units (positive = variegated) on a fine grid, for one leaf."""
    ug = np.linspace(0, 1, 2001)
    if pattern == "none":
        return ug, np.full(2001, -1.0), 1.0
    if pattern == "albino":
        return ug, np.full(2001, 1.0), 1.0
    frac = np.clip(target + rng.normal(0, 0.07), 0.03, 0.97)  # variegated share
    f = np.full(2001, -1.0)
    if pattern in ("white_stripes", "gold_stripes", "pale"):
        if pattern == "pale":
            frac_l, n = 1 - frac, rng.integers(1, 5)
        else:
            frac_l, n = frac, rng.integers(2, 6)
        w = rng.dirichlet(np.ones(n) * 2.5) * frac_l
        gaps = rng.dirichlet(np.ones(n + 1) * 2.0) * (1 - frac_l)
        x = 0
        for k in range(n):
            x += gaps[k]
            c = x + w[k] / 2
            f = np.maximum(f, w[k] / 2 - np.abs(ug - c))
            x += w[k]
        if pattern == "pale":
            f = -f
    elif pattern == "striation":
        n = int(rng.integers(22, 42))
        pitch = 1.0 / n
        c = (np.arange(n) + 0.5 + rng.uniform(-0.33, 0.33, n)) * pitch
        w = np.clip(rng.lognormal(0, 0.45, n), 0.35, 2.2)
        w = w / w.sum() * frac
        for k in range(n):
            f = np.maximum(f, w[k] / 2 - np.abs(ug - c[k]))
    elif pattern == "gold_centre":
        c = 0.5 + rng.normal(0, 0.03)
        f = frac / 2 - np.abs(ug - c)
    return ug, f.astype(float), frac


def build_plant(rng, P, E):
    """P: dict of parameters. Returns geometry, atlases, truth."""
    D, n = P["diameter_mm"], P["n_leaves"]
    # ------------------------------------------------ spines (unit length)
    nt = 60
    tt = np.linspace(0, 1, nt)
    leaves = []
    ga = np.radians(137.508)
    phi0 = rng.uniform(0, 2 * np.pi)
    e_out, e_in = np.radians(P["elev_outer"]), np.radians(P["elev_inner"])
    for i in range(n):
        a = i / max(1, n - 1)
        phi = phi0 + i * ga + rng.normal(0, 0.06)
        e0 = e_out + (e_in - e_out) * a**0.85 + rng.normal(0, 0.05)
        L = (0.42 + 0.58 * (1 - a**2.2)) * rng.normal(1, 0.05)
        curv = np.radians(P["upcurve"]) * (1 - 0.5 * a) + rng.normal(0, 0.05)
        e = np.minimum(e0 + curv * tt**1.3, np.radians(100))
        leaves.append(dict(i=i, a=a, phi=phi, L=L, e=e, roll=rng.normal(0, 0.13), bend=rng.normal(0, 0.10)))
    wr = P["width_ratio"]
    ext = 0
    for l in leaves:
        h = np.concatenate([[0], np.cumsum(np.cos((l["e"][1:] + l["e"][:-1]) / 2) / (nt - 1))]) * l["L"]
        l["r_unit"] = h
        ext = max(ext, h.max() + 0.05)
    scale = (D / 2) / ext
    Nu = P["tex_nu"]
    Lmax = max(l["L"] for l in leaves) * scale
    Nv = int(np.clip(Lmax / P["tex_mm"], 160, 640))
    Nr = int(np.clip(Lmax / P["mesh_mm"], 60, 420))
    Nc = P["mesh_nc"]
    W = n * Nu
    cls = np.zeros((Nv, W), np.uint8)
    base = np.zeros((Nv, W), np.uint8)
    col = np.zeros((Nv, W, 3), np.float32)
    rough = np.zeros((Nv, W), np.float32)
    hgt = np.zeros((Nv, W), np.float32)
    area = np.zeros((Nv, W), np.float32)
    redf = np.full((Nv, W), -9, np.float32)
    s_tex = np.arange(Nu) / (Nu - 1)
    q_tex = np.where(s_tex <= 0.5, 2 * s_tex, 2 * (1 - s_tex))
    x_tex = -np.cos(np.pi * q_tex)  # -1..1 lateral
    u_tex = (x_tex + 1) / 2
    upper = s_tex <= 0.5
    v_tex = (np.arange(Nv) + 0.0) / (Nv - 1)
    pat, form = P["pattern"], P["band_form"]
    pg = P["pig"]
    # tissue colours
    rgbs = {k: C.refl_to_rgb(v, E) for k, v in P["spectra"].items()}
    var_cls = {
        "none": CREAM,
        "white_stripes": CREAM,
        "striation": P.get("striation_class", CREAM),
        "gold_stripes": GOLD,
        "gold_centre": GOLD,
        "sectorial": P.get("sector_class", GOLD),
        "albino": P.get("albino_class", GOLD),
        "pale": GOLD,
    }[pat]
    var_key = {CREAM: "cream", GOLD: "gold"}[var_cls]
    sec_phi = rng.uniform(0, 2 * np.pi)
    leafinfo = []
    tubm = np.zeros((Nv, W), np.float32)
    wv = np.zeros((Nv, W), np.float32)
    deadm = np.zeros((Nv, W), np.float32)
    lum = np.ones((Nv, W), np.float32)
    for l in leaves:
        i = l["i"]
        sl = slice(i * Nu, (i + 1) * Nu)
        L = l["L"] * scale
        l["Lmm"] = L
        Wmm = wr * Lmax * (0.50 + 0.50 * (1 - l["a"] ** 1.5)) * rng.normal(1, 0.05)
        l["Wmm"] = Wmm
        hw = Wmm / 2 * width_shape(v_tex)
        l["hwfun"] = Wmm
        # area element
        per = np.pi * np.sqrt((1 + P["thick_low"] ** 2) / 2) * hw  # half ellipse perimeter approx for lower
        dl = L / (Nv - 1)
        # element along s by ellipse derivative
        dq = np.abs(np.gradient(q_tex))
        au = np.where(upper, P["thick_up"], P["thick_low"])
        el = np.sqrt((np.sin(np.pi * q_tex)) ** 2 + (au * np.cos(np.pi * q_tex)) ** 2) * np.pi * dq
        area[:, sl] = hw[:, None] * el[None, :] * dl
        # ---------------- variegation
        lp = pat
        ug, f1, fr = pattern_profile(rng, "none" if pat == "sectorial" else pat, P["var_frac"])
        wob = smooth_noise(rng, Nv, 1, 4, 2)[:, :1] * (0.012 if pat != "striation" else 0.006)
        uu = u_tex[None, :] + wob + smooth_noise(rng, Nv, Nu, 14, 3) * 0.004
        if pat == "sectorial":
            d = np.angle(np.exp(1j * (l["phi"] - sec_phi)))  # -pi..pi ; variegated when |d|<pi*frac
            half = np.pi * P["var_frac"]
            ang = d + (uu - 0.5) * 0.55
            f = (half - np.abs(ang)) / 0.55
        else:
            f = np.interp(uu, ug, f1)
            if pat in ("white_stripes", "gold_stripes") and rng.random() < 0.35:  # some stripes fade out toward the tip/base
                v0 = rng.uniform(0.15, 0.6)
                gate = (v_tex[:, None] - v0 + 0.05 * smooth_noise(rng, Nv, Nu, 2, 10)) * (1 if rng.random() < 0.7 else -1)
                sel = np.sin(2 * np.pi * (u_tex[None, :] * rng.uniform(0.6, 1.2) + rng.random())) > 0.2
                f = np.where(sel, np.minimum(f, gate), f)
        fmm = f * (2 * hw[:, None])  # signed distance in mm
        soft = 0.10
        wl = sstep(fmm / (2 * soft) + 0.5)
        wv[:, sl] = wl
        base[:, sl] = np.where(wl > 0.5, var_cls, GREEN)
        # ---------------- tubercle bands
        p_leaf = P["band_pitch"] * rng.normal(1, 0.04) * (1 - 0.12 * l["a"])
        w_leaf = P["band_width"] * rng.normal(1, 0.05) * (1 - 0.10 * l["a"])
        info = dict(
            leaf=i,
            length_mm=round(L, 2),
            width_mm=round(Wmm, 2),
            pitch_mm_nominal=round(p_leaf, 3),
            width_mm_nominal=round(w_leaf, 3),
        )
        smm = v_tex * L
        tub = np.zeros((Nv, Nu), np.float32)
        hg = np.zeros((Nv, Nu), np.float32)
        for face in (0, 1):
            m = upper if face == 0 else ~upper
            lat = np.where(m, x_tex, 0)[None, :] * hw[:, None]  # mm from midline
            start = L * 0.08 + rng.uniform(0, p_leaf)
            c = [start]
            while c[-1] < L * 0.95:
                c.append(c[-1] + max(w_leaf * 1.15, p_leaf * rng.normal(1, 0.07)))
            c = np.array(c[:-1]) if len(c) > 1 else np.array(c)
            wk = w_leaf * np.clip(rng.normal(1, 0.10, len(c)), 0.7, 1.3)
            if len(c) == 0:
                continue
            waviness = {"standard": 0.05, "wide": 0.045, "extra_wide": 0.06}[form] * p_leaf
            sag = rng.normal(0, 0.05) * p_leaf
            ss = smm[:, None] + waviness * smooth_noise(rng, Nv, Nu, max(3, len(c)), 8) + sag * (x_tex[None, :] ** 2) * 2
            mids = (c[1:] + c[:-1]) / 2
            k = np.searchsorted(mids, ss)
            d = np.abs(ss - c[k])
            W2 = wk[k] / 2
            beadp = max(0.55, w_leaf * (1.25 if P["dots"] else 0.95))
            if P["dots"]:
                ph = rng.uniform(0, 1, len(c))[k]
                b = lat / beadp + ph
                bd = (b - np.floor(b) - 0.5) * beadp
                ident = np.floor(b).astype(int) * 131 + k * 17 + i * 7 + face * 3
                rr = (np.sin(ident * 12.9898) * 43758.5453) % 1.0
                rad = W2 * (0.82 + 0.3 * rr)
                d2 = np.sqrt((d + (rr - 0.5) * 0) ** 2 + (bd * 0.96) ** 2)
                F = 1 - d2 / rad
                edge = np.abs(x_tex)[None, :] < 0.93 - 0.25 * (rr < 0.15)
                F = np.where(edge & (rr > 0.06), F, -1)
            else:
                ph = rng.uniform(0, 1, len(c))[k]
                scal = 0.90 + 0.13 * np.abs(np.cos(np.pi * (lat / beadp + ph)))
                xe = np.clip(rng.normal(0.93, 0.05, len(c)), 0.75, 1.05)[k]
                prof = np.clip(1 - (np.abs(x_tex)[None, :] / xe) ** 7, 0, 1) ** 0.5
                # occasional gaps in a band
                gap = smooth_noise(rng, Nv, Nu, max(3, len(c)), 9) if form == "standard" else 0
                prof = np.where(gap > 1.9, prof * 0.2, prof)
                F = 1 - d / np.maximum(W2 * scal * prof, 1e-3)
            F = np.where(m[None, :], F, -1)
            hm = min(P["band_height"] * w_leaf, 0.22 + 0.12 * w_leaf)
            tub = np.maximum(tub, np.where(m[None, :], sstep(F * (W2) / 0.10 + 0.5), 0))  # soft edge ~0.1 mm
            bead = 1.0 if P["dots"] else (0.86 + 0.14 * np.cos(2 * np.pi * lat / beadp))
            hg = np.maximum(hg, np.where(F > 0, hm * np.sqrt(np.clip(1 - (1 - np.clip(F, 0, 1)) ** 2, 0, 1)) * bead, 0))
            # exact truth from the map itself
            runs, cents = [], []
            if not P["dots"]:
                for xx in (-0.4, -0.2, 0, 0.2, 0.4):
                    j = np.argmin(np.where(m, np.abs(x_tex - xx), 9))
                    on = F[:, j] > 0
                    dd = np.diff(np.concatenate([[0], on.astype(int), [0]]))
                    st, en = np.where(dd == 1)[0], np.where(dd == -1)[0]
                    runs += list((en - st) * dl)
                    cen = (st + en) / 2 * dl
                    cents += list(np.diff(cen))
                if runs:
                    runs = np.array(runs)
                    runs = runs[runs > 0.3 * w_leaf]
            info[["upper", "lower"][face]] = dict(
                n_bands=int(len(c)),
                centres_mm=[round(float(z), 2) for z in c],
                widths_mm_nominal=[round(float(z), 2) for z in wk],
                mean_pitch_mm=round(float(np.diff(c).mean()), 3) if len(c) > 1 else None,
                mean_width_mm=round(float(np.mean(runs)), 3) if len(runs) else round(float(np.mean(wk)), 3),
            )
        tubm[:, sl] = tub
        # micro relief of the epidermis
        micro = 0.035 * smooth_noise(rng, Nv, Nu, int(L / 0.8), int(2.5 * Wmm / 0.8)) + 0.02 * smooth_noise(
            rng, Nv, Nu, 4, int(2.5 * Wmm / 0.5)
        )
        hgt[:, sl] = hg + micro * np.clip((1 - v_tex[:, None]) * 4, 0, 1)
        # ---------------- dead tip
        if rng.random() < P["dead_prob"] * (1.3 - l["a"]):
            dt = rng.uniform(0.05, 0.16)
            deadm[:, sl] = sstep((v_tex[:, None] - (1 - dt) + 0.02 * smooth_noise(rng, Nv, Nu, 12, 10)) / 0.012 + 0.5)
            info["dead_tip"] = round(float(dt), 3)
        # ---------------- redness potential
        aff = (rng.random() if P["red_leaf_share"] < 1 else 0) < P["red_leaf_share"]
        stripes = smooth_noise(rng, Nv, Nu, 3, 26)
        tip = v_tex[:, None] ** 1.5
        rp = {"tips": 2.6 * tip + 0.22 * stripes, "stripes": 0.9 * stripes + 0.7 * tip, "both": 0.55 * stripes + 1.6 * tip}[
            P["red_style"]
        ]
        rp = (
            rp
            + 0.25 * rng.standard_normal()
            + 0.5 * (1 - l["a"])
            + 0.25 * np.cos(l["phi"] - P["red_sun_phi"])
            + 0.35 * (np.abs(x_tex)[None, :] ** 6)
        )
        redf[:, sl] = rp if aff else rp - 20
        # ---------------- luminance texture
        lm = 1 + 0.05 * smooth_noise(rng, Nv, Nu, 3, 60) + 0.05 * smooth_noise(rng, Nv, Nu, 30, 30) + 0.07 * rng.standard_normal()
        lm *= 1 - 0.10 * (1 - v_tex[:, None]) ** 3
        lum[:, sl] = lm
        leafinfo.append(info)

    # ------------------------------------------------ red threshold: exact area fraction of living, non-tubercle tissue
    tub_on, dead_on = tubm > 0.5, deadm > 0.5
    living = ~tub_on & ~dead_on
    wr_ = np.zeros_like(wv)
    red_target = P["red_frac"]
    ok = living & (redf > -10)
    if red_target > 0 and ok.any():
        vals, ar = redf[ok], area[ok]
        o = np.argsort(-vals)
        cum = np.cumsum(ar[o])
        want = min(red_target * area[living].sum(), 0.93 * cum[-1])
        thr = vals[o][np.searchsorted(cum, want)]
        wr_ = sstep((redf - thr) / 0.25 + 0.5)
    red_on = wr_ > 0.5
    cls[:] = base
    cls[red_on] = RED
    cls[tub_on] = TUB
    cls[dead_on] = DEAD
    # ------------------------------------------------ colours
    g, vcol = rgbs["green"], rgbs[var_key]
    col[:] = g[None, None] * (1 - wv[..., None]) + vcol[None, None] * wv[..., None]
    redcol = rgbs["red_green"][None, None] * (1 - wv[..., None]) + rgbs["red_" + var_key][None, None] * wv[..., None]
    rint = wr_ * np.clip(0.75 + 0.35 * (np.clip(redf, -5, 5) - (thr if red_target > 0 and ok.any() else 0)), 0.7, 1.0)
    col[:] = col * (1 - rint[..., None]) + redcol * rint[..., None]
    col *= np.clip(lum, 0.6, 1.4)[..., None]
    tubc = rgbs["tubercle"][None, None] * np.clip(1 + 0.06 * (lum[..., None] - 1) / 0.05 * 0.3, 0.8, 1.1)
    col[:] = col * (1 - tubm[..., None]) + tubc * tubm[..., None]
    dc = rgbs["dead"][None, None] * np.clip(lum[..., None] * 1.0, 0.5, 1.5)
    col[:] = col * (1 - deadm[..., None]) + dc * deadm[..., None]
    np.clip(col, 0.003, 0.95, out=col)
    rough[:] = P["roughness"] * (1 - tubm) + 0.62 * tubm
    rough = rough * (1 - deadm) + 0.7 * deadm
    # ------------------------------------------------ mesh
    V, UV, F_, NRM = [], [], [], []
    off = 0
    H = Nv
    sgrid = np.linspace(0, 1, Nc + 1)
    qg = np.where(sgrid <= 0.5, 2 * sgrid, 2 * (1 - sgrid))
    xg = -np.cos(np.pi * qg)
    up = sgrid <= 0.5
    vg = np.linspace(0, 1, Nr)
    hwN = width_shape(vg)
    idx = np.arange(Nr * (Nc + 1)).reshape(Nr, Nc + 1)
    f1 = np.stack([idx[:-1, :-1], idx[:-1, 1:], idx[1:, 1:]], -1).reshape(-1, 3)
    f2 = np.stack([idx[:-1, :-1], idx[1:, 1:], idx[1:, :-1]], -1).reshape(-1, 3)
    faces0 = np.concatenate([f1, f2])
    mx = ((sgrid * (Nu - 1))).astype(np.float32)
    my = (vg * (Nv - 1)).astype(np.float32)
    for l, info in zip(leaves, leafinfo):
        i, L = l["i"], l["Lmm"]
        e = np.interp(vg, tt, l["e"])
        ds = L / (Nr - 1)
        phi = l["phi"] + l["bend"] * vg**2
        ar = np.stack([np.cos(phi), np.sin(phi), 0 * phi], -1)
        T = np.cos(e)[:, None] * ar + np.sin(e)[:, None] * np.array([0, 0, 1.0])
        r0 = 0.05 * scale * (1 - 0.6 * l["a"])
        z0 = 0.6 + l["a"] * P["stem_mm"]
        pos = np.array([np.cos(l["phi"]) * r0, np.sin(l["phi"]) * r0, z0]) + np.concatenate(
            [[np.zeros(3)], np.cumsum((T[1:] + T[:-1]) / 2 * ds, 0)]
        )
        S = np.stack([-np.sin(phi), np.cos(phi), 0 * phi], -1)
        Nn = np.cross(T, S)
        roll = l["roll"] * vg
        S2 = S * np.cos(roll)[:, None] + Nn * np.sin(roll)[:, None]
        N2 = np.cross(T, S2)
        hw = l["Wmm"] / 2 * hwN
        tl = P["thick_low"] * hw * (1.0 + 0.25 * np.exp(-vg / 0.15))
        tu = P["thick_up"] * hw
        conc = P["concave"] * hw * (1 - vg) ** 0.7
        y = np.where(
            up[None, :],
            np.sin(np.pi * qg)[None, :] * tu[:, None] - conc[:, None] * np.exp(-((xg[None, :] / 0.55) ** 2)),
            -np.sin(np.pi * qg)[None, :] ** 0.9 * tl[:, None],
        )
        x = xg[None, :] * hw[:, None]
        Pp = pos[:, None, :] + x[..., None] * S2[:, None, :] + y[..., None] * N2[:, None, :]
        hcell = hgt[:, i * Nu : (i + 1) * Nu]
        # anti-aliased sampling of the height field onto the mesh
        k = max(1e-3, 0.35 * Nv / Nr)
        hs = cv2.GaussianBlur(hcell, (0, 0), sigmaX=max(0.3, 0.35 * Nu / Nc), sigmaY=max(0.3, k))
        gx, gy = np.meshgrid(mx, my)
        hh = cv2.remap(hs, gx.astype(np.float32), gy.astype(np.float32), cv2.INTER_LINEAR)
        hh[:, -1] = hh[:, 0] = (hh[:, 0] + hh[:, -1]) / 2
        n0 = grid_normals(Pp, T)
        Pd = Pp + n0 * (hh * np.clip((1 - vg[:, None]) * 12, 0, 1))[..., None]
        nn = grid_normals(Pd, T)
        V.append(Pd.reshape(-1, 3))
        NRM.append(nn.reshape(-1, 3))
        uv = np.stack(
            [
                np.broadcast_to((i * Nu + sgrid * (Nu - 1) + 0.5) / W, (Nr, Nc + 1)),
                np.broadcast_to(((vg * (Nv - 1) + 0.5) / H)[:, None], (Nr, Nc + 1)),
            ],
            -1,
        )
        UV.append(uv.reshape(-1, 2))
        F_.append(faces0 + off)
        off += Nr * (Nc + 1)
    V, UV, F_, NRM = np.concatenate(V), np.concatenate(UV), np.concatenate(F_), np.concatenate(NRM)
    # rotate whole plant a little
    hull = cv2.convexHull(V[:, :2].astype(np.float32))[:, 0]
    feret = float(np.sqrt(((hull[:, None] - hull[None]) ** 2).sum(-1)).max())

    # ------------------------------------------------ surface-area truth
    def fr(mask_cls, m):
        t = area[m].sum()
        return {CLASS_NAMES[k]: round(float(area[m & (mask_cls == k)].sum() / t), 4) for k in range(1, 7)}

    allm = np.ones_like(living)
    truth_area = dict(
        class_fractions=fr(cls, allm),
        green_fraction_excl_tubercle=round(float(area[living & (cls == GREEN)].sum() / area[living].sum()), 4),
        green_fraction_incl_tubercle=round(float(area[~dead_on & (cls == GREEN)].sum() / area[~dead_on].sum()), 4),
        base_green_fraction=round(float(area[~dead_on & (base == GREEN)].sum() / area[~dead_on].sum()), 4),
        red_fraction_excl_tubercle=round(float(area[living & (cls == RED)].sum() / area[living].sum()), 4),
    )
    pw = [d[f]["mean_width_mm"] for d in leafinfo for f in ("upper", "lower") if f in d]
    pp = [d[f]["mean_pitch_mm"] for d in leafinfo for f in ("upper", "lower") if f in d and d[f]["mean_pitch_mm"]]
    return dict(
        V=V,
        UV=UV,
        F=F_,
        N=NRM,
        cls=cls,
        base=base,
        col=col,
        rough=rough,
        leafinfo=leafinfo,
        feret=feret,
        truth_area=truth_area,
        mean_width=float(np.mean(pw)),
        mean_pitch=float(np.mean(pp)) if pp else None,
        height=float(V[:, 2].max()),
        rgbs={k: [round(float(z), 4) for z in v] for k, v in rgbs.items()},
        rmax=float(np.sqrt((V[:, :2] ** 2).sum(1)).max()),
    )


def width_shape(v):
    s = (1 - np.clip(v, 0, 1) ** 1.75) * (0.86 + 0.14 * sstep(v / 0.18))
    return np.maximum(s, 0.012)


def grid_normals(Pp, T):
    dc = np.empty_like(Pp)
    dc[:, 1:-1] = Pp[:, 2:] - Pp[:, :-2]
    dc[:, 0] = dc[:, -1] = Pp[:, 1] - Pp[:, -2]
    dr = np.gradient(Pp, axis=0)
    n = np.cross(dr, dc)  # outward: checked by orientation below
    ln = np.linalg.norm(n, axis=-1, keepdims=True)
    n = np.where(ln > 1e-9, n / np.maximum(ln, 1e-9), T[:, None, :])
    cen = Pp.mean(1, keepdims=True)
    mid = n.shape[0] // 3
    if (n[mid] * (Pp[mid] - cen[mid])).sum() < 0:
        n = -n
    return n


def icosphere(sub):
    t = (1 + 5**0.5) / 2
    v = np.array(
        [
            [-1, t, 0],
            [1, t, 0],
            [-1, -t, 0],
            [1, -t, 0],
            [0, -1, t],
            [0, 1, t],
            [0, -1, -t],
            [0, 1, -t],
            [t, 0, -1],
            [t, 0, 1],
            [-t, 0, -1],
            [-t, 0, 1],
        ],
        float,
    )
    f = np.array(
        [
            [0, 11, 5],
            [0, 5, 1],
            [0, 1, 7],
            [0, 7, 10],
            [0, 10, 11],
            [1, 5, 9],
            [5, 11, 4],
            [11, 10, 2],
            [10, 7, 6],
            [7, 1, 8],
            [3, 9, 4],
            [3, 4, 2],
            [3, 2, 6],
            [3, 6, 8],
            [3, 8, 9],
            [4, 9, 5],
            [2, 4, 11],
            [6, 2, 10],
            [8, 6, 7],
            [9, 8, 1],
        ]
    )
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    for _ in range(sub):
        cache, nf, vl = {}, [], list(v)

        def mid(a, b):
            k = (min(a, b), max(a, b))
            if k not in cache:
                m = vl[a] + vl[b]
                vl.append(m / np.linalg.norm(m))
                cache[k] = len(vl) - 1
            return cache[k]

        for a, b, c in f:
            ab, bc, ca = mid(a, b), mid(b, c), mid(c, a)
            nf += [[a, ab, ca], [b, bc, ab], [c, ca, bc], [ab, bc, ca]]
        v, f = np.array(vl), np.array(nf)
    return v, f


def rock_protos(rng, n, sub, amp):
    out = []
    v0, f0 = icosphere(sub)
    for _ in range(n):
        v = v0.copy()
        for k in range(5):  # cut by random planes -> chunky facets
            d = rng.standard_normal(3)
            d /= np.linalg.norm(d)
            h = rng.uniform(0.45, 0.85)
            s = v @ d
            v = v - np.where(s > h, (s - h) * 0.85, 0)[:, None] * d
        v *= 1 + amp * rng.standard_normal((len(v), 1))
        out.append(v)
    return out, f0


def rand_rot(rng, n):
    q = rng.standard_normal((n, 4))
    q /= np.linalg.norm(q, axis=1, keepdims=True)
    w, x, y, z = q.T
    return np.stack(
        [
            np.stack([1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)], -1),
            np.stack([2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)], -1),
            np.stack([2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)], -1),
        ],
        1,
    )


def scatter(rng, pts, sizes, cols, sub=1, amp=0.05, flat=1.0):
    """pts (n,3) centres, sizes (n,) radius mm, cols (n,3) -> merged mesh with per-vertex colour"""
    protos, f0 = rock_protos(rng, 14, sub, amp)
    n = len(pts)
    R = rand_rot(rng, n)
    sc = rng.uniform(0.7, 1.25, (n, 3))
    sc[:, 2] *= flat
    which = rng.integers(0, len(protos), n)
    pv = np.stack(protos)[which] * sc[:, None, :] * sizes[:, None, None]
    v = np.einsum("nij,nkj->nki", R, pv) + pts[:, None, :]
    nv = v.shape[1]
    f = f0[None] + (np.arange(n) * nv)[:, None, None]
    c = np.repeat(cols[:, None, :], nv, 1)
    return v.reshape(-1, 3), f.reshape(-1, 3), c.reshape(-1, 3)
