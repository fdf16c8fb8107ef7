"""Every code is the one that double precision gives with a single rounding at its end.

What is expected is worked out here from the published formulas, not by tonewright:

- ICC.1:2022 (ISO 15076-1), 8.3.3: luminance is the sum of the tone curves of red, green and blue,
  each times the Y of its column (s15Fixed16Number, 4.6); 8.3.4: of gray its one curve; 10.6
  (curveType: a power in u8Fixed8Number, or a table, linear between its entries); 10.18, table 68
  (parametricCurveType, function type 3);
- CIE 15:2018 (ISO/CIE 11664-4): L* = 116 (Y/Yn)^(1/3) - 16, below (6/29)^3 linear;
- IEC 61966-2-1, 5.2: sRGB;
- a negative's code: round(65535 (1 - level)), clear film 65535 (this program's own convention).

littleCMS (through Pillow for 8 bits, through imagecodecs for 16) is asked as well, with tolerances
of its own: it rounds to 16 bits on its way.
"""

from __future__ import annotations

import io
import struct
from fractions import Fraction

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.negative.size import SizeWish

FIXED = 65536.0


class Steep:
    """A curve like a fitted one: a table of 1001 rows, steep in the shadows and near white."""

    name = "steep"
    image = np.linspace(0.0, 100.0, 1001)
    share = image / 100.0
    levels = 0.05 + 0.86 * (0.3 * share + 0.25 * share**0.35 + 0.45 * share**12)

    def level_at(self, image_lightness):
        return np.interp(image_lightness, self.image, self.levels)


class Straight:
    name = "straight"

    def level_at(self, image_lightness):
        return 1.0 - np.asarray(image_lightness) / 100.0


def codes_of(luminance, curve):
    """In double precision; the one rounding is the last step."""
    y = np.clip(np.asarray(luminance, np.float64), 0.0, 1.0)
    lightness = np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)
    return np.floor(65535 * (1 - curve.level_at(lightness)) + 0.5).astype(int)


# Profiles, written here


def fixed(number):
    return struct.pack(">i", round(number * FIXED))


def power(gamma):
    return b"curv" + bytes(4) + struct.pack(">IH", 1, round(gamma * 256)), (
        lambda v: v ** (round(gamma * 256) / 256))  # fmt: skip


def table(function, count):
    entries = np.rint(65535 * function(np.linspace(0, 1, count))).astype(">u2")
    element = b"curv" + bytes(4) + struct.pack(">I", count) + entries.tobytes()
    return element, lambda v: np.interp(v, np.linspace(0, 1, count), entries / 65535)


def srgb_formula(v):
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def srgb_parametric():
    numbers = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    g, a, b, c, d = (round(n * FIXED) / FIXED for n in numbers)
    element = b"para" + bytes(4) + struct.pack(">HH", 3, 0) + b"".join(map(fixed, numbers))
    return element, lambda v: np.where(v >= d, np.maximum(a * v + b, 0) ** g, c * v)


def profile(space, elements):
    """ICC.1:2022, 7.2 and 7.3: a version 4 display profile."""
    text = "test".encode("utf-16-be")
    words = b"mluc" + bytes(4) + struct.pack(">II4sII", 1, 12, b"enUS", len(text), 28) + text
    white = b"XYZ " + bytes(4) + struct.pack(">iii", 0xF6D6, 0x10000, 0xD32D)
    elements = {b"desc": words, b"cprt": words, b"wtpt": white, **elements}
    start, rows, body = 132 + 12 * len(elements), b"", b""
    for name, element in elements.items():
        rows += struct.pack(">4sII", name, start + len(body), len(element))
        body += element + bytes(-len(element) % 4)
    head = struct.pack(">I4xI4s4s4s", start + len(body), 0x04200000, b"mntr", space, b"XYZ ")
    head = head.ljust(36, b"\0") + b"acsp"
    head = (head.ljust(68, b"\0") + white[8:]).ljust(128, b"\0")
    return head + struct.pack(">I", len(elements)) + rows + body


def rgb_profile(curves, columns):
    """Three (element, formula) and the XYZ of red, green and blue under D50."""
    elements = {}
    for name, column, (element, _) in zip("rgb", columns, curves, strict=True):
        elements[f"{name}XYZ".encode()] = b"XYZ " + bytes(4) + b"".join(map(fixed, column))
        elements[f"{name}TRC".encode()] = element
    weights = [round(column[1] * FIXED) / FIXED for column in columns]
    return profile(b"RGB ", elements), [formula for _, formula in curves], weights


# XYZ under D50 of the primaries of sRGB, and of a wider space; from memory, and without weight
# here: the expectation takes what it writes.
NARROW = ((0.4361, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7142))
WIDE = ((0.6097, 0.3111, 0.0195), (0.2053, 0.6257, 0.0609), (0.1492, 0.0632, 0.7446))
PROFILES = {
    "srgb": rgb_profile([srgb_parametric()] * 3, NARROW),
    "wide gamma 2.2": rgb_profile([power(2.2)] * 3, WIDE),
    "table of 1024": rgb_profile([table(srgb_formula, 1024)] * 3, NARROW),
    "three tables": rgb_profile(
        [table(lambda v: v**1.8, 256), table(lambda v: v**2.4, 4096), power(1.0)], WIDE
    ),
    "white a little short": rgb_profile(
        [power(2.2)] * 3, ((0.6, 0.3110, 0.02), (0.2, 0.6256, 0.06), (0.1, 0.0632, 0.74))
    ),
}
GRAYS = {
    "gamma 1.8": power(1.8), "gamma 2.2": power(2.2), "linear": power(1.0),
    "srgb": srgb_parametric(), "dot gain": table(lambda v: 0.01 + 0.99 * v**1.9, 4096),
    "short table": table(lambda v: v**2.2, 17),
}  # fmt: skip
TRIPLES = 250_000


def pixels(kind):
    """All grays, then random colours, half of them dark."""
    full = np.iinfo(kind).max
    random = np.random.default_rng(20260)
    shares = random.random((TRIPLES, 3))
    shares[TRIPLES // 2 :] **= 3.0
    grays = np.repeat(np.arange(full + 1), 3).reshape(-1, 3)
    corners = np.array([[r, g, b] for r in (0, full) for g in (0, full) for b in (0, full)])
    every = np.concatenate([grays, corners, np.rint(shares * full)]).astype(kind)
    width = 487
    return np.concatenate([every, np.zeros((-len(every) % width, 3), kind)]).reshape(-1, width, 3)


def negative(tmp_path, data, curve, icc=None, encoding=None, rotate=0):
    source, out = tmp_path / "in.tif", tmp_path / "out.tif"
    kind = "rgb" if data.ndim == 3 else "minisblack"
    tifffile.imwrite(source, data, photometric=kind, metadata=None, iccprofile=icc)
    settings = NegativeSettings(
        mirror=False, encoding=encoding, size=SizeWish(rotate=rotate), force=True
    )
    report = make_negative(source, curve, out, settings)
    return tifffile.imread(out).astype(int), report


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("name", PROFILES)
@pytest.mark.parametrize("curve", [Steep(), Straight()], ids=lambda c: c.name)
def test_colour_through_a_profile(tmp_path, name, kind, curve):
    icc, formulas, weights = PROFILES[name]
    data = pixels(kind)
    share = data.astype(np.float64) / np.iinfo(kind).max
    pairs = list(zip(weights, formulas, strict=True))
    luminance = sum(w * f(share[..., i]) for i, (w, f) in enumerate(pairs))
    seen, report = negative(tmp_path, data, curve, icc)
    assert report.encoding == "profile test"
    off = np.abs(seen - codes_of(luminance, curve))
    assert off.max() <= 1
    assert np.mean(off > 0) < 0.05  # most are the very same


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_colour_without_a_profile_is_srgb(tmp_path, kind):
    data, curve = pixels(kind), Steep()
    share = srgb_formula(data.astype(np.float64) / np.iinfo(kind).max)
    # IEC 61966-2-1 under D50: 14570, 46983 and 3972 of 65536 in the usual profile
    seen, _ = negative(tmp_path, data, curve)
    luminance = share @ (np.array([0.22248840, 0.71690369, 0.06060791]))
    assert np.abs(seen - codes_of(luminance, curve)).max() <= 1


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("name", GRAYS)
def test_gray_through_a_profile_is_exact(tmp_path, name, kind):
    """One look into a table: nothing but the rounding of the same number twice may differ."""
    element, formula = GRAYS[name]
    full = np.iinfo(kind).max
    data = np.arange(full + 1).astype(kind).reshape(-1, 64)
    seen, report = negative(tmp_path, data, Steep(), profile(b"GRAY", {b"kTRC": element}))
    assert report.encoding == "profile test"
    expected = codes_of(formula(data.astype(np.float64) / full), Steep())
    off = np.abs(seen - expected)
    assert off.max() <= 1 and np.count_nonzero(off) <= 2


def test_a_colour_negative_turned_is_the_same_codes_turned(tmp_path):
    data = pixels(np.uint8)
    icc = PROFILES["srgb"][0]
    plain, _ = negative(tmp_path, data, Steep(), icc)
    for rotate in (90, 180, 270):
        turned, _ = negative(tmp_path, data, Steep(), icc, rotate=rotate)
        assert np.array_equal(turned, np.rot90(plain, -rotate // 90))


def test_a_flat_colour_resampled_is_its_code(tmp_path):
    """Also where luminance waits in a file, to be turned."""
    data = np.empty((60, 80, 3), np.uint16)
    data[...] = (40000, 9000, 21000)
    icc, formulas, weights = PROFILES["wide gamma 2.2"]
    luminance = sum(
        w * f(v / 65535) for w, f, v in zip(weights, formulas, data[0, 0].tolist(), strict=True)
    )
    source = tmp_path / "in.tif"
    tifffile.imwrite(
        source, data, photometric="rgb", metadata=None, iccprofile=icc, resolution=(300, 300)
    )
    for rotate in (0, 90):
        size = SizeWish(ppi=Fraction(150), rotate=rotate)
        settings = NegativeSettings(size=size, force=True)
        make_negative(source, Steep(), tmp_path / "out.tif", settings)
        seen = tifffile.imread(tmp_path / "out.tif").astype(int)
        assert seen.shape == ((30, 40), (40, 30))[rotate == 90]
        assert np.abs(seen - codes_of(luminance, Steep())).max() <= 1


@pytest.mark.parametrize("ends", [(0, 0, 0), (65535, 65535, 65535)])
@pytest.mark.parametrize("name", PROFILES)
def test_black_and_white_are_counted_at_the_ends(tmp_path, name, ends):
    data = np.full((50, 70, 3), 30000, np.uint16)
    data[:25] = ends
    _, report = negative(tmp_path, data, Steep(), PROFILES[name][0])
    shares = (report.black_share, report.white_share)
    assert shares == ((0.5, 0.0) if ends[0] == 0 else (0.0, 0.5))


# littleCMS: its own way, its own roundings


def lightness_by_pillow(rgb, icc):
    """8-bit colour to 16-bit lightness: 65535 is L* 100 (a gray profile of L*, ICC.1, 10.18)."""
    numbers = (3.0, 100 / 116, 16 / 116, 100 / 903.2963, 0.08)
    curve = b"para" + bytes(4) + struct.pack(">HH", 3, 0) + b"".join(map(fixed, numbers))
    to = profile(b"GRAY", {b"kTRC": curve})
    if rgb.dtype == np.uint16:
        return imagecodecs.cms_transform(
            rgb, icc, to, colorspace="rgb", outcolorspace="gray", outdtype="uint16", intent=1,
            flags=0x0100,
        ).reshape(rgb.shape[:2])  # fmt: skip
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc)), ImageCms.ImageCmsProfile(io.BytesIO(to)),
        "RGB", "I;16", ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE,
    )  # fmt: skip
    made = ImageCms.applyTransform(Image.fromarray(rgb), transform)
    return np.frombuffer(made.tobytes(), "<u2").reshape(rgb.shape[:2])


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("name", PROFILES)
def test_littlecms_agrees(tmp_path, name, kind):
    """Within 3 of 65535 for formulas, within 8 for tables, which it looks up in 16 bits: half of
    one is 4.5 in the blacks, where L* is 903 times luminance (the worst of three channels)."""
    data = pixels(kind)
    seen, _ = negative(tmp_path, data, Straight(), PROFILES[name][0])
    other = lightness_by_pillow(data, PROFILES[name][0]).astype(int)
    assert np.abs(seen - other).max() <= (8 if "table" in name else 3)
