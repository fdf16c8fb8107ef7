"""8 bits with spreading, and inks in colour."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.negative.ink import Ink, Inker, agreed_colour, distinct_tones
from tonewright.record.setup import parse_colour

SIDE = 64  # of the threshold tile


def test_16_bit_gray_is_the_codes_themselves():
    codes = np.arange(600, dtype=np.uint16).reshape(20, 30)
    assert Inker(Ink())(0, codes) is codes


@pytest.mark.parametrize("code", [0, 1, 100, 256, 257, 258, 30_000, 40_001, 65_278, 65_534, 65_535])
def test_8_bits_keep_the_amount_of_ink_on_a_small_area(code):
    """The mean of a tile is the 16-bit code to a 4096th of an 8-bit step."""
    made = Inker(Ink(depth=8))(0, np.full((SIDE, SIDE), code, np.uint16))
    assert made.dtype == np.uint8
    assert set(np.unique(made)) <= {code // 257, min(code // 257 + 1, 255)}
    assert made.mean() * 257 == pytest.approx(code, abs=257 / 4096 + 1e-9)


def test_clear_film_and_heaviest_ink_stay_clean():
    inker = Inker(Ink(depth=8))
    assert (inker(0, np.full((70, 70), 65535, np.uint16)) == 255).all()
    assert (inker(0, np.zeros((70, 70), np.uint16)) == 0).all()


def test_a_ramp_seen_from_afar_is_closer_than_by_rounding():
    """A smooth sky over 6 of 255 steps, blurred as the eye and the coating do."""
    codes = np.tile(np.linspace(30_000, 31_500, 600), (200, 1))
    made = Inker(Ink(depth=8))(0, np.round(codes).astype(np.uint16)).astype(float) * 257
    rounded = np.round(codes / 257) * 257
    random = np.random.default_rng(1)
    white = np.floor(codes / 257 + random.random(codes.shape)) * 257

    def off(image):
        return np.abs(gaussian_filter(image - codes, 3.0)[20:-20, 20:-20]).max()

    assert off(made) < 0.25 * off(rounded)
    assert off(made) < 0.5 * off(white)


@pytest.mark.parametrize("ink", [Ink(8), Ink(8, (255, 120, 0)), Ink(16, (10, 20, 30))])
def test_bands_of_any_height_give_the_same_file(ink):
    codes = np.random.default_rng(3).integers(0, 65536, (211, 97)).astype(np.uint16)
    before = codes.copy()
    whole = Inker(ink)(0, codes)
    inker = Inker(ink)
    cuts = [0, 1, 40, 64, 65, 200, 211]
    parts = [inker(a, codes[a:b]) for a, b in pairwise(cuts)]
    assert np.array_equal(np.concatenate(parts), whole)
    assert np.array_equal(codes, before)
    assert whole.flags.c_contiguous


def test_the_seed_chooses_the_pattern():
    codes = np.full((64, 64), 30_000, np.uint16)
    one, two, again = (Inker(Ink(8, None, seed))(0, codes) for seed in (1, 2, 1))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, two)


def test_black_ink_in_rgb_is_the_gray_negative_three_times():
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    made = Inker(Ink(16, (0, 0, 0)))(0, codes)
    assert np.array_equal(made, np.repeat(codes[..., None], 3, axis=2))


def test_levels_of_a_coloured_ink():
    """Level 0 is white, level 1 the colour, and between them a straight line."""
    levels = np.array([[0.0, 0.5, 1.0]])
    made = Inker(Ink(16, (255, 120, 0)))(0, scales.level_to_code(levels))
    assert made[0, 0].tolist() == [65535, 65535, 65535]
    assert made[0, 2].tolist() == [65535, 120 * 257, 0]
    assert made[0, 1].tolist() == pytest.approx([65535, (65535 + 120 * 257) / 2, 65535 / 2], abs=2)


def test_8_bit_colour_keeps_the_mean_of_each_channel():
    codes = np.full((SIDE, SIDE), 33_333, np.uint16)
    exact = Inker(Ink(16, (200, 90, 10)))(0, codes)[0, 0]
    made = Inker(Ink(8, (200, 90, 10)))(0, codes)
    assert made.reshape(-1, 3).mean(axis=0) * 257 == pytest.approx(exact, abs=0.1)
    # the grains of the channels do not fall together: that would show as a coarser grain
    up = made > made.min(axis=(0, 1))
    assert abs(np.corrcoef(up[..., 0].ravel(), up[..., 1].ravel())[0, 1]) < 0.2


def test_distinct_levels_are_counted():
    table = np.array([65535, 65535, 65300, 65290, 400, 0], np.uint16)
    assert distinct_tones(table, 16) == 5
    assert distinct_tones(table, 8) == len(np.unique(np.floor(table / 257 + 0.5))) == 4


@pytest.mark.parametrize("text", ["255,120,0", " 255, 120 ,0 "])
def test_colours_are_read(text):
    assert parse_colour(text) == (255, 120, 0)


@pytest.mark.parametrize("text", ["", "red", "1,2", "1,2,3,4", "1,2,256", "-1,2,3", "1,2,3.5"])
def test_what_is_no_colour(text):
    with pytest.raises(OptionError, match="255,120,0"):
        parse_colour(text)


def test_white_is_no_ink():
    with pytest.raises(OptionError, match="clear film"):
        parse_colour("255,255,252")


def test_target_and_negative_share_the_colour():
    assert agreed_colour(None, None, "k") is None
    assert agreed_colour(None, "255,120,0", "k") == (255, 120, 0)
    assert agreed_colour("255, 120, 0", "255,120,0", "k") == (255, 120, 0)


@pytest.mark.parametrize(
    ("asked", "remembered", "words"),
    [
        ("255,120,0", None, "in gray"),
        ("255,120,0", "0,120,255", "in the ink colour 0,120,255"),
        ("0,0,0", None, "in gray"),  # black of three inks is not the printer's gray
    ],
)
def test_a_mismatch_is_refused(asked, remembered, words):
    with pytest.raises(OptionError, match=words) as raised:
        agreed_colour(asked, remembered, "kallitype")
    assert (raised.value.code, raised.value.values) == ("ink_colour_differs", {"colour": asked})
