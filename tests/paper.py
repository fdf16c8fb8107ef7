"""A scan-like picture of a target made by general-purpose libraries alone, for checks from
outside: drawn by Pillow from the document, warped and spoilt by scikit-image."""

from __future__ import annotations

from functools import cache

import numpy as np
from PIL import Image, ImageDraw
from skimage.filters import gaussian
from skimage.transform import ProjectiveTransform, warp
from skimage.util import random_noise


def gray_of(level: float) -> int:
    """The gray (0 to 255) that a patch of this level is painted with: 25 to 230."""
    return round(25 + 205 * level)


@cache
def painted(target, px_per_mm: float = 12.0) -> np.ndarray:
    """The print as it reads right, 0 to 1, with a paper border of 10 mm."""
    def px(mm: float) -> int:
        return round((mm + 10.0) * px_per_mm)

    size = (px(target.width_mm + 10.0), px(target.height_mm + 10.0))
    image = Image.new("L", size, 235)
    pen = ImageDraw.Draw(image)
    pen.rectangle((px(0), px(0), px(target.width_mm), px(target.height_mm)), fill=25)
    for p in target.patches:
        pen.rectangle((px(p.x_mm), px(p.y_mm), px(p.x_mm + p.width_mm) - 1,
                       px(p.y_mm + p.height_mm) - 1), fill=gray_of(p.level))

    def disc(x: float, y: float, radius: float, fill: int) -> None:
        # Pillow's boxes hold both their ends
        pen.ellipse((px(x - radius), px(y - radius), px(x + radius) - 1, px(y + radius) - 1),
                    fill=fill)

    for m in target.marks:
        radius = m.size_mm / 2
        disc(m.x_mm, m.y_mm, radius, 230)
        many = int(m.name)
        for i in range(many):
            turn = 2 * np.pi * i / many
            away = 0.0 if many == 1 else 0.5 * radius
            disc(m.x_mm + away * np.sin(turn), m.y_mm - away * np.cos(turn), 0.2 * radius, 25)
    for d in target.dots:
        disc(d.x_mm, d.y_mm, d.size_mm / 2, 230)
        if d.hollow:
            disc(d.x_mm, d.y_mm, d.size_mm / 4, 25)
    return np.asarray(image) / 255.0


@cache
def smoothed(target) -> np.ndarray:
    """The same with edges as soft as a scan's."""
    return gaussian(painted(target), 0.7)


def laid(target, *, degrees=0.0, mirrored=False, bend=(0.0, 0.0), seed=0, noise=0.01,
         px_per_mm=6.0):
    """(scan, matrix): the painted print on the glass, and mm to pixels, shape (3, 3)."""
    picture = smoothed(target)
    angle = np.radians(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0],
                     [0, 0, 1.0]])
    flip = np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    warped = np.array([[1.0, 0, 0], [0, 1.0, 0], [*bend, 1.0]])
    matrix = np.diag([px_per_mm, px_per_mm, 1.0]) @ warped @ turn @ flip
    matrix = matrix @ np.array([[1.0, 0, -target.width_mm / 2], [0, 1.0, -target.height_mm / 2],
                                [0, 0, 1.0]])
    corners = ProjectiveTransform(matrix)(np.array(
        [[x, y] for x in (-10.0, target.width_mm + 10) for y in (-10.0, target.height_mm + 10)]))
    low, high = corners.min(axis=0) - 20, corners.max(axis=0) + 20
    matrix = np.array([[1.0, 0, -low[0]], [0, 1.0, -low[1]], [0, 0, 1.0]]) @ matrix
    # pixel centres of the painted picture lie at (mm + 10) * 12 - 0.5
    to_paint = np.array([[12.0, 0, 119.5], [0, 12.0, 119.5], [0, 0, 1.0]])
    inverse = ProjectiveTransform(to_paint @ np.linalg.inv(matrix))
    shape = tuple(np.ceil(high - low).astype(int)[::-1])
    seen = warp(picture, inverse, output_shape=shape, order=1, cval=0.9)
    if noise:
        seen = random_noise(seen, var=noise**2, rng=seed)
    return seen.astype(np.float32), matrix
