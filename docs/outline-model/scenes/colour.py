"""Reflectance spectra -> linear sRGB under a chosen light. spec.npz holds the 2-degree colour matching functions
and a bank of leaf reflectances by tissue."""

from pathlib import Path

import numpy as np

WL = np.arange(400, 781, 5).astype(float)
_stored = np.load(Path(__file__).with_name("spec.npz"))
_cmf = _stored["cmf"].astype(float)
BANK = _stored["bank"].astype(float)  # (plant, tissue in the order of KEYS, wavelength)
KEYS = ["green", "gold", "cream", "red_green", "red_cream", "red_gold"]

# CIE standard illuminant D65 every 10 nm from 400
# fmt: off
_D65_10NM = [
    82.75, 91.49, 93.43, 86.68, 104.86, 117.01, 117.81, 114.86, 115.92, 108.81, 109.35, 107.80, 104.79,
    107.69, 104.41, 104.05, 100.00, 96.33, 95.79, 88.69, 90.01, 89.60, 87.70, 83.29, 83.70, 80.03,
    80.21, 82.28, 78.28, 69.72, 71.61, 74.35, 61.60, 69.89, 75.09, 63.59, 46.42, 66.81, 63.38,
]
# fmt: on
D65 = np.interp(WL, np.arange(400, 781, 10), _D65_10NM)
XYZ_TO_RGB = np.array(
    [[3.2404542, -1.5371385, -0.4985314], [-0.9692660, 1.8760108, 0.0415560], [0.0556434, -0.2040259, 1.0572252]]
)


def planck(kelvin):
    """Spectrum of a glowing body, 100 at 560 nm."""
    metres = WL * 1e-9
    power = 1.0 / (metres**5 * (np.exp(1.4387769e-2 / (metres * kelvin)) - 1))
    return power / power[np.argmin(abs(WL - 560))] * 100


def phosphor_led(pump_nm, pump, phosphor_nm, phosphor_width, phosphor):
    """A blue chip under a yellow phosphor."""
    blue = pump * np.exp(-0.5 * ((WL - pump_nm) / 10) ** 2)
    return blue + phosphor * np.exp(-0.5 * ((WL - phosphor_nm) / phosphor_width) ** 2)


def illuminant(name):
    spectra = {
        "D65": lambda: D65,
        "overcast6500": lambda: D65,
        "sun5500": lambda: D65 * planck(5500) / planck(6504),
        "shade8000": lambda: D65 * planck(8000) / planck(6504),
        "tungsten2850": lambda: planck(2850),
        "led4000": lambda: phosphor_led(452, 75, 592, 58, 100),
        "led6000": lambda: phosphor_led(450, 130, 560, 62, 88),
    }
    return spectra[name]()


def white_rgb(light):
    """Linear sRGB of a white surface under the light, of luminance 1."""
    xyz = (light[:, None] * _cmf).sum(0)
    return XYZ_TO_RGB @ (xyz / xyz[1])


def refl_to_rgb(reflectance, light):
    """Linear sRGB of a surface, as seen by an observer fully used to the light."""
    xyz = ((reflectance * light)[:, None] * _cmf).sum(0) / (light * _cmf[:, 1]).sum()
    return np.clip((XYZ_TO_RGB @ xyz) / white_rgb(light), 0.001, 0.98)


def srgb_encode(linear):
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.power(np.maximum(linear, 1e-8), 1 / 2.4) - 0.055)
