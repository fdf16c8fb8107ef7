"""Rows of steps drawn and turned with Pillow, so that our renderer does not judge itself."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageDraw

from tonewright.errors import OptionError, ReadingsError
from tonewright.scan.image import Scan
from tonewright.scan.rectify import parse_corners
from tonewright.scan.steps import read_step_row

WIDE, HIGH, LEFT, TOP = 40, 90, 60, 50
CODES = np.linspace(0.92, 0.12, 14)


def drawn(codes, *, under=None, ground=0.95, degrees=0.0):
    """A scan of a row; `under`: the codes of a second half below."""
    count = len(codes)
    image = Image.new("F", (2 * LEFT + WIDE * count, 2 * TOP + HIGH), ground)
    pen = ImageDraw.Draw(image)
    for k, code in enumerate(codes):
        box = (LEFT + WIDE * k, TOP, LEFT + WIDE * (k + 1) - 1, TOP + HIGH - 1)
        pen.rectangle(box, fill=float(code))
        if under is not None:
            pen.rectangle((box[0], TOP + HIGH // 2, *box[2:]), fill=float(under[k]))
    if degrees:
        image = image.rotate(-degrees, Image.Resampling.BICUBIC, expand=True, fillcolor=ground)
    rng = np.random.default_rng(0)
    pixels = np.asarray(image, dtype=np.float32)
    pixels = pixels + rng.normal(0.0, 0.002, pixels.shape).astype(np.float32)
    return Scan(np.clip(pixels, 0.0, 1.0), 16, 300.0, None)


def corners_of(count):
    right, bottom = LEFT + WIDE * count - 0.5, TOP + HIGH - 0.5
    return np.array([[LEFT - 0.5, TOP - 0.5], [right, TOP - 0.5], [right, bottom],
                     [LEFT - 0.5, bottom]])


def test_by_corners_each_step_is_what_pillow_drew():
    row = read_step_row(drawn(CODES), CODES.size, corners_of(CODES.size))
    assert row.code.shape == (1, CODES.size)
    assert np.abs(row.code[0] - CODES).max() < 3e-4
    assert not row.automatic
    assert not row.dark_first


@pytest.mark.parametrize("degrees", [0.0, 3.0, -8.0, 90.0, 184.0])
def test_found_at_any_turn(degrees):
    row = read_step_row(drawn(CODES, degrees=degrees), CODES.size, dark_first=False)
    assert row.automatic
    assert np.abs(row.code[0] - CODES).max() < 1e-3


def test_the_dark_end_is_step_one_if_asked():
    row = read_step_row(drawn(CODES), CODES.size, dark_first=True)
    assert np.abs(row.code[0] - CODES[::-1]).max() < 1e-3
    # its corners, given by hand, read the same
    again = read_step_row(drawn(CODES), CODES.size, row.corners, dark_first=True)
    assert np.abs(again.code - row.code).max() < 1e-3


def test_halves_and_which_lay_under_the_film():
    """The film takes light away, so its half prints lighter."""
    dark_first = CODES[::-1]
    lighter = np.minimum(dark_first + 0.03, 0.92)
    for upper, lower, film in ((lighter, dark_first, 0), (dark_first, lighter, 1)):
        row = read_step_row(drawn(upper, under=lower, ground=0.05), CODES.size,
                            corners_of(CODES.size), 2, dark_first=True)
        assert np.abs(row.code - np.stack([upper, lower])).max() < 3e-4
        assert row.film_half == film
        assert row.split == pytest.approx(0.5, abs=0.03)
        turned = row.turned()
        assert turned.film_half == 1 - film
        assert np.array_equal(turned.code[0], row.code[1][::-1])


def test_like_halves_have_no_film():
    dark_first = CODES[::-1]
    row = read_step_row(drawn(dark_first, under=dark_first), CODES.size, corners_of(CODES.size), 2)
    assert row.film_half is None


def test_dust_and_a_scratch_leave_the_step_as_it_is():
    scan = drawn(CODES)
    scan.pixels[TOP + 30 : TOP + 38, LEFT + 10 : LEFT + 20] = 1.0
    scan.pixels[TOP + 50 : TOP + 52, :] = 0.0
    row = read_step_row(scan, CODES.size, corners_of(CODES.size))
    assert np.abs(row.code[0] - CODES).max() < 1e-3


def test_clipped_share_is_told():
    codes = CODES.copy()
    codes[0] = 1.0
    row = read_step_row(drawn(codes), codes.size, corners_of(codes.size))
    assert row.clipped[0, 0] > 0.4
    assert row.clipped[0, 1:].max() == 0.0


def test_corners_from_the_other_end_are_told():
    place = corners_of(CODES.size)
    with pytest.raises(ReadingsError) as caught:
        read_step_row(drawn(CODES), CODES.size, place, dark_first=True)
    assert caught.value.code == "row_turned"
    said = caught.value.values["corners"]
    row = read_step_row(drawn(CODES), CODES.size, parse_corners(said), dark_first=True)
    assert row.code[0, 0] == pytest.approx(CODES[-1], abs=1e-3)


@pytest.mark.parametrize("text", ["", "1,2,3", "1,2,3,4,5,6,7,x", "1,2,3,4,5,6,7,nan"])
def test_corners_that_are_none(text):
    with pytest.raises(OptionError, match="eight numbers"):
        parse_corners(text)


@pytest.mark.parametrize(
    "place",
    [
        corners_of(14) + 10_000.0, corners_of(14)[[0, 2, 1, 3]], np.zeros((4, 2)),
        corners_of(14)[:3],
    ],
)
def test_impossible_corners(place):
    with pytest.raises((OptionError, ReadingsError)):
        read_step_row(drawn(CODES), CODES.size, place)


@pytest.mark.parametrize("count", [2, 201])
def test_impossible_counts(count):
    with pytest.raises(OptionError, match="3 to 200"):
        read_step_row(drawn(CODES), count)


def test_a_photograph_is_no_gray_scale():
    """Smooth tones and texture, as a picture has them."""
    rng = np.random.default_rng(3)
    small = Image.fromarray(rng.uniform(0.1, 0.9, (14, 20)).astype(np.float32))
    picture = np.asarray(small.resize((300, 210), Image.Resampling.BICUBIC))
    picture = picture + rng.normal(0.0, 0.01, picture.shape).astype(np.float32)
    with pytest.raises(ReadingsError) as caught:
        read_step_row(Scan(np.clip(picture, 0, 1).astype(np.float32), 16, None, None), 21)
    assert caught.value.code == "row_corners"


def test_more_steps_than_asked_for_are_refused():
    with pytest.raises(ReadingsError):
        read_step_row(drawn(CODES, ground=0.5), CODES.size - 4)
