"""What ICC profiles say of gray values, held against formulas and littleCMS used directly."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from tonewright.errors import ImageError, TonewrightError
from tonewright.files.raster.icc import gray_profile, lightness_profile, profile_lightness

RAMP = np.arange(65536) / 65535.0
EXACT = 1e-9
"""A tone curve is worked out in double precision."""
FIXED = 0.0025
"""A parametric one has its numbers in 65536ths (s15Fixed16Number)."""


def lightness_of(luminance):
    """CIE L* of a relative luminance (0 to 1), CIE 15:2018 eq. 8.6, written out once more."""
    y = np.asarray(luminance)
    return np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)


def curv(*entries):
    return b"curv" + bytes(4) + struct.pack(f">I{len(entries)}H", len(entries), *entries)


def para(kind, *numbers):
    """ICC.1:2022, 10.18: parametricCurveType."""
    fixed = b"".join(struct.pack(">i", round(n * 65536)) for n in numbers)
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + fixed


@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.2, 2.4])
def test_gamma_profile(gamma):
    """ICC.1: one curv entry is a power in u8Fixed8Number, so 2.2 is really 563/256."""
    _, lightness = profile_lightness(gray_profile(curv(round(gamma * 256)), "g"), 65536, "i")
    expected = lightness_of(RAMP ** (round(gamma * 256) / 256))
    assert np.abs(lightness - expected).max() < EXACT


def test_identity_curve_is_linear_luminance():
    _, lightness = profile_lightness(gray_profile(curv(), "g"), 65536, "i")
    assert np.abs(lightness - lightness_of(RAMP)).max() < EXACT


def test_srgb_curve():
    """IEC 61966-2-1, 5.2, as a parametric curve of type 3."""
    curve = para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    _, lightness = profile_lightness(gray_profile(curve, "g"), 65536, "i")
    expected = np.where(RAMP <= 0.04045, RAMP / 12.92, ((RAMP + 0.055) / 1.055) ** 2.4)
    assert np.abs(lightness - lightness_of(expected)).max() < FIXED


def test_lightness_profile_is_a_straight_line():
    name, lightness = profile_lightness(lightness_profile(), 65536, "i")
    assert name == "CIE lightness"
    assert np.abs(lightness - 100 * RAMP).max() < FIXED


def test_table_curve_is_linear_between_its_entries():
    """ICC.1, 10.6: n entries, linear between; here a dot gain of 20 % like a press has."""
    ink = 1 - np.linspace(0, 1, 4096)
    gained = np.clip(ink + 4 * 0.2 * ink * (1 - ink), 0, 1)
    entries = np.round(65535 * (1 - gained * 0.97)).astype(int)
    _, lightness = profile_lightness(gray_profile(curv(*entries), "dot gain"), 65536, "i")
    expected = lightness_of(np.interp(RAMP, np.linspace(0, 1, 4096), entries / 65535))
    assert np.abs(lightness - expected).max() < EXACT


def test_profile_on_the_lab_side():
    """ICC.1, 8.3.4 (monochrome): with PCS Lab the curve gives L* itself."""
    profile = bytearray(gray_profile(curv(), "g"))
    profile[20:24] = b"Lab "
    _, lightness = profile_lightness(bytes(profile), 65536, "i")
    assert np.abs(lightness - 100 * RAMP).max() < EXACT


@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.2])
def test_against_littlecms_on_its_own_lab_profile(gamma):
    """Another way through littleCMS: its built-in Lab profile, in 8 bits (0.39 L* to a step)."""
    profile = gray_profile(curv(round(gamma * 256)), "g")
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.createProfile("LAB"), "L", "LAB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE,
    )  # fmt: skip
    ramp = Image.frombytes("L", (256, 1), bytes(range(256)))
    seen = np.asarray(ImageCms.applyTransform(ramp, transform))[0, :, 0] / 2.55
    _, lightness = profile_lightness(profile, 256, "i")
    assert lightness.shape == (256,)
    assert np.abs(lightness - seen).max() < 0.3


def test_8_bit_values_are_every_257th_of_the_16_bit_ones():
    profile = gray_profile(curv(461), "g")
    _, wide = profile_lightness(profile, 65536, "i")
    _, narrow = profile_lightness(profile, 256, "i")
    assert np.abs(narrow - wide[::257]).max() < 1e-9


def text_of_version_2(words):
    """ICC.1:2001, 6.5.17: textDescriptionType."""
    return b"desc" + bytes(4) + struct.pack(">I", len(words) + 1) + words + bytes(79)


def localized(*texts):
    """ICC.1:2022, 10.15: multiLocalizedUnicodeType of (language and country, text)."""
    rows, body, start = b"", b"", 16 + 12 * len(texts)
    for place, text in texts:
        packed = text.encode("utf-16-be")
        rows += struct.pack(">4sII", place, len(packed), start + len(body))
        body += packed
    return b"mluc" + bytes(4) + struct.pack(">II", len(texts), 12) + rows + body


@pytest.mark.parametrize(
    "element",
    [
        text_of_version_2(b"Gray of old"), localized((b"deDE", "Grau"), (b"enUS", "Gr\u00e4y")),
        localized((b"frFR", "Gris"), (b"enGB", "Grey")), localized((b"jaJP", "\u7070")),
    ],
    ids=["version 2", "two", "English of another country", "one"],
)
def test_the_name_is_the_one_littlecms_gives(element):
    profile = bytearray(gray_profile(curv(563) + element, "g"))
    at = profile.index(b"desc")
    tone = struct.unpack(">4sII", profile[profile.index(b"kTRC") :][:12])
    profile[at + 4 : at + 12] = struct.pack(">II", tone[1] + 14, len(element))
    size = (tone[1] + 14 + len(element) + 3) // 4 * 4
    profile[:4] = struct.pack(">I", size)
    profile = bytes(profile.ljust(size, b"\0"))
    name, _ = profile_lightness(profile, 256, "i")
    given = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    assert name == ImageCms.getProfileDescription(given).strip()


def test_a_colour_profile_is_refused_with_the_way_out():
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    with pytest.raises(ImageError, match=r"scan\.tif .*RGB") as refused:
        profile_lightness(profile, 65536, "scan.tif")
    assert refused.value.code == "image_encoding"


@pytest.mark.parametrize(
    "broken",
    [
        b"",
        b"no profile at all",
        gray_profile(curv(563), "g")[:200],
        gray_profile(curv(563), "g")[:36] + b"XXXX" + gray_profile(curv(563), "g")[40:],
        gray_profile(b"nono" + bytes(8), "g"),
        gray_profile(curv(*range(65535, -1, -257)), "falls"),
        gray_profile(curv(*[30000] * 16), "flat"),
    ],
    ids=["empty", "text", "cut", "no signature", "curve of no kind", "falling", "flat"],
)
def test_a_broken_profile_is_refused(broken):
    with pytest.raises(ImageError) as refused:
        profile_lightness(broken, 65536, "i")
    assert refused.value.code == "image_encoding"


def test_mutated_profiles_end_in_a_message_or_a_table():
    good = gray_profile(curv(*np.linspace(0, 65535, 64).astype(int)), "g")
    random = np.random.default_rng(5)
    refused = 0
    for _ in range(60):
        bad = bytearray(good)
        for place in random.integers(0, len(bad), 6):
            bad[place] = random.integers(256)
        try:
            _, lightness = profile_lightness(bytes(bad), 256, "i")
        except TonewrightError:
            refused += 1
        else:
            assert np.isfinite(lightness).all()
    assert refused > 10
