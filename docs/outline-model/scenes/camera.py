"""Where the phone is, its lens, and how it turns light into a picture."""

import math
from dataclasses import dataclass

import cv2
import mitsuba as mi
import numpy as np

import colour


@dataclass
class Frame:
    """How a picture is composed. The camera always stands on the -y side and looks towards +y and down."""

    tilt: float  # degrees: 0 = straight from above, 90 = at eye level
    fov: float  # degrees, across the picture
    margin: float  # half the picture / half the subject: below 1 the subject is cut
    shift: np.ndarray  # how far off the middle, share of half a picture
    roll: float  # radians


class Camera:
    def __init__(self, frame, width, height):
        t = math.radians(frame.tilt)
        self.width, self.height = width, height
        self.focal = width / 2 / math.tan(math.radians(frame.fov) / 2)
        self.back = np.array([0, -math.sin(t), math.cos(t)])
        self.ahead = -self.back
        left = np.array([-1.0, 0, 0])
        up = np.cross(self.ahead, left)
        c, s = math.cos(frame.roll), math.sin(frame.roll)
        self.left, self.up = c * left + s * up, -s * left + c * up
        self.centre = np.zeros(3)
        self.distance = 400.0
        self.frame = frame

    @property
    def origin(self):
        return self.centre + self.back * self.distance

    def depth(self, points):
        return (np.atleast_2d(points) - self.origin) @ self.ahead

    def project(self, points):
        q = np.atleast_2d(points) - self.origin
        x, y, z = q @ self.left, q @ self.up, np.maximum(q @ self.ahead, 1e-3)
        return np.stack([self.width / 2 - self.focal * x / z, self.height / 2 - self.focal * y / z], -1)

    def _holds(self, points, distance):
        self.distance = distance
        if self.depth(points).min() < 25:
            return False
        off = np.abs(self.project(points) - [self.width / 2, self.height / 2]).max(0) * self.frame.margin
        return off[0] < self.width / 2 and off[1] < self.height / 2

    def aim(self, points, floor):
        """Come as near as the frame's margin lets the points stay in the picture, then shift off the middle."""
        self.centre = (points.max(0) + points.min(0)) / 2
        for _ in range(3):
            near, far = 60.0, 8000.0
            for _ in range(30):
                middle = (near + far) / 2
                near, far = (near, middle) if self._holds(points, middle) else (middle, far)
            self.distance = far
            p = self.project(points)
            off = (p.max(0) + p.min(0)) / 2 - [self.width / 2, self.height / 2]
            self.move(off)
        self.move(self.frame.shift * [self.width / 2, self.height / 2])
        under = floor + 15 - self.origin[2]
        if under > 0:
            self.centre = self.centre + [0, 0, under]

    def move(self, pixels):
        """Shift sideways so that what was `pixels` off the middle comes to it."""
        k = self.distance / self.focal
        self.centre = self.centre - self.left * pixels[0] * k - self.up * pixels[1] * k


@dataclass
class Lens:
    aperture: float  # radius, mm
    focus: float  # distance along the view, mm

    def blur(self, depth):
        """Diameter in mm, at that depth, of the disc that a point there becomes."""
        return 2 * self.aperture * np.abs(depth - self.focus) / self.focus


def sensor(camera, lens, samples):
    film = {
        "type": "hdrfilm",
        "width": camera.width,
        "height": camera.height,
        "pixel_format": "rgb",
        "rfilter": {"type": "box"},
    }
    look = mi.ScalarTransform4f().look_at(
        origin=[float(v) for v in camera.origin],
        target=[float(v) for v in camera.origin + camera.ahead * 100],
        up=[float(v) for v in camera.up],
    )
    return mi.load_dict(
        {
            "type": "thinlens",
            "fov": camera.frame.fov,
            "fov_axis": "x",
            "aperture_radius": float(lens.aperture),
            "focus_distance": float(lens.focus),
            "near_clip": 5.0,
            "far_clip": 20000.0,
            "to_world": look,
            "film": film,
            "sampler": {"type": "independent", "sample_count": samples},
        }
    )


def despeckle(light, white):
    """Pixels far above their neighbours are a path tracer's accidents."""
    median = cv2.medianBlur(light, 3)
    limit = np.maximum(median * 3, 0.25 * white)
    accident = (light > limit).any(-1, keepdims=True) & (light.max(-1, keepdims=True) > 2.5 * white)
    return np.where(accident, median, light)


def _expose(rng, light, on_plant):
    """Automatic exposure: on the plant or on the whole picture, somewhat off."""
    luminance = light @ [0.21, 0.72, 0.07]
    if on_plant.sum() > 200 and rng.random() < 0.5:
        key = np.median(luminance[on_plant])
    else:
        key = np.exp(np.log(luminance + 1e-3).mean())
    white = max(key, 1e-4) / rng.uniform(0.10, 0.30)
    white = max(white, 0.35 * np.percentile(luminance, 90))  # a phone does not burn out a tenth of the picture
    if on_plant.any():  # and its owner taps on the plant where that would burn out
        white = max(white, 0.8 * np.percentile(luminance[on_plant], 88))
    return 0.80 / white * 2 ** float(np.clip(rng.normal(0, 0.4), -1.2, 0.9))


def develop(rng, light, on_plant, illuminant, electrons):
    """Linear light to 8-bit sRGB as phones do: exposure, half-done white balance, noise, tone, sharpening, noise removal.

    Returns the picture and the cast left in it (linear gains of red, green, blue)."""
    white = colour.white_rgb(illuminant)
    cast = np.clip(white / white[1], 0.05, 5) ** (1 - rng.uniform(0.72, 1.0)) * np.exp(rng.normal(0, 0.035, 3))
    cast /= cast[1]
    x = light * _expose(rng, light, on_plant) * cast
    h, w = x.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w]
    off = ((xx - w / 2) ** 2 + (yy - h / 2) ** 2) / ((w / 2) ** 2 + (h / 2) ** 2)
    x = np.maximum(x * (1 - rng.uniform(0, 0.14) * off)[..., None], 0)
    full = float(rng.choice(electrons))
    x = x + rng.standard_normal(x.shape, dtype=np.float32) * np.sqrt(x / full + (2.5 / full) ** 2)
    y = colour.srgb_encode(np.clip(x, 0, 1)).astype(np.float32)
    if rng.random() < 0.3:  # contrast curve
        y = np.clip(y * 0.55 + 0.45 * (y * y * (3 - 2 * y)), 0, 1)
        grey = y.mean(-1, keepdims=True)
        y = np.clip(grey + (y - grey) * 1.10, 0, 1)
    y = np.clip(y + rng.uniform(0.1, 0.5) * (y - cv2.GaussianBlur(y, (0, 0), 1.2)), 0, 1)
    image = (y * 255 + 0.5).astype(np.uint8)
    if rng.random() < 0.7 or full < 500:
        strength = rng.uniform(2, 6) * (2 if full < 500 else 1)
        image = cv2.fastNlMeansDenoisingColored(image, None, float(strength), float(rng.uniform(3, 8)), 3, 9)
    return image, cast
