"""The virtual scanner against the virtual darkroom's exact truth, and against colour-science."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from rooms import Scanner, density_in, print_strip, random_scanner, random_spoilt, scan_sheet
from tonewright import scales
from tonewright.virtual.darkroom import KALLITYPE, Darkroom
from tonewright.virtual.scanroom import Lying, PaperFlaws, gray_scale, print_sheet

PLAIN = Scanner(gamma=1.0, flare=0.0, gain=1.0, read_noise=0.0, shot_noise=0.0, blur_px=0.0)
LEVELS = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])


def negative(ppi=254.0, patch_mm=8.0):
    """Six patches in a row and, below, the first alone: no mirror image of itself."""
    side = round(ppi / 25.4 * patch_mm)
    codes = scales.level_to_code(LEVELS).astype(np.uint16)
    top = np.repeat(codes, side)[None].repeat(side, axis=0)
    below = np.full_like(top, codes[-1])
    below[:, :side] = codes[0]
    return np.concatenate([top, below])


def seen(render, x, y, size=2.0):
    """Mean density in the scan around a place in mm, for a scanner without faults."""
    corners = render.corners(x - size / 2, y - size / 2, size, size)
    (left, top), (right, bottom) = corners.min(axis=0).astype(int), corners.max(axis=0).astype(int)
    return float(-np.log10(render.pixels[top:bottom, left:right].mean()))


def test_encodings_by_the_standards():
    light = np.array([0.0, 0.001, 0.002, 0.01, 0.18, 0.5, 1.0])
    standard = colour.models.eotf_inverse_sRGB(light)  # IEC 61966-2-1
    assert np.abs(Scanner(encoding="srgb").encode(light) - standard).max() < 2e-4
    lightness = colour.lightness(100.0 * light, method="CIE 1976") / 100.0
    assert np.abs(Scanner(encoding="lightness").encode(light) - lightness).max() < 1e-6
    assert Scanner(gamma=2.0).encode([0.25, 2.0]).tolist() == [0.5, 1.0]


def test_flare_lifts_the_blacks():
    scanner = Scanner(gamma=1.0, gain=1.0, flare=0.01)
    assert scanner.code(2.0) == pytest.approx(0.02)
    assert scanner.code(6.0) == pytest.approx(0.01, abs=1e-5)


def test_a_print_has_the_darkrooms_densities_and_reads_right():
    room = Darkroom()
    # the negative is mirrored to lie ink to coating
    sheet = print_sheet(negative()[:, ::-1], 254.0, room)
    found = [density_in(sheet, 8.0 * k + 2.0, 2.0, 4.0, 4.0) for k in range(6)]
    assert found == pytest.approx(room.print_density(LEVELS), abs=1e-3)
    assert density_in(sheet, 2.0, 10.0, 4.0, 4.0) == pytest.approx(found[0], abs=1e-3)
    assert density_in(sheet, 20.0, 10.0, 4.0, 4.0) == pytest.approx(found[-1], abs=1e-3)
    # outside the coating bare paper
    assert sheet.density[3, 3] == pytest.approx(KALLITYPE.white_density, abs=1e-4)


@pytest.mark.parametrize("quarter", [0, 1, 2, 3])
@pytest.mark.parametrize("mirrored", [False, True])
def test_every_place_is_where_the_matrix_says(quarter, mirrored):
    room = Darkroom()
    sheet = print_sheet(negative()[:, ::-1], 254.0, room)
    lying = Lying(7.0, quarter, mirrored, (8e-5, -6e-5))
    render = scan_sheet(sheet, PLAIN, lying)
    for k, density in enumerate(room.print_density(LEVELS)):
        assert seen(render, 8.0 * k + 4.0, 4.0) == pytest.approx(density, abs=0.004)
    assert seen(render, 4.0, 12.0) == pytest.approx(room.print_density(0.0), abs=0.004)
    corners = render.corners(0.0, 0.0, 48.0, 16.0)
    first, second = corners[1] - corners[0], corners[3] - corners[0]
    assert (first[0] * second[1] - first[1] * second[0] < 0.0) == mirrored
    rows, columns = render.codes.shape
    assert corners.min() > 0.0
    assert corners[:, 0].max() < columns
    assert corners[:, 1].max() < rows


def test_turned_clockwise_by_what_was_asked():
    sheet = gray_scale([0.1, 1.0])
    across = np.diff(scan_sheet(sheet, PLAIN, Lying(10.0)).corners(0, 0, 16, 14)[:2], axis=0)[0]
    assert np.degrees(np.arctan2(across[1], across[0])) == pytest.approx(10.0, abs=1e-6)


def test_the_strip_is_the_process_response():
    """Step k of density d lies at log exposure -d; the film half gets its density less."""
    room, steps = Darkroom(), np.arange(21) * 0.15
    sheet = print_strip(steps, room)
    upper = [density_in(sheet, 5.0 * k + 1.5, 3.0, 2.0, 6.0) for k in range(21)]
    lower = [density_in(sheet, 5.0 * k + 1.5, 15.0, 2.0, 6.0) for k in range(21)]
    assert upper == pytest.approx(room.process_density(-steps), abs=1e-3)
    assert lower == pytest.approx(room.process_density(-steps + room.film_density), abs=1e-3)


def test_a_gray_scale_is_what_it_says():
    known = [0.05, 0.7, 2.0]
    sheet = gray_scale(known)
    found = [density_in(sheet, 8.0 * k + 1.0, 1.0, 6.0, 12.0) for k in range(3)]
    assert found == pytest.approx(known)
    assert density_in(sheet, -0.8, 1.0, 0.6, 12.0) == pytest.approx(0.05)


def test_shading_and_noise_as_asked():
    sheet = gray_scale([0.5] * 6)
    plain = scan_sheet(sheet, PLAIN)
    noisy = scan_sheet(sheet, Scanner(gamma=1.0, flare=0.0, gain=1.0, read_noise=0.001,
                                      shot_noise=0.003, blur_px=0.0))
    corners = plain.corners(1.0, 1.0, 46.0, 12.0)
    (left, top), (right, bottom) = corners[0].astype(int), corners[2].astype(int)
    part = (noisy.pixels - plain.pixels)[top:bottom, left:right]
    light = 10.0**-0.5
    assert part.std() == pytest.approx(np.hypot(0.001, 0.003 * np.sqrt(light)), rel=0.03)
    shaded = scan_sheet(sheet, Scanner(gamma=1.0, flare=0.0, gain=1.0, read_noise=0.0,
                                       shot_noise=0.0, blur_px=0.0, shading=0.15))
    ratio = shaded.pixels / plain.pixels
    assert ratio.max() == pytest.approx(1.0, abs=0.001)
    assert ratio.min() == pytest.approx(0.85, abs=0.001)


def test_flaws_come_out_as_large_as_asked():
    room = Darkroom()
    blank = np.full((300, 300), 65535, np.uint16)
    clean = print_sheet(blank, 254.0, room)
    rough = print_sheet(blank, 254.0, room, PaperFlaws(texture_density_sd=0.03), seed=2)
    inner = np.s_[150:370, 150:370]
    assert (rough.density - clean.density)[inner].std() == pytest.approx(0.03, rel=0.15)
    stained = print_sheet(blank, 254.0, room, PaperFlaws(stains=4), seed=2)
    assert len(stained.stains_mm) == 4
    x, y, _ = stained.stains_mm[0]
    assert density_in(stained, x - 0.5, y - 0.5, 1.0, 1.0) > density_in(clean, 10, 10, 1, 1) + 0.05


def test_the_same_seed_gives_the_same_scan():
    sheet = gray_scale([0.1, 1.0])
    one, two, other = (scan_sheet(sheet, Scanner(), seed=s).codes for s in (1, 1, 2))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


def test_eight_bits_are_256_values():
    codes = scan_sheet(gray_scale([0.1, 1.0]), Scanner(bits=8)).codes
    assert np.all(codes % 257 == 0)


def test_trials_stay_within_what_they_promise():
    for seed in range(20):
        rng = np.random.default_rng(seed)
        scanner, spoilt = random_scanner(rng), random_spoilt(rng)
        assert 0.001 <= scanner.flare <= 0.01
        assert abs(spoilt.lying.rotation_degrees) <= 10.0
        assert np.abs(spoilt.lying.perspective).max() <= 1e-4
        assert spoilt.scanner.shading <= 0.15
        assert spoilt.flaws.stains == 4
