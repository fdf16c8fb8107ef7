"""Printed step tablets, rendered, scanned and read back as a strip."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from rooms import Scanner, print_strip, scan_sheet
from tonewright.errors import OptionError, ReadingsError
from tonewright.measured.findings import (
    DensitiesByProfile,
    DensitiesByResponse,
    StepsOutOfLine,
)
from tonewright.record.times import parse_time
from tonewright.scan.image import Scan
from tonewright.scan.response import response_from_gray_scale
from tonewright.scan.strips import StripScan, _out_of_line, read_strip_scan
from tonewright.show.findings import sentence
from tonewright.strip.readings import StripOptions, strip_from_table
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom
from tonewright.virtual.scanroom import Lying, PaperFlaws

ROOM = Darkroom()
TABLET = nominal_tablet("21")
FLATBED = Scanner(encoding="srgb", flare=0.006, ppi=200.0)
FLAWS = PaperFlaws(texture_density_sd=0.015, streak_exposure_sd=0.003, dust=8)
PLACE = (0.0, 0.0, 105.0, 24.0)
TIME = ROOM.base_time * 1.25


def response(darkest=2.2):
    known = np.linspace(0.05, darkest, 18)
    return response_from_gray_scale(known, FLATBED.code(known), np.full(18, 1e-4), name="flatbed")


@cache
def rendered(lying=None, scanner=FLATBED):
    sheet = print_strip(TABLET.densities, ROOM, TIME, FLAWS, seed=3)
    render = scan_sheet(sheet, scanner, lying or Lying(2.0), seed=4)
    return Scan(render.pixels, 16, 200.0, None, name="strip.tif"), render.corners(*PLACE)


def truth():
    steps = TABLET.density
    return {word: ROOM.process_density(ROOM.tablet_exposure(steps, TIME, bare=word == "bare"))
            for word in ("film", "bare")}


def strip_of(table):
    return strip_from_table(table, TABLET, StripOptions(parse_time("10min")))


def through(table):
    """Of each half, from top to bottom."""
    return tuple(dict.fromkeys(table.cells("through")))


@pytest.mark.parametrize("lying", [Lying(2.0), Lying(-5.0, 2), Lying(1.0, 1)])
def test_densities_of_both_halves_whichever_way_it_lies(lying):
    scan, _ = rendered(lying)
    strip = strip_of(read_strip_scan(scan, 21, StripScan(response())))
    for word, expected in truth().items():
        found = [p.density for p in strip.patches if p.through == word]
        assert len(found) == 21
        assert np.sqrt(np.mean((np.array(found) - expected) ** 2)) < 0.015
    assert strip.sources[0].kind == "scan"
    assert strip.sources[0].comments == ()
    assert strip.findings == (DensitiesByResponse("strip.tif", "flatbed"),)


def test_by_corners_and_the_deviation_is_honest():
    scan, corners = rendered()
    reading = read_strip_scan(scan, 21, StripScan(response(), corners))
    strip = strip_of(reading)
    expected = np.concatenate([truth()[word] for word in through(reading)])
    sd = np.array([p.density_sd for p in strip.patches])
    off = np.abs(strip.density - expected)
    assert off.max() < 0.04
    assert np.median(sd) < 0.01
    assert through(reading) == ("film", "bare")


@pytest.mark.parametrize(
    ("halves", "expected"),
    [("film/bare", ("film", "bare")), ("bare/film", ("bare", "film")), ("1", ("film",)),
     ("film", ("film",)), ("bare", ("bare",))],
)
def test_halves_as_they_are_named(halves, expected):
    scan, corners = rendered()
    reading = read_strip_scan(scan, 21, StripScan(response(), corners, halves))
    assert through(reading) == expected
    assert len(reading.rows) == 21 * len(expected)


def test_halves_that_do_not_differ_must_be_named():
    bare = Darkroom(film_density=0.0)
    sheet = print_strip(TABLET.densities, bare, None, seed=1)
    render = scan_sheet(sheet, FLATBED, seed=1)
    scan = Scan(render.pixels, 16, 200.0, None)
    with pytest.raises(ReadingsError) as caught:
        read_strip_scan(scan, 21, StripScan(response(), render.corners(*PLACE)))
    assert caught.value.code == "halves_unclear"


def test_a_response_that_ends_before_the_black_is_refused():
    """Its black would be taken for the paper's, and the printing time come out far too short."""
    scan, corners = rendered()
    with pytest.raises(ReadingsError, match=r"steps 1 to \d+ are darker .*found from the blacks"):
        read_strip_scan(scan, 21, StripScan(response(1.3), corners))


def test_clipped_steps_are_refused():
    scan, corners = rendered(scanner=Scanner(encoding="srgb", gain=1.4, ppi=200.0))
    with pytest.raises(ReadingsError, match="clipped to white"):
        read_strip_scan(scan, 21, StripScan(response(), corners))


def test_without_response_or_profile_it_is_refused():
    scan, corners = rendered()
    with pytest.raises(OptionError) as caught:
        read_strip_scan(scan, 21, StripScan(None, corners))
    assert caught.value.code == "scanner_unknown"


def test_by_the_profile_alone_with_a_warning():
    scan, corners = rendered()
    codes = np.linspace(0.0, 1.0, 512)
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    lightness = np.where(light > 216 / 24389, 116 * np.cbrt(light) - 16, 24389 / 27 * light)
    scan = Scan(scan.pixels, 16, 200.0, lightness, name="strip.tif")
    reading = read_strip_scan(scan, 21, StripScan(None, corners))
    assert reading.findings == (DensitiesByProfile("strip.tif"),)
    off = strip_of(reading).density - np.concatenate([truth()["film"], truth()["bare"]])
    sd = np.array([p.density_sd for p in strip_of(reading).patches])
    assert np.all(np.abs(off) < 3.0 * sd + 0.02)
    assert sd.min() > 0.02


@pytest.mark.parametrize(("step", "by"), [(21, 0.15), (17, 0.15), (8, 0.45), (1, -0.3)])
def test_a_stained_step_is_named(step, by):
    density = truth()["film"].copy()
    density[step - 1] += by
    assert _out_of_line(density).tolist() == [step]


def test_texture_is_no_stain():
    noise = np.random.default_rng(0).normal(0.0, 0.01, 21)
    assert _out_of_line(truth()["film"] + noise).size == 0


def test_a_stain_is_found():
    scan, corners = rendered()
    scan = replace(scan, pixels=scan.pixels.copy())
    sheet_step = corners[0] + (corners[2] - corners[0]) * [18.5 / 21, 0.25]
    column, row = sheet_step.astype(int)
    scan.pixels[row - 40 : row + 40, column - 18 : column + 18] *= 0.8
    reading = read_strip_scan(scan, 21, StripScan(response(), corners))
    found = reading.findings[-1]
    assert found == StepsOutOfLine("strip.tif", "film", (19,))
    assert "--skip 19" in sentence(found)
