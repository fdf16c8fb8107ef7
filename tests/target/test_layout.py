"""Targets are laid out as asked, scattered evenly, and what does not fit says what would."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.errors import OptionError
from tonewright.record.setup import Setup
from tonewright.target.layout import (
    PAPERS,
    LayoutSettings,
    even_aims,
    even_levels,
    levels_for,
    make_target,
    parse_paper,
    parse_size,
    row_name,
)
from tonewright.virtual import darkroom


def made(levels=21, **settings):
    return make_target(even_levels(levels), LayoutSettings(**settings))


@pytest.fixture(scope="module")
def curve():
    room = darkroom.Darkroom(darkroom.DEMO_INK, darkroom.KALLITYPE)
    readings = darkroom.measure_target(room, np.linspace(0, 1, 21), 2, seed=3).readings
    return make_curve(readings, Settings(Aim()), Setup(), "invented")


def test_every_level_is_there_as_often_as_asked():
    target = made(21, repeats=3, width_mm=215.9, height_mm=279.4)
    tones = [p.level for p in target.patches if p.kind == "tone"]
    assert sorted(tones) == pytest.approx(sorted(np.repeat(np.linspace(0, 1, 21), 3).tolist()))
    assert len(target.of_kind("clear")) >= 3 <= len(target.of_kind("full"))


def test_nothing_overlaps_and_all_lies_on_the_sheet():
    target = made(31, repeats=2)
    boxes = [(p.x_mm, p.y_mm, p.x_mm + p.width_mm, p.y_mm + p.height_mm) for p in target.patches]
    boxes += [(m.x_mm - m.size_mm / 2, m.y_mm - m.size_mm / 2, m.x_mm + m.size_mm / 2,
               m.y_mm + m.size_mm / 2) for m in (*target.marks, *target.dots)]
    for a, b in itertools.combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (a, b)
    assert min(b[0] for b in boxes) >= 4.9 and min(b[1] for b in boxes) >= 4.9
    assert max(b[2] for b in boxes) <= target.width_mm - 4.9
    assert max(b[3] for b in boxes) <= target.height_mm - 4.9


def test_patches_come_in_reading_order_with_their_names():
    target = made(21, repeats=2)
    places = [(p.y_mm, p.x_mm) for p in target.patches]
    assert places == sorted(places)
    row, column = re.fullmatch(r"([A-Z]+)(\d+)", target.patches[-1].name).groups()
    assert (ord(row) - 64) * int(column) == len(target.patches)
    assert [row_name(i) for i in (0, 25, 26, 51, 52)] == ["A", "Z", "AA", "AZ", "BA"]


@pytest.mark.parametrize("seed", range(5))
def test_a_drift_across_the_sheet_does_not_look_like_tone(seed):
    """Level goes with no slope and no bowl across the sheet: correlation below 0.15."""
    target = made(31, repeats=2, seed=seed)
    tones = [p for p in target.patches if p.kind == "tone"]
    level = np.array([p.level for p in tones])
    x, y = np.array([p.centre for p in tones]).T
    for drift in (x, y, x * y, (x - x.mean()) ** 2, (y - y.mean()) ** 2):
        assert abs(np.corrcoef(level, drift)[0, 1]) < 0.15


def test_repeats_lie_apart():
    target = made(31, repeats=2, seed=2)
    tones = [p for p in target.patches if p.kind == "tone"]
    apart = [np.hypot(*np.subtract(a.centre, b.centre))
             for a, b in itertools.combinations(tones, 2) if a.level == b.level]
    assert np.median(apart) > 40.0


def test_references_reach_all_parts_of_the_sheet():
    target = made(31, repeats=2, width_mm=215.9, height_mm=279.4)
    centres = target.patch_centres
    middle = 0.5 * (centres.min(axis=0) + centres.max(axis=0))
    for kind in ("clear", "full"):
        mine = centres[list(target.of_kind(kind))]
        quarters = {(x > middle[0], y > middle[1]) for x, y in mine}
        assert len(quarters) == 4, kind


def test_the_seed_scatters_and_the_same_seed_gives_the_same():
    assert made(seed=4) == made(seed=4)
    first, second = made(seed=4), made(seed=5)
    assert [p.level for p in first.patches] != [p.level for p in second.patches]
    assert [d.hollow for d in first.dots] != [d.hollow for d in second.dots]


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_every_paper_holds_eleven_levels(paper):
    width, height = PAPERS[paper]
    assert len(made(11, width_mm=width, height_mm=height).patches) >= 17
    assert len(made(11, width_mm=height, height_mm=width).patches) >= 17


def test_patches_are_as_large_as_asked():
    assert {p.width_mm for p in made(11, patch_mm=8.0).patches} == {8.0}
    assert made(11).patches[0].width_mm == 20.0


def test_what_does_not_fit_says_what_fits():
    """The ways out that the message names are tried, and each works."""
    settings = {"repeats": 4, "patch_mm": 10.0}
    with pytest.raises(OptionError, match="holds") as caught:
        made(31, **settings)
    message = str(caught.value)
    size = float(re.search(r"patches of ([\d.]+) mm, or", message)[1])
    repeat = int(re.search(r"(\d+) patch(?:es)? of each", message)[1])
    paper = re.search(r"a sheet of ([\dx\w]+)\.", message)[1]
    made(31, repeats=4, patch_mm=size)
    made(31, repeats=repeat, patch_mm=10.0)
    with pytest.raises(OptionError):
        made(31, repeats=repeat + 1, patch_mm=10.0)
    width, height = parse_paper(paper)
    made(31, **settings, width_mm=width, height_mm=height)


@pytest.mark.parametrize(
    "settings",
    [{"repeats": 0}, {"ppi": 5}, {"width_mm": 3}, {"patch_mm": 0.5}, {"ppi": float("nan")}],
)
def test_impossible_settings_are_refused(settings):
    with pytest.raises(OptionError):
        LayoutSettings(**settings)


def test_too_few_levels_are_refused():
    with pytest.raises(OptionError):
        even_levels(2)


@pytest.mark.parametrize(
    ("text", "size"),
    [("130x180mm", (130, 180)), ("5x7in", (127, 177.8)), ("8.5 x 11 inch", (215.9, 279.4)),
     ("13x18cm", (130, 180)), ("200x250", (200, 250)), ('4×5"', (101.6, 127)),
     ("130,5x18.5cm", (1305, 185))],
)
def test_sizes_are_understood(text, size):
    assert parse_size(text) == pytest.approx(size)


@pytest.mark.parametrize("text", ["large", "5in", "x7mm", "1.2.3x4mm", "3x4m", ""])
def test_sizes_that_say_too_little_are_refused(text):
    with pytest.raises(OptionError, match="a unit: mm, cm or in"):
        parse_size(text)


def test_a_size_that_could_be_several_is_refused():
    with pytest.raises(OptionError, match="inches or cm"):
        parse_size("5x7")


def test_paper_names():
    assert parse_paper("A4") == (210.0, 297.0)  # ISO 216
    assert parse_paper("8x10in") == pytest.approx((203.2, 254.0))
    with pytest.raises(OptionError, match="a4"):
        parse_paper("b9")


def test_levels_go_where_the_curve_is_least_sure(curve):
    """Twice the number of levels lies in the half of the range whose band is widest."""
    levels = np.array([t.level for t in levels_for(curve, 31)])
    assert levels[0] == 0.0 and levels[-1] == 1.0 and np.all(np.diff(levels) > 0)
    response = curve.response
    width = np.interp(levels, response.level, response.lightness_high - response.lightness_low)
    at_all = np.interp(np.linspace(0, 1, 1001), response.level,
                       response.lightness_high - response.lightness_low)
    assert np.mean(width > np.median(at_all)) > 0.6


def test_a_target_through_a_curve_asks_for_its_aims(curve):
    tones = even_aims(curve, 11)
    image = np.linspace(0, 100, 11)
    assert [t.level for t in tones] == pytest.approx(curve.level_at(image).tolist(), abs=1e-6)
    assert [t.aim_lightness for t in tones] == pytest.approx(
        curve.print_lightness_at(image).tolist(), abs=1e-3)
