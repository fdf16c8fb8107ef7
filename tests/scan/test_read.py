"""From a scan to densities, with the truth of the virtual darkroom and scanner."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from rooms import Scanner, density_in, scan_sheet
from tonewright.errors import ImageError, OptionError
from tonewright.files.lettering import text_mask
from tonewright.measured.findings import DensitiesByProfile
from tonewright.scales import luminance_to_lightness
from tonewright.scan.findings import (
    DensitiesByKnownPatches,
    PatchClipped,
    PatchesNotRead,
    PatchOutsideResponse,
)
from tonewright.scan.image import Scan
from tonewright.scan.read import ReadSettings, read_target_scan
from tonewright.scan.response import response_from_gray_scale
from tonewright.scan.sample import INNER
from tonewright.target.draw import draw
from tonewright.target.layout import LayoutSettings, even_levels, make_target
from tonewright.virtual import darkroom, scanroom

TARGET = make_target(even_levels(15), LayoutSettings(
    name="invented", repeats=2, seed=3, ppi=240, width_mm=101.6, height_mm=127.0))
ROOM = darkroom.Darkroom(darkroom.DEMO_INK, darkroom.KALLITYPE)
SCANNER = Scanner(ppi=240.0)
FLAWS = scanroom.PaperFlaws(texture_density_sd=0.015, uneven_exposure_sd=0.01, dust=20)
CROOKED = scanroom.Lying(4.0)
SCALE = np.round(np.linspace(0.06, 2.0, 14), 2)


def scan_of(render, **changes):
    return replace(Scan(render.pixels, 16, render.ppi, None), **changes)


@cache
def sheet_of(flaws, seed):
    negative = np.concatenate(list(draw(TARGET, text_mask)))
    return scanroom.print_sheet(negative, TARGET.ppi, ROOM, flaws, seed=seed)


def render_of(flaws=FLAWS, scanner=SCANNER, seed=1):
    return scan_sheet(sheet_of(flaws, seed), scanner, CROOKED, seed=seed)


def truth_in(render):
    """Densities that are really on the sheet where patches are sampled."""
    edge = 0.5 * (1.0 - INNER)
    return np.array([density_in(render.sheet,
        p.x_mm + edge * p.width_mm, p.y_mm + edge * p.height_mm, INNER * p.width_mm,
        INNER * p.height_mm) for p in TARGET.patches])


def densities(read):
    return np.array([np.nan if p.density is None else p.density for p in read.patches])


@pytest.fixture(scope="module")
def response():
    return response_from_gray_scale(SCALE, SCANNER.code(SCALE), np.full(SCALE.size, 5e-4))


@pytest.fixture(scope="module")
def render():
    return render_of()


@pytest.fixture(scope="module")
def read(render, response):
    return read_target_scan(scan_of(render), TARGET, ReadSettings(response=response))


def test_densities_are_those_on_the_sheet(render, read):
    """0.015 RMS up to 1.6 is asked; an evenly lit scan comes to a fifth of it."""
    true = truth_in(render)
    off = densities(read) + read.unevenness.shift - true
    assert np.sqrt(np.mean(off[true <= 1.6] ** 2)) < 0.003


def test_its_own_uncertainty_is_honest(render, read):
    true = ROOM.print_density(TARGET.level)
    sd = np.array([p.density_sd for p in read.patches])
    off = densities(read) - true
    assert np.mean(np.abs(off - off.mean()) < 2.5 * sd) > 0.8
    assert np.all((sd > 0.001) & (sd < 0.05))


def test_unevenness_is_taken_out(read):
    """Standard deviation from the ideal print, before and after."""
    true = ROOM.print_density(TARGET.level)
    before = np.std(densities(read) + read.unevenness.shift - true)
    assert np.std(densities(read) - true) < 0.8 * before


def test_an_inverted_scan_gives_the_same_densities(render, read, response):
    turned = read_target_scan(scan_of(render, pixels=1.0 - render.pixels), TARGET,
                              ReadSettings(response=response))
    assert densities(turned) == pytest.approx(densities(read), abs=2e-3)


def test_known_patches_stand_in_for_a_scale(render):
    """White and black alone, with a scanner whose tone curve is the usual one: 0.03 RMS."""
    true = truth_in(render)
    white, black = (float(np.median(true[list(TARGET.of_kind(k))])) for k in ("full", "clear"))
    known = {"white": white, "black": black}
    read = read_target_scan(scan_of(render), TARGET, ReadSettings(known=known))
    off = densities(read) + read.unevenness.shift - true
    assert np.sqrt(np.mean(off**2)) < 0.03
    assert read.density_sd_median > 0.01  # and it says that it is less sure
    assert read.findings == (DensitiesByKnownPatches(by_profile=False),)


def test_a_known_patch_sets_a_dim_lamp_right(render, response):
    dim = render_of(scanner=replace(SCANNER, gain=0.8))
    read = read_target_scan(scan_of(dim), TARGET, ReadSettings(response=response))
    assert np.median(densities(read) + read.unevenness.shift - truth_in(dim)) > 0.06
    white = float(np.median(truth_in(dim)[list(TARGET.of_kind("full"))]))
    read = read_target_scan(scan_of(dim), TARGET,
                            ReadSettings(response=response, known={"white": white}))
    assert abs(np.median(densities(read) + read.unevenness.shift - truth_in(dim))) < 0.006
    with pytest.raises(OptionError, match="lamp changes all"):
        read_target_scan(scan_of(dim), TARGET,
                         ReadSettings(response=response, known={"white": 0.6}))


def test_nothing_that_says_what_codes_mean_is_an_error(render):
    with pytest.raises(OptionError) as caught:
        read_target_scan(scan_of(render), TARGET)
    assert caught.value.code == "scanner_unknown"


def test_a_profile_alone_is_taken_with_a_warning(render):
    luminance = 100.0 * np.linspace(0.0, 1.0, 1001) ** 2.2
    read = read_target_scan(scan_of(render, lightness=luminance_to_lightness(luminance)), TARGET)
    assert read.findings == (DensitiesByProfile("the scan"),)
    assert read.density_sd_median > 0.02


@pytest.mark.parametrize(("name", "said"), [("Z9", "Z9"), ("", "''")])
def test_an_unknown_patch_is_named(render, name, said):
    with pytest.raises(OptionError, match=said):
        read_target_scan(scan_of(render), TARGET, ReadSettings(known={name: 0.1, "black": 1.5}))


def test_stains_are_found_and_named(response):
    flaws = replace(FLAWS, stains=6, stain_density=0.35, stain_mm=9.0)
    render = render_of(flaws=flaws, seed=5)
    read = read_target_scan(scan_of(render), TARGET, ReadSettings(response=response))
    true = ROOM.print_density(TARGET.level)
    off = densities(read) - true
    gross = np.abs(off - np.median(off)) > 0.05
    doubtful = np.array([bool(p.doubts) for p in read.patches])
    assert not np.any(gross & ~doubtful)
    inner = []
    for p in TARGET.patches:
        x, y = p.centre
        reach = INNER * p.width_mm / 2
        inner.append(any(abs(x - sx) < reach and abs(y - sy) < reach
                         for sx, sy, _ in render.sheet.stains_mm))
    assert np.all(doubtful[np.array(inner)])
    assert doubtful.sum() < 12


def test_a_clipped_patch_is_left_out_and_said(render, response):
    pixels = render.pixels.copy()
    read = read_target_scan(scan_of(render), TARGET, ReadSettings(response=response))
    tone = next(i for i, p in enumerate(TARGET.patches) if p.kind == "tone")
    patch = TARGET.patches[tone]
    column, row = read.located.placement.to_scan(patch.centre).astype(int)
    pixels[row - 30 : row + 30, column - 30 : column + 30] = 1.0
    again = read_target_scan(scan_of(render, pixels=pixels), TARGET,
                             ReadSettings(response=response))
    assert again.patches[tone].density is None
    assert again.patches[tone].doubts[0] == PatchClipped(
        patch.name, "white", again.patches[tone].clipped)
    assert again.findings == (PatchesNotRead((patch.name,)),)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda p: np.clip(1.5 * p, 0, 1), "clipped to white"),
        (lambda p: np.clip(p - 0.3, 0, 1), "clipped to black"),
    ],
)
def test_automatic_exposure_is_recognised(render, response, spoil, said):
    with pytest.raises(ImageError, match=said) as caught:
        read_target_scan(scan_of(render, pixels=spoil(render.pixels)), TARGET,
                         ReadSettings(response=response))
    assert "exposure" in caught.value.way_out


def test_eight_bits_read_nearly_as_well(render, response, read):
    coarse = (np.round(render.pixels * 255) / 255).astype(np.float32)
    eight = read_target_scan(scan_of(render, pixels=coarse, bits=8), TARGET,
                             ReadSettings(response=response))
    away = np.abs(densities(eight) - densities(read))
    assert np.max(away[densities(read) < 1.2]) < 0.01
    assert len(eight.doubtful) <= len(read.doubtful) + 2


def test_outside_the_scale_is_said(render):
    short = SCALE[SCALE < 1.1]
    response = response_from_gray_scale(short, SCANNER.code(short), np.full(short.size, 5e-4))
    read = read_target_scan(scan_of(render), TARGET, ReadSettings(response=response))
    black = read.patches[TARGET.of_kind("clear")[0]]
    assert black.doubts[0] == PatchOutsideResponse(
        black.patch.name, response.lightest_density, response.darkest_density)


def test_too_coarse_a_scan_is_said(response):
    coarse = render_of(scanner=replace(SCANNER, ppi=60.0))
    small = make_target(even_levels(15), LayoutSettings(repeats=2, seed=3, patch_mm=3.0))
    with pytest.raises(ImageError):
        read_target_scan(scan_of(coarse), small, ReadSettings(response=response))
