"""Marks are found wherever they lie, each by its number, and nothing else passes for one.

The pictures are painted by Pillow, turned and warped by scikit-image, not drawn by our own sheet.
"""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont
from skimage.transform import rotate

import paper
from tonewright.scan.marks import find_marks, whole_sets
from tonewright.target.layout import LayoutSettings, even_levels, make_target

TARGET = make_target(even_levels(11), LayoutSettings(
    seed=5, width_mm=101.6, height_mm=127.0))


def painted(numbers, radius=16, light=225, dark=30, seed=0):
    """Discs with spots in a row on a dark ground, painted large and brought down; 0 to 1."""
    big, wide, high = 8, max(90 * len(numbers), 180), 180
    first = (wide - 90 * len(numbers)) // 2
    image = Image.new("L", (big * wide, big * high), dark)
    pen = ImageDraw.Draw(image)
    for i, number in enumerate(numbers):
        x, y, r = big * (first + 90 * i + 45), big * high // 2, big * radius
        pen.ellipse((x - r, y - r, x + r, y + r), fill=light)
        for k in range(number):
            turn = 2 * np.pi * k / number
            away = 0.0 if number == 1 else 0.5 * r
            cx, cy, s = x + away * np.sin(turn), y - away * np.cos(turn), 0.2 * r
            pen.ellipse((cx - s, cy - s, cx + s, cy + s), fill=dark)
    small = np.asarray(image.resize((wide, high), Image.Resampling.BOX)) / 255.0
    noise = np.random.default_rng(seed).normal(0.0, 0.01, small.shape)
    return (small + noise).astype(np.float32)


@pytest.mark.parametrize("number", [1, 2, 3, 4])
@pytest.mark.parametrize("degrees", [0.0, 17.0, 90.0, 145.0, 260.0])
@pytest.mark.parametrize("light", [True, False])
def test_each_number_is_known_at_any_turn_and_polarity(number, degrees, light):
    picture = rotate(painted([number]), degrees, order=1, mode="edge").astype(np.float32)
    found = find_marks(picture if light else 1.0 - picture)
    assert [(m.number, m.light) for m in found] == [(number, light)]
    assert found[0].radius == pytest.approx(16.0, abs=0.8)
    # skimage turns about the middle of the picture, where the mark lies
    assert (found[0].x, found[0].y) == pytest.approx((89.5, 89.5), abs=0.4)


def test_a_mirrored_mark_is_the_same_mark():
    picture = painted([1, 2, 3, 4])
    for seen in (picture, np.ascontiguousarray(picture[:, ::-1])):
        assert sorted(m.number for m in find_marks(seen)) == [1, 2, 3, 4]


def test_four_marks_of_one_size_make_a_whole_set():
    found = find_marks(painted([1, 2, 3, 4]))
    assert whole_sets(found)
    assert not whole_sets(found[:3])


@pytest.mark.parametrize("share", [0.15, 0.5])
def test_weak_contrast_and_shading_do_not_hide_them(share):
    picture = painted([1, 2, 3, 4], light=110, dark=60)
    shade = np.linspace(1.0, 1.0 - share, picture.shape[1], dtype=np.float32)
    assert sorted(m.number for m in find_marks(picture * shade)) == [1, 2, 3, 4]


@pytest.mark.parametrize("degrees", [4.0, 187.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_marks_of_a_sheet_are_found_where_they_lie(degrees, mirrored):
    scan, matrix = paper.laid(TARGET, degrees=degrees, mirrored=mirrored, bend=(3e-5, -6e-5),
                              seed=2)
    found = {m.number: m for m in find_marks(scan)[::-1] if m.radius > 15.0}
    assert sorted(found) == [1, 2, 3, 4]
    for mark in TARGET.marks:
        x, y, w = matrix @ [mark.x_mm, mark.y_mm, 1.0]
        here = found[int(mark.name)]
        assert np.hypot(here.x - x / w, here.y - y / w) < 1.0


def test_a_blot_over_part_of_a_mark_loses_that_mark_only():
    picture = painted([1, 2, 3, 4])
    picture[:, 90 * 2 + 40 : 90 * 2 + 90] = 0.1
    assert sorted(m.number for m in find_marks(picture)) == [1, 2, 4]


def test_discs_rings_squares_and_letters_make_no_sheet():
    """A plain disc is nearly a mark with one small spot; nothing here is one with two or more."""
    image = Image.new("L", (700, 500), 20)
    pen = ImageDraw.Draw(image)
    pen.ellipse((40, 40, 80, 80), fill=230)  # no spot
    pen.ellipse((140, 40, 180, 80), fill=230)
    pen.ellipse((147, 47, 173, 73), fill=20)  # a ring
    pen.rectangle((240, 40, 280, 80), fill=230)
    pen.ellipse((255, 55, 265, 65), fill=20)
    pen.ellipse((340, 40, 380, 80), fill=230)
    for x in (349, 357, 365):  # three in a line
        pen.ellipse((x - 3, 57, x + 3, 63), fill=20)
    pen.text((40, 150), "B8 O0 %&@ 680", fill=230, font=ImageFont.load_default(60))
    found = find_marks(np.asarray(image).astype(np.float32) / 255)
    assert not whole_sets(found)
    assert [m for m in found if m.likeness > 0.9 and m.number > 1] == []


@pytest.mark.parametrize("seed", range(3))
def test_noise_and_gradients_hold_no_marks(seed):
    rng = np.random.default_rng(seed)
    noise = rng.random((300, 300)).astype(np.float32)
    y, x = np.mgrid[0:300, 0:300].astype(np.float32) / 300
    for picture in (noise, x * 0.5 + y * 0.4, np.full_like(noise, 0.5)):
        assert [m for m in find_marks(picture) if m.likeness > 0.85] == []
