"""A plain sheet takes the lamp's unevenness out: virtual scans with known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rooms import Encoding, Scanner
from tonewright.errors import ImageError, OptionError
from tonewright.scan.flat import Flat, flat_of, in_even_light, light_at
from tonewright.scan.image import Scan, Taken
from tonewright.scan.response import response_from_gray_scale
from tonewright.virtual import scanroom

SHAPE = (600, 460)
KNOWN = np.linspace(0.05, 1.9, 24)
SD = np.full(24, 2e-4)
GRAY = Taken("gray", 16, None, 300.0, None)


def scan(codes, taken=GRAY, **changes):
    return replace(Scan(codes.astype(np.float32), 16, 300.0, None, name="plain", taken=taken),
                   **changes)


class Bed:
    """A flatbed whose lamp falls off by 15 percent."""

    def __init__(self, seed: int, encoding: Encoding) -> None:
        self.rng = np.random.default_rng(seed)
        self.scanner = Scanner(
            encoding=encoding, gamma=self.rng.uniform(1.8, 2.4),
            flare=self.rng.uniform(0.001, 0.008), gain=self.rng.uniform(0.85, 0.95))
        self.shade = scanroom._shade(SHAPE, 0.15, self.rng)

    def plain(self, dust: int = 60) -> Scan:
        light = 10.0 ** -(0.06 + self.rng.normal(0.0, 0.01, SHAPE))
        for _ in range(dust):
            row, column = self.rng.integers(0, 450, 2)
            light[row : row + 5, column : column + 5] *= 0.3
        return scan(self.scanner.encode(self.scanner.gain * (light + self.scanner.flare)
                                        * self.shade))

    def codes(self, density, places):
        shade = self.shade[places[:, 1].astype(int), places[:, 0].astype(int)]
        return self.scanner.encode(self.scanner.gain * (10.0**-density + self.scanner.flare)
                                   * shade)

    def places(self, count):
        return np.stack([self.rng.uniform(15, 445, count), self.rng.uniform(15, 585, count)], 1)


def error(bed: Bed, flat: Flat | None) -> float:
    """Root mean square of 200 densities all over the glass, the scale learnt with the same flat."""
    page = scan(np.zeros(SHAPE))
    row = np.stack([np.linspace(40, 420, 24), np.full(24, bed.rng.uniform(60, 540))], 1)
    codes = bed.codes(KNOWN, row)
    response = response_from_gray_scale(KNOWN, codes, SD)
    for _ in range(0 if flat is None else 2):
        light = flat.light(page, row, response)
        response = response_from_gray_scale(in_even_light(KNOWN, 1.0 / light, response.flare),
                                            codes, SD)
    density, places = bed.rng.uniform(0.07, 1.75, 200), bed.places(200)
    light, _ = light_at(page, places, response, flat)
    seen = response.density_of(bed.codes(density, places))[0]
    return float(np.sqrt(np.mean((in_even_light(seen, light, response.flare) - density) ** 2)))


@pytest.mark.parametrize("encoding", ["power", "srgb", "lightness"])
def test_densities_without_any_known_patch(encoding):
    """Goal 0.008; without the plain sheet about 0.018."""
    without, with_flat = [], []
    for seed in range(3):
        bed = Bed(seed, encoding)
        flat = flat_of(bed.plain())
        with_flat.append(error(bed, flat))
        without.append(error(Bed(seed, encoding), None))
    assert max(with_flat) < 0.005
    assert np.median(without) > 2.5 * max(with_flat)


def test_dust_and_texture_do_not_get_in():
    bed = Bed(3, "power")
    clean, dusty = flat_of(bed.plain(0)), flat_of(bed.plain(300))
    page, places = scan(np.zeros(SHAPE)), bed.places(100)
    response = response_from_gray_scale(KNOWN, bed.scanner.code(KNOWN), SD)
    apart = np.log10(clean.light(page, places, response) / dusty.light(page, places, response))
    assert np.ptp(apart) < 0.003


def test_a_resolution_is_the_same_as_png_can_say_it():
    """PNG counts pixels by the metre: 11811 of them are 299.9994 to the inch."""
    bed = Bed(3, "power")
    response = replace(response_from_gray_scale(KNOWN, bed.scanner.code(KNOWN), SD), taken=GRAY)
    page = np.zeros(SHAPE)
    assert response.check_taken(scan(page, replace(GRAY, ppi=11811 * 0.0254))) == ()
    (found,) = response.check_taken(scan(page, replace(GRAY, ppi=301.0)))
    assert (found.entry, found.before, found.now) == ("resolution", "300 ppi", "301 ppi")


def test_the_same_density_without_a_plain_sheet():
    density = np.array([0.07, 1.6, np.nan])
    assert in_even_light(density, None, 0.004) is density


def test_what_is_no_plain_sheet_is_refused():
    bed = Bed(1, "power")
    with pytest.raises(ImageError, match="clipped"):
        flat_of(scan(np.ones(SHAPE)))
    with pytest.raises(ImageError, match="white all over"):
        flat_of(scan(np.full(SHAPE, 0.2)))
    half = bed.plain().pixels.copy()
    half[:250] *= 0.7
    with pytest.raises(ImageError, match="plain white sheet"):
        flat_of(scan(half))


def test_another_part_of_the_glass_or_another_mode_is_refused():
    flat = flat_of(Bed(1, "power").plain())
    with pytest.raises(OptionError, match="same part of the glass"):
        flat.check_fits(scan(np.zeros((600, 300))))
    with pytest.raises(OptionError, match=r"is gray, plain RGB\. .*same settings"):
        flat.check_fits(scan(np.zeros(SHAPE), replace(GRAY, mode="luminance")))
    coarse = scan(np.zeros((300, 230)), ppi=150.0)
    flat.check_fits(coarse)
