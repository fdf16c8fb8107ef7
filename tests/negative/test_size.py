"""How large, and how many pixels."""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from tonewright.errors import OptionError
from tonewright.negative.size import Size, SizeWish, parse_length, parse_ppi, plan_size


@pytest.mark.parametrize(
    ("text", "mm"),
    [("200mm", 200), ("20 cm", 200), ("8in", F("203.2")), ('8"', F("203.2")), ("0.5IN", F("12.7")),
     ("100,5mm", F("100.5"))],
)
def test_lengths(text, mm):
    assert parse_length(text, "--width") == mm


@pytest.mark.parametrize("text", ["", "200", "mm", "-5mm", "0mm", "1e3mm", "6000mm", "20ft", "nan"])
def test_what_is_no_length(text):
    with pytest.raises(OptionError, match=r"--width.*200mm"):
        parse_length(text, "--width")


@pytest.mark.parametrize(("text", "unit"), [("3m", "m"), ("20 ft", "ft"), ("8µm", "µm")])
def test_a_unit_that_is_not_known_is_named_with_those_that_are(text, unit):
    with pytest.raises(OptionError, match=rf"{unit!r} is not a unit known here\..*mm, cm or in"):
        parse_length(text, "--margin")


@pytest.mark.parametrize("text", ["", "x", "0", "-300", "inf", "nan", "20000", "1/0"])
def test_what_is_no_resolution(text):
    with pytest.raises(OptionError, match="the ppi"):
        parse_ppi(text, "the ppi")


def test_nothing_asked_nothing_changed():
    assert plan_size(300, 200, (F(360), F(360)), SizeWish()) == Size(300, 200, (F(360),) * 2, False)
    assert plan_size(300, 200, None, SizeWish()) == Size(300, 200, None, False)


def test_width_alone_changes_how_many_go_to_the_inch():
    size = plan_size(1000, 500, None, SizeWish(width_mm=F(254)))
    assert size == Size(1000, 500, (F(100), F(100)), False)
    assert size.millimetres == pytest.approx((254, 127))
    assert plan_size(1000, 500, (F(9), F(9)), SizeWish(height_mm=F(127))) == size


def test_ppi_resamples_at_the_same_size():
    size = plan_size(1000, 500, (F(300), F(300)), SizeWish(ppi=F(360)))
    assert size == Size(1200, 600, (F(360), F(360)), True)


def test_ppi_that_the_image_has_already_changes_nothing():
    assert not plan_size(1000, 500, (F(300), F(300)), SizeWish(ppi=F(300))).resampled


def test_ppi_without_any_size_only_says_how_large_its_pixels_are():
    assert plan_size(1000, 500, None, SizeWish(ppi=F(360))) == Size(1000, 500, (F(360),) * 2, False)


def test_pixels_that_are_not_square_become_so():
    size = plan_size(1000, 500, (F(300), F(150)), SizeWish(ppi=F(300)))
    assert (size.width, size.height) == (1000, 1000)
    kept = plan_size(1000, 500, (F(300), F(150)), SizeWish(width_mm=F(254)))
    assert kept.per_inch == (F(100), F(50))
    assert kept.millimetres == pytest.approx((254, 254))


def test_a_picture_keeps_its_shape():
    fits = SizeWish(width_mm=F(200), height_mm=F(100))
    assert plan_size(1000, 500, None, fits).millimetres == pytest.approx((200, 100))
    with pytest.raises(OptionError, match=r"crop.*editor"):
        plan_size(1000, 500, None, SizeWish(width_mm=F(200), height_mm=F(120)))


def test_too_many_pixels():
    with pytest.raises(OptionError, match="million"):
        plan_size(1000, 900, None, SizeWish(width_mm=F(2000), ppi=F(5760)))
