"""From image values to the codes of a negative, and the whole job on files."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import colour
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from tonewright.errors import DocumentError, FileError, ImageError, OptionError
from tonewright.files.negative.make import (
    NegativeSettings,
    make_negative,
    make_negatives,
    output_names,
)
from tonewright.files.raster.icc import gray_profile, lightness_profile
from tonewright.negative import apply_band, code_table, encoding_lightness


@dataclass
class Straight:
    """A stand-in for a curve: ink level proportional to image lightness, between two ends."""

    black: float = 0.0
    white: float = 1.0
    name: str = "straight"

    def level_at(self, image_lightness):
        return self.black + (self.white - self.black) * np.asarray(image_lightness) / 100.0


def names(folder):
    return sorted(path.name for path in folder.iterdir())


# What values mean


def test_lightness_is_proportional():
    assert encoding_lightness("lightness", 256)[[0, 51, 255]] == pytest.approx([0, 20, 100])


def test_linear_values_by_the_handbook():
    """CIE 15: Y = 18.4187 % of white is L* 50; 8.856 452 / 1000 is L* 8."""
    lightness = encoding_lightness("linear", 65536)
    at = np.interp([0.184187, 216 / 24389], np.arange(65536) / 65535, lightness)
    assert at == pytest.approx([50.0, 8.0], abs=2e-3)


def test_srgb_as_colour_science_has_it():
    """IEC 61966-2-1 and CIE 1976 L* by the reference library, each 8-bit value."""
    luminance = colour.models.eotf_sRGB(np.arange(256) / 255.0)
    expected = colour.colorimetry.lightness_CIE1976(100 * luminance)
    assert encoding_lightness("srgb", 256) == pytest.approx(expected, abs=2e-3)
    assert encoding_lightness("sRGB", 65536)[::257] == pytest.approx(expected, abs=2e-3)


def test_srgb_as_littlecms_has_it():
    """littleCMS's own sRGB profile into a gray one of CIE lightness, 8 bits: steps of 0.39."""
    transform = ImageCms.buildTransform(
        ImageCms.createProfile("sRGB"),
        ImageCms.ImageCmsProfile(io.BytesIO(lightness_profile())),
        "RGB", "L", ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE,
    )  # fmt: skip
    ramp = Image.fromarray(np.repeat(np.arange(256, dtype=np.uint8), 3).reshape(1, 256, 3))
    seen = np.asarray(ImageCms.applyTransform(ramp, transform))[0] / 2.55
    assert np.abs(encoding_lightness("srgb", 256) - seen).max() < 0.25


def test_gamma_is_a_power_of_luminance():
    value = np.arange(65536) / 65535
    expected = colour.colorimetry.lightness_CIE1976(100 * value**1.8)
    assert encoding_lightness("gamma:1.8", 65536) == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("word", ["lightness", "linear", "srgb", "gamma:2.2", "gamma:1"])
def test_every_encoding_rises_from_0_to_100(word):
    lightness = encoding_lightness(word, 65536)
    assert lightness[[0, -1]] == pytest.approx([0, 100])
    assert (np.diff(lightness) > 0).all()


@pytest.mark.parametrize("word", ["", "rgb", "gamma", "gamma:", "gamma:nan", "gamma:0", "gamma:9"])
def test_unknown_encodings(word):
    with pytest.raises(OptionError, match="lightness, srgb, linear or gamma"):
        encoding_lightness(word, 256)


# Codes


def test_codes_of_the_straight_curve_are_the_negative_itself():
    """Proportional all the way: 65535 minus the value, exactly (DESIGN: round(65535 (1 - u)))."""
    table = code_table(encoding_lightness("lightness", 65536), Straight())
    assert table.dtype == np.uint16
    assert np.array_equal(table, 65535 - np.arange(65536))


def test_image_black_is_nearly_clear_film():
    table = code_table(encoding_lightness("srgb", 256), Straight(0.05, 0.6))
    assert table[0] == round(65535 * 0.95)
    assert table[-1] == round(65535 * 0.4)
    assert (np.diff(table.astype(int)) <= 0).all()


@pytest.mark.parametrize("curve", [Straight(0, 1.2), Straight(-0.1, 1), Straight(0, np.nan)])
def test_a_curve_that_asks_for_impossible_ink(curve):
    with pytest.raises(DocumentError, match="straight"):
        code_table(encoding_lightness("linear", 256), curve)


@pytest.mark.parametrize("mirror", [False, True])
@pytest.mark.parametrize("upside_down", [False, True])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(1, 1), (700, 300), (3, 70000)])
def test_bands(mirror, upside_down, kind, shape):
    random = np.random.default_rng(2)
    size = np.iinfo(kind).max + 1
    values = random.integers(0, size, shape).astype(kind)
    table = random.permutation(65536)[:size].astype(np.uint16)
    expected = table[values][:: -1 if upside_down else 1, :: -1 if mirror else 1]
    before = values.copy()
    assert np.array_equal(
        apply_band(values, table, mirror=mirror, upside_down=upside_down), expected
    )
    assert np.array_equal(values, before)
    if kind is np.uint16 and not upside_down:
        apply_band(values, table, mirror=mirror, out=values)
        assert np.array_equal(values, expected)


# The whole job


def gray(folder, name="image.tif", **options):
    """Every 16-bit value, with gamma 2.2 or whatever the options say."""
    path = folder / name
    values = np.random.default_rng(4).permutation(65536).astype(np.uint16).reshape(256, 256)
    options = {"photometric": "minisblack", "resolution": (360, 360), **options}
    tifffile.imwrite(path, values, metadata=None, **options)
    return path


def expected_codes(source, lightness, curve):
    values = tifffile.imread(source)
    return np.floor(65535 * (1 - curve.level_at(lightness)) + 0.5)[values][:, ::-1]


def test_without_profile_gamma_is_assumed_and_said(tmp_path):
    curve = Straight(0.1, 0.7)
    report = make_negative(gray(tmp_path), curve, tmp_path / "n.tif")
    luminance = (np.arange(65536) / 65535) ** 2.2
    lightness = colour.colorimetry.lightness_CIE1976(100 * luminance)
    seen = tifffile.imread(tmp_path / "n.tif").astype(int)
    off = np.abs(seen - expected_codes(tmp_path / "image.tif", lightness, curve))
    assert off.max() <= 1  # the library's L* differs in the seventh digit
    assert off.mean() < 0.01
    assert report.encoding == "gamma:2.2"
    assert any("--encoding" in warning for warning in report.warnings)
    assert (report.level_black, report.level_white) == pytest.approx((0.1, 0.7))
    assert (report.width, report.height, report.mirrored) == (256, 256, True)


def test_the_embedded_profile_is_used(tmp_path):
    source = gray(tmp_path, iccprofile=lightness_profile())
    report = make_negative(source, Straight(), tmp_path / "n.tif", NegativeSettings(mirror=False))
    assert report.encoding == "profile CIE lightness"
    assert not report.warnings
    seen = tifffile.imread(tmp_path / "n.tif").astype(int)
    assert np.abs(seen - (65535 - tifffile.imread(source).astype(int))).max() <= 1


def test_encoding_wins_over_the_profile_and_says_so(tmp_path):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    source = gray(tmp_path, iccprofile=profile)
    with pytest.raises(ImageError, match="--encoding"):
        make_negative(source, Straight(), tmp_path / "n.tif")
    report = make_negative(
        source, Straight(), tmp_path / "n.tif", NegativeSettings(encoding="lightness")
    )
    assert any("put aside" in warning for warning in report.warnings)
    seen = tifffile.imread(tmp_path / "n.tif")
    assert np.array_equal(seen, (65535 - tifffile.imread(source))[:, ::-1])


def test_an_8_bit_image_through_a_profile(tmp_path):
    values = np.arange(256, dtype=np.uint8).reshape(16, 16)
    profile = gray_profile(b"curv" + bytes(4) + (1).to_bytes(4, "big") + b"\x02\x33", "Gray 2.2")
    tifffile.imwrite(
        tmp_path / "i.tif", values, photometric="minisblack", metadata=None, iccprofile=profile
    )
    make_negative(tmp_path / "i.tif", Straight(), tmp_path / "n.tif", NegativeSettings(False))
    luminance = (values / 255.0) ** (0x233 / 256)
    lightness = colour.colorimetry.lightness_CIE1976(100 * luminance)
    seen = tifffile.imread(tmp_path / "n.tif")
    assert np.abs(seen - 65535 * (1 - lightness / 100)).max() < 2.5


def test_provenance_says_what_was_done_and_repeats_to_the_byte(tmp_path):
    source = gray(tmp_path)
    for name in ("a.tif", "b.tif"):
        make_negative(source, Straight(), tmp_path / name, NegativeSettings(encoding="srgb"))
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()
    with tifffile.TiffFile(tmp_path / "a.tif") as file:
        words = file.pages[0].description
    for word in ("image.tif", "straight", "srgb", "mirrored", "65535 is clear film"):
        assert word in words


def test_the_output_is_checked_before_the_image_is_read(tmp_path):
    (tmp_path / "n.tif").write_bytes(b"old")
    with pytest.raises(FileError, match="--force"):
        make_negative(tmp_path / "missing.tif", Straight(), tmp_path / "n.tif")


def test_one_bad_image_does_not_stop_the_rest(tmp_path):
    good = [gray(tmp_path), gray(tmp_path, "second.tif")]
    bad = tmp_path / "text.tif"
    bad.write_text("words", encoding="utf-8")
    pairs = output_names([good[0], bad, good[1]], tmp_path / "new")
    told = []
    batch = make_negatives(
        pairs, Straight(), NegativeSettings(), lambda *what: told.append(what)
    )
    assert names(tmp_path / "new") == ["image-negative.tif", "second-negative.tif"]
    assert [report.output.name for report in batch.reports] == names(tmp_path / "new")
    assert [failure.source for failure in batch.failures] == [bad]
    assert "text.tif is not a TIFF" in str(batch.failures[0].error)
    assert told == [(good[0], 1, 3), (bad, 2, 3), (good[1], 3, 3)]


def test_no_image_at_all_leaves_no_folder(tmp_path):
    pairs = output_names([tmp_path / "a.tif", tmp_path / "b.tif"], tmp_path / "new")
    batch = make_negatives(pairs, Straight(), NegativeSettings())
    assert len(batch.failures) == 2
    assert names(tmp_path) == []


@pytest.mark.parametrize("settings", [{"encoding": "film"}, {"ink_colour": "255,120,0"}])
def test_options_that_no_image_can_have_stop_all_at_once(tmp_path, settings):
    pairs = output_names([gray(tmp_path), tmp_path / "b.tif"], tmp_path / "new")
    with pytest.raises(OptionError):
        make_negatives(pairs, Straight(), NegativeSettings(**settings))
    assert names(tmp_path) == ["image.tif"]


def test_output_names(tmp_path):
    one, two = Path("a/x.tif"), Path("b/X.tif")
    assert output_names([one], Path("n.TIF")) == [(one, Path("n.TIF"))]
    assert output_names([one], tmp_path) == [(one, tmp_path / "x-negative.tif")]
    with pytest.raises(OptionError, match=r"n\.tif"):
        output_names([one], Path("n.png"))
    with pytest.raises(OptionError, match="folder"):
        output_names([one, two], Path("n.tif"))
    with pytest.raises(OptionError, match="different names"):
        output_names([one, two], tmp_path)


def test_a_kill_leaves_no_output_and_a_rerun_works(tmp_path):
    """The process ends at once, without any clean-up, after the first band."""
    source = tmp_path / "image.tif"
    tifffile.imwrite(
        source, np.zeros((2000, 1500), np.uint16), photometric="minisblack", metadata=None
    )
    code = (
        "import os, sys\n"
        "from tonewright.files.negative.make import make_negative\n"
        "class Curve:\n"
        "    name = 'c'\n"
        "    def level_at(self, lightness): return lightness / 100\n"
        "make_negative(sys.argv[1], Curve(), sys.argv[2], None, lambda *rows: os._exit(9))\n"
    )
    output = tmp_path / "n.tif"
    done = subprocess.run(
        [sys.executable, "-c", code, str(source), str(output)], timeout=60, check=False
    )
    assert done.returncode == 9
    assert not output.exists()
    make_negative(source, Straight(), output)
    assert (tifffile.imread(output) == 65535).all()


def test_making_a_negative_loads_nothing_heavy(tmp_path):
    """With a profile and compression, so that everything a negative can need is loaded."""
    gray(tmp_path, iccprofile=lightness_profile(), compression="lzw", predictor=True)
    code = (
        "import json, sys\n"
        "from tonewright.files.negative.make import make_negative\n"
        "class Curve:\n"
        "    name = 'c'\n"
        "    def level_at(self, lightness): return lightness / 100\n"
        "make_negative(sys.argv[1], Curve(), sys.argv[2])\n"
        "print(json.dumps(sorted({name.split('.')[0] for name in sys.modules})))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "image.tif"), str(tmp_path / "n.tif")],
        timeout=60, check=True, capture_output=True, encoding="utf-8",
    )  # fmt: skip
    loaded = set(json.loads(done.stdout))
    assert {"numpy", "imagecodecs", "PIL"} <= loaded  # the listing is of the right process
    assert not loaded & {"scipy", "colour", "matplotlib"}
