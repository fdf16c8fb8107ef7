"""A gray scale beside the print in one scan: known truth from the virtual scanner."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from rooms import Glass, Render, density_in, random_glass
from tonewright.errors import OptionError, ReadingsError
from tonewright.files.lettering import text_mask
from tonewright.scan.flat import flat_of
from tonewright.scan.image import Scan
from tonewright.scan.read import ReadSettings, read_target_scan
from tonewright.scan.sample import INNER
from tonewright.target.draw import draw
from tonewright.target.layout import LayoutSettings, even_levels, make_target

TARGET = make_target(even_levels(11), LayoutSettings(
    "small", width_mm=101.6, height_mm=127.0, repeats=2, seed=3, ppi=180.0))
NEGATIVE = np.concatenate(list(draw(TARGET, text_mask)))


def scan_of(render: Render, name: str = "scan.tif") -> Scan:
    return Scan(render.pixels, 16, render.ppi, None, name=name)


@cache
def glass_of(
    seed: int, shading: float | None = None, side: int | None = None, ppi: float = 100.0
) -> Glass:
    return random_glass(TARGET, NEGATIVE, seed, ppi=ppi, shading=shading, side=side)


def settings(glass: Glass, *, flat: bool = True, **more) -> ReadSettings:
    plain = flat_of(scan_of(glass.plain, "plain.tif")) if flat else None
    return ReadSettings(**{"beside": glass.density, "flat": plain, **more})


def off(reading, sheet) -> np.ndarray:
    """Distances of the sound densities up to 1.6 from what the sheet really has there."""
    edge = 0.5 * (1.0 - INNER)
    truth = np.array([density_in(sheet,
        p.x_mm + edge * p.width_mm, p.y_mm + edge * p.height_mm, INNER * p.width_mm,
        INNER * p.height_mm) for p in TARGET.patches])
    read = np.array([np.nan if p.density is None else p.density for p in reading.patches])
    sound = np.array([not p.doubts for p in reading.patches]) & (truth <= 1.6) & np.isfinite(read)
    return (read + reading.unevenness.shift - truth)[sound]


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


@pytest.fixture(scope="module")
def glass() -> Glass:
    """One whose lamp falls off by 15 percent."""
    return glass_of(1, 0.15, ppi=200.0)


@pytest.mark.parametrize(("seed", "side"), [(11, 0), (12, 1), (13, 2), (14, 3)])
def test_found_at_any_side_and_right_without_any_known_patch(seed, side):
    """Goal 0.008 in density with a plain sheet, the lamp up to 15 percent darker in a corner."""
    glass = glass_of(seed, 0.15, side)
    reading = read_target_scan(scan_of(glass.print_), TARGET, settings(glass))
    assert rms(off(reading, glass.print_.sheet)) < 0.003
    assert (reading.basis.way, reading.basis.lamp) == ("gray_scale_beside", "plain_sheet")
    # the row that was found is the one that lay there
    step = glass.scale.sheet
    size = np.array(step.density.shape[::-1]) / step.ppi * 25.4 - 2.0 * np.array(
        step.origin_px) / step.ppi * 25.4
    true = glass.scale.corners(0.0, 0.0, float(size[0]), float(size[1]))
    assert reading.gray_scale is not None
    along = (true[1] - true[0]) / glass.density.size
    away = min(np.abs((np.roll(reading.gray_scale.corners, turn, axis=0) - true) @ along).max()
               for turn in (0, 2))
    assert away < 0.3 * float(along @ along)  # of a step, along the row


def test_what_it_says_it_is_worth_holds(glass):
    """Off together by no more than twice the standard deviation, with a plain sheet and without."""
    for flat in (True, False):
        reading = read_target_scan(scan_of(glass.print_), TARGET, settings(glass, flat=flat))
        error = off(reading, glass.print_.sheet)
        assert abs(error.mean()) < 2.0 * reading.basis.sd_density
        assert reading.basis.lamp == ("plain_sheet" if flat else "not_evened")


def test_a_known_patch_sets_the_lamp_right_but_not_its_fall_off(glass):
    """With a plain sheet as well nothing is taken out twice."""
    white = TARGET.of_kind("full")
    truth = float(np.mean([density_in(glass.print_.sheet,
        p.x_mm, p.y_mm, p.width_mm, p.height_mm) for p in (TARGET.patches[i] for i in white)]))
    known = {"white": truth}
    both, patch, neither = (
        read_target_scan(scan_of(glass.print_), TARGET, settings(glass, flat=flat, known=known_))
        for flat, known_ in ((True, known), (False, known), (False, {})))
    errors = [rms(off(r, glass.print_.sheet)) for r in (both, patch, neither)]
    assert errors[0] < 0.004 < errors[1] < errors[2]
    assert [r.basis.lamp for r in (both, patch, neither)] == [
        "plain_sheet", "known_patches", "not_evened"]


def test_listed_from_the_dark_end(glass):
    reading, turned = (read_target_scan(scan_of(glass.print_), TARGET, settings(
        glass, beside=beside)) for beside in (glass.density, glass.density[::-1].copy()))
    np.testing.assert_allclose([p.density for p in turned.patches],
                               [p.density for p in reading.patches], atol=1e-6)


def test_an_inverted_scan(glass):
    plain = read_target_scan(scan_of(glass.print_), TARGET, settings(glass, flat=False))
    scan = replace(scan_of(glass.print_), pixels=1.0 - glass.print_.pixels)
    inverted = read_target_scan(scan, TARGET, settings(glass, flat=False))
    np.testing.assert_allclose([p.density for p in inverted.patches],
                               [p.density for p in plain.patches], atol=1e-3)


def test_corners_by_hand_where_it_is_not_found(glass, monkeypatch):
    found = read_target_scan(scan_of(glass.print_), TARGET, settings(glass))
    monkeypatch.setattr("tonewright.scan.beside.find_row", None)  # nothing is looked for
    by_hand = read_target_scan(scan_of(glass.print_), TARGET, settings(
        glass, beside_corners=found.gray_scale.corners))
    assert found.gray_scale.automatic and not by_hand.gray_scale.automatic
    np.testing.assert_allclose([p.density for p in by_hand.patches],
                               [p.density for p in found.patches], atol=1e-6)


# What cannot be


def refusal(glass: Glass, pixels: np.ndarray | None = None, **more) -> ReadingsError:
    scan = scan_of(glass.print_)
    if pixels is not None:
        scan = replace(scan, pixels=pixels)
    with pytest.raises(ReadingsError) as caught:
        read_target_scan(scan, TARGET, settings(glass, flat=False, **more))
    return caught.value


@pytest.mark.parametrize("change", [-1, 1])
def test_a_list_of_another_length(glass, change):
    """One short as well, although the card's border may pass for the last step."""
    beside = np.linspace(0.05, 1.9, glass.density.size + change)
    error = refusal(glass, beside=beside)
    assert error.code == "gray_scale_beside"
    assert "gray scale" in error.given and "list" in error.way_out


@pytest.mark.parametrize(
    ("density", "said"),
    [(np.r_[0.05:1.0:12j, 0.9], "from step 12 to 13"), (np.full(12, 0.5), "from step 1 to 2"),
     (np.r_[0.05:1.5:11j, np.nan], "density of nan"), (np.r_[0.05:1.5:11j, 142.0], "142"),
     (np.r_[0.05, 0.5, 1.0], "3 steps"), (np.r_[0.05:1.5:11j, -0.5], "-0.5")])
def test_densities_that_no_gray_scale_has(glass, density, said):
    assert said in refusal(glass, beside=density).given


def blotted(glass: Glass, first: int, last: int, code: float) -> np.ndarray:
    """The scan with some steps of the scale covered."""
    count, pixels = glass.density.size, glass.print_.pixels.copy()
    sheet = glass.scale.sheet
    edge = 25.4 / sheet.ppi * (sheet.origin_px[0] + 0.5)
    wide = (sheet.density.shape[1] / sheet.ppi * 25.4 - 2.0 * edge) / count
    corners = glass.scale.corners(first * wide, -5.0, (last - first) * wide, 40.0)
    (x0, y0), (x1, y1) = (f(corners, axis=0).round().astype(int) for f in (np.min, np.max))
    pixels[max(y0, 0) : y1, max(x0, 0) : x1] = code
    return pixels


def test_no_gray_scale_at_all():
    glass = glass_of(21, 0.0)
    error = refusal(glass, blotted(glass, -2, glass.density.size + 2, 0.9))
    assert "no gray scale of" in error.given and "beside the print in scan.tif" in error.given
    assert error.code == "gray_scale_beside"


def test_a_scale_half_covered_is_refused():
    """Half of it under another sheet: never one step's density for another's."""
    glass = glass_of(21, 0.0)
    half = glass.density.size // 2
    scan = replace(scan_of(glass.print_), pixels=blotted(glass, half, half + 30, 0.8))
    with pytest.raises(ReadingsError) as caught:
        read_target_scan(scan, TARGET, settings(glass, flat=False))
    assert caught.value.code == "gray_scale_beside"


def test_a_scanner_response_as_well(glass):
    response = read_target_scan(scan_of(glass.print_), TARGET, settings(glass)).response
    with pytest.raises(OptionError) as caught:
        read_target_scan(scan_of(glass.print_), TARGET, settings(glass, response=response))
    assert caught.value.code == "response_twice"
