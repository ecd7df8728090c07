"""Draws texts in a monospaced font, photographs them in software and prepares the photographs for recognition.

usage: shoot.py FOLDER SEED

FOLDER/jobs.json is a list of jobs: {"text": ..., "font": path, "kind": "sheet"|"screen", "strength": 0..2, "name": ...}.
For every job it writes NAME-0.png, NAME-1.png ...: the same photograph prepared in several ways, as a person would with
any image program: light evened out and dark on light, then scaled and sharpened differently.
"""

import json
import sys
import zlib
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

# Mild, middle, strong: what each flaw amounts to.
SHIFT = [0.006, 0.014, 0.028]  # corners, share of the width
BLUR = [0.7, 1.1, 1.7]  # pixels
NOISE = [4.0, 9.0, 18.0]  # standard deviation, of 255
LINES = [0.06, 0.14, 0.28]  # depth of the scan lines
LIGHT = [0.10, 0.25, 0.45]  # from the brightest to the darkest corner
SIZE = 30  # font size in pixels


def draw(text, font, kind):
    face = ImageFont.truetype(font, SIZE)
    rows = text.split("\n")
    width = int(max(face.getlength(r) for r in rows)) + 120
    step = int(SIZE * 1.45)
    height = step * len(rows) + 120
    paper, ink = (235, 25) if kind == "sheet" else (30, 225)
    image = Image.new("L", (width, height), paper)
    pen = ImageDraw.Draw(image)
    for i, row in enumerate(rows):
        pen.text((60, 60 + i * step), row, font=face, fill=ink)
    return image


def perspective(image, rng, strength):
    w, h = image.size
    jitter = lambda: rng.uniform(-1, 1, 2) * SHIFT[strength] * w
    target = np.array([(0, 0), (w, 0), (w, h), (0, h)], float)
    source = target + np.array([jitter() for _ in range(4)])
    rows, right = [], []
    for (x, y), (u, v) in zip(target, source):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    data = np.linalg.solve(np.array(rows), np.array(right))
    fill = int(np.asarray(image)[0, 0])
    return image.transform((w, h), Image.Transform.PERSPECTIVE, data, Image.Resampling.BICUBIC, fillcolor=fill)


def photograph(image, rng, strength):
    image = perspective(image, rng, strength).filter(ImageFilter.GaussianBlur(BLUR[strength]))
    a = np.asarray(image, float)
    h, w = a.shape
    pitch = rng.uniform(2.6, 3.6)
    a *= 1 - LINES[strength] * (0.5 + 0.5 * np.sin(2 * np.pi * np.arange(h)[:, None] / pitch))
    angle = rng.uniform(0, 2 * np.pi)
    y, x = np.mgrid[0:h, 0:w]
    slope = np.cos(angle) * (x / w - 0.5) + np.sin(angle) * (y / h - 0.5)
    a *= 1 - LIGHT[strength] * (slope + 0.7) / 1.4
    a += rng.normal(0, NOISE[strength], a.shape)
    return Image.fromarray(np.clip(a, 0, 255).astype(np.uint8))


def evened(image):
    """Dark on light, with the uneven light divided out."""
    a = np.asarray(image, float)
    if np.median(a) < 110:
        a = 255 - a
        # What was black is not evenly black: take the light from the ground all the same.
    small = Image.fromarray(a.astype(np.uint8)).resize((image.width // 6, image.height // 6), Image.Resampling.BOX)
    small = small.filter(ImageFilter.MaxFilter(7)).filter(ImageFilter.GaussianBlur(8))
    ground = np.asarray(small.resize(image.size, Image.Resampling.BICUBIC), float)
    a = a / np.maximum(ground, 1) * 200
    low, high = np.percentile(a, [1, 70])
    a = (a - low) / max(high - low, 1) * 235 + 10
    return Image.fromarray(np.clip(a, 0, 255).astype(np.uint8))


def prepared(photo):
    """The same photograph at three sizes and sharpnesses: what one of them mistakes, another hardly ever mistakes the same way."""
    flat = evened(photo)
    w, h = flat.size
    blur = lambda radius: flat.filter(ImageFilter.GaussianBlur(radius))
    sized = lambda im, f: im.resize((int(w * f), int(h * f)), Image.Resampling.LANCZOS)
    return [sized(blur(1.0), 1.3), sized(blur(1.0), 0.8), sized(flat.filter(ImageFilter.MedianFilter(3)), 1.2)]


def shoot(args):
    folder, seed, job = args
    rng = np.random.default_rng([seed, zlib.crc32(job["name"].encode())])
    photo = photograph(draw(job["text"], job["font"], job["kind"]), rng, job["strength"])
    names = []
    for i, image in enumerate(prepared(photo)):
        path = folder / f"{job['name']}-{i}.png"
        image.save(path)
        names.append(str(path))
    (folder / f"{job['name']}.list").write_text("\n".join(names) + "\n")


def main():
    folder, seed = Path(sys.argv[1]), int(sys.argv[2])
    jobs = json.loads((folder / "jobs.json").read_text())
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(shoot, [(folder, seed, job) for job in jobs]))


if __name__ == "__main__":
    main()
