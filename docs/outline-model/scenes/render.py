"""Training pictures of rosettes with exact masks: one process's share.

render.py OUT FIRST LAST I OF [--width 576 --height 576 --spp 6 --bg PHOTOS --until EPOCH]

Picture NAME is NAME.jpg; NAME.png, a mask of codes (0 background, 1 pot, soil and props about the plant, 8 k + c plant k with tissue c:
1 green, 2 cream, 3 gold, 4 red, 5 band, 6 dead; 7 a plant not to be judged: far out of focus, or beyond the thirtieth); NAME.txt, the
cast left in it (gains of red, green, blue), then for each plant a line `k x y`: where its growing point falls. OIDN=1 denoises.
"""

import os

for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")
import argparse
import glob
import time
import traceback

import cv2
import mitsuba as mi
import numpy as np

import shapes  # sets Mitsuba's variant
import colour
import light
import props
import settings
from camera import Camera, Lens, despeckle, develop, sensor
from stage import Stage

FAR, MOST = 7, 30
ATTEMPTS = 3


def set_stage(rng, options):
    """Setting, plants, camera, surroundings and lights of one picture."""
    kind, illuminant = light.any_light(rng)
    name = settings.any_setting(rng)
    setting = settings.SETTINGS[name]
    frame = settings.any_frame(rng, setting)
    stage = Stage(rng, colour.illuminant(illuminant), options.photos)
    stage.pixels_across = min(options.width, options.height) / frame.margin
    setting.build(stage)
    camera = Camera(frame, options.width, options.height)
    targets = stage.targets or stage.subjects
    camera.aim(np.concatenate([s.vertices[::13] for s in targets]), stage.ground)
    stage.floor()
    if stage.open_behind and rng.random() < 0.85:
        distance = stage.reach() + rng.uniform(40, 900) * (1 if frame.tilt > 25 else 3)
        width = (distance + camera.distance) * rng.uniform(0.8, 1.6)
        repeat = 1 if rng.random() < 0.6 else rng.uniform(1, 4)
        image = stage.photo() if rng.random() < 0.7 else shapes.any_surface(rng)
        stage.wall(distance, width, width * rng.uniform(0.7, 1.1), stage.floor_z - rng.uniform(0, 60), image, repeat=repeat)
    props.dress(stage, camera)
    lighting = light.make_lights(rng, kind, camera, stage.reach(), stage.open_behind)
    return name, stage, camera, lighting


def shape_hits(scene, camera, lens):
    """Name index, u and v of what each pixel's middle ray hits first, through a pinhole."""
    pinhole = Lens(1e-4, lens.focus)
    integrator = mi.load_dict({"type": "aov", "aovs": "si:shape_index,uv:uv"})
    hit = np.array(mi.render(scene, sensor=sensor(camera, pinhole, 1), integrator=integrator, spp=1))
    return np.round(hit[..., -3]).astype(int) - 1, hit[..., -2], hit[..., -1]


def make_mask(scene, stage, camera, lens):
    """Codes, and for each plant with a number of its own: (number, subject)."""
    index, u, v = shape_hits(scene, camera, lens)
    names = [s.id() for s in scene.shapes()]
    subjects = {s.name: s for s in stage.subjects}
    code = np.zeros(index.shape, np.uint8)
    numbered = []
    for i in np.unique(index):
        if i < 0 or i >= len(names):
            continue
        here, subject = index == i, subjects.get(names[i])
        if subject is None:
            code[here] = int(names[i] in stage.support)
            continue
        depth = camera.depth(subject.crown)[0]
        if lens.blur(depth) > 0.04 * 2 * subject.radius or len(numbered) == MOST:
            code[here] = FAR
            continue
        numbered.append((len(numbered) + 1, subject))
        tissue = subject.individual.plant.tissue
        h, w = tissue.shape
        rows, columns = np.clip((v[here] * h).astype(int), 0, h - 1), np.clip((u[here] * w).astype(int), 0, w - 1)
        code[here] = len(numbered) * 8 + tissue[rows, columns]
    return code, numbered


def any_lens(rng, camera, subject, opened):
    """Sharp on the subject, more or less; phones have much in focus, cameras close up little."""
    middle = (subject.vertices.mean(0) + subject.crown) / 2
    focus = float(camera.depth(middle)[0]) * (1 + rng.normal(0, 0.015))
    aperture = rng.choice([0.4, 1.0, 2.5, 5.0], p=[0.35, 0.3, 0.2, 0.15]) * rng.uniform(0.6, 1.4)
    return Lens(float(aperture) * opened * camera.distance / 400, max(focus, 20.0))


def expose(scene, camera, lens, options, seed):
    integrator = mi.load_dict({"type": "path", "max_depth": 4, "rr_depth": 3})
    hdr = mi.render(scene, sensor=sensor(camera, lens, options.spp), integrator=integrator, spp=options.spp, seed=seed)
    hdr = np.nan_to_num(np.array(hdr)[..., :3], nan=0, posinf=0, neginf=0)
    hdr = np.ascontiguousarray(hdr, dtype=np.float32)
    hdr = despeckle(hdr, float(np.percentile(hdr, 97)))
    if os.environ.get("OIDN"):
        import pyoidn

        hdr = np.array(pyoidn.denoise(hdr, hdr=True))
    return cv2.GaussianBlur(hdr, (0, 0), 0.5)


def save(out, image, code, cast, crowns):
    cv2.imwrite(out + ".jpg", image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])
    cv2.imwrite(out + ".png", code)
    lines = [" ".join(f"{c:.4f}" for c in cast)] + [f"{k} {x:.1f} {y:.1f}" for k, x, y in crowns]
    with open(out + ".txt.tmp", "w") as f:
        f.write("\n".join(lines) + "\n")
    os.rename(out + ".txt.tmp", out + ".txt")  # last: whoever sees it finds the picture whole


def picture(seed, options):
    started = time.time()
    for attempt in range(ATTEMPTS):
        rng = np.random.default_rng([seed, 77, attempt])
        setting, stage, camera, lighting = set_stage(rng, options)
        scene = mi.load_dict({"type": "scene", **stage.shapes, **lighting.blockers, **lighting.lamps})
        lens = any_lens(rng, camera, (stage.targets or stage.subjects)[0], settings.SETTINGS[setting].blur)
        code, numbered = make_mask(scene, stage, camera, lens)
        if (code >= 8).mean() > (0.002 if camera.frame.margin > 0.8 else 0.25):  # a close-up is of leaves
            break
    built = time.time()
    hdr = expose(scene, camera, lens, options, seed)
    image, cast = develop(rng, hdr, code >= 8, stage.illuminant, lighting.electrons)
    crowns = [(k, *camera.project(subject.crown)[0]) for k, subject in numbered]
    save(os.path.join(options.out, f"{seed:06d}"), image, code, cast, crowns)
    kinds = sorted({s.individual.plant.habit for s in stage.subjects})
    seconds = f"build {built - started:.1f} render {time.time() - built:.1f}"
    print(f"{seed:06d} {setting} {lighting.kind} {'+'.join(kinds)} {seconds}", flush=True)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("out")
    for name in ("first", "last", "i", "of"):
        parser.add_argument(name, type=int)
    parser.add_argument("--width", type=int, default=576)
    parser.add_argument("--height", type=int, default=576)
    parser.add_argument("--spp", type=int, default=6)
    parser.add_argument("--bg", default="", help="folder of photos for walls and rooms")
    parser.add_argument("--until", type=float, default=float("inf"), help="start no picture after this time (seconds, epoch)")
    options = parser.parse_args()
    options.photos = sorted(glob.glob(os.path.join(options.bg, "*.jpg"))) if options.bg else []
    os.makedirs(options.out, exist_ok=True)
    cv2.setNumThreads(1)
    import drjit

    drjit.set_thread_count(1)
    for seed in range(options.first + options.i, options.last, options.of):
        if time.time() > options.until:
            break
        try:
            picture(seed, options)
        except Exception as error:  # one picture's bad luck must not end the run
            print(f"{seed:06d} failed: {error!r}"[:300], flush=True)
            traceback.print_exc()


if __name__ == "__main__":
    main()
