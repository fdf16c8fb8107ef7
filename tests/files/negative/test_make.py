"""Negatives as files: read back by others' libraries."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from fractions import Fraction

import colour
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from disk import disk_of
from straight import Straight
from tonewright.errors import FileError, ImageError, OptionError
from tonewright.files.blank import is_blank
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.raster.icc import gray_profile, lightness_profile
from tonewright.files.targets import read_target
from tonewright.negative.findings import (
    BlackTonesLost,
    EncodingAssumed,
    ProfileSetAside,
    WhiteTonesLost,
)
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish

FULL_SHEET = SheetSettings(marks=True, tone_scale=True, caption=True)


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def save(path, data=None, **options):
    if data is None:
        data = np.random.default_rng(2).integers(0, 65536, (150, 200)).astype(np.uint16)
    options = {"photometric": "minisblack", "resolution": (72, 72), **options}
    tifffile.imwrite(path, data, metadata=None, **options)
    return path


def settings(**options):
    return NegativeSettings(encoding="lightness", **options)


# Read back, each reader on its own


def by_tifffile(path):
    return tifffile.imread(path)


def by_pillow(path):
    with Image.open(path) as image:
        return np.asarray(image)


def by_libvips(path):
    pyvips = pytest.importorskip("pyvips", reason="pip install pyvips-binary pyvips")
    seen = pyvips.Image.new_from_file(str(path)).numpy()
    return seen[..., 0] if seen.ndim == 3 and seen.shape[2] == 1 else seen


READERS = [by_tifffile, by_pillow, by_libvips]


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("deflate", [False, True])
def test_16_bit_gray_as_others_read_it(tmp_path, reader, deflate):
    """Every value once; the straight curve's negative is 65535 minus the value, mirrored."""
    values = np.random.default_rng(1).permutation(65536).astype(np.uint16).reshape(128, 512)
    source = save(tmp_path / "i.tif", values)
    make_negative(source, Straight(), tmp_path / "n.tif", settings(deflate=deflate))
    assert np.array_equal(reader(tmp_path / "n.tif"), (65535 - values)[:, ::-1])


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("deflate", [False, True])
@pytest.mark.parametrize("ink", [None, "255,120,0"])
def test_8_bits_as_others_read_them(tmp_path, reader, deflate, ink):
    """Level 0, and level 1 in the colour of the ink, without any grain."""
    values = np.zeros((90, 120), np.uint16)
    values[:, 60:] = 65535
    source = save(tmp_path / "i.tif", values)
    curve = Straight(ink_colour=ink)
    make_negative(source, curve, tmp_path / "n.tif", settings(depth=8, deflate=deflate))
    seen = reader(tmp_path / "n.tif")
    assert seen.dtype == np.uint8
    assert (seen[:, :60] == ([255, 120, 0] if ink else 0)).all()
    assert (seen[:, 60:] == 255).all()
    assert seen.shape == ((90, 120, 3) if ink else (90, 120))


@pytest.mark.parametrize("reader", [by_tifffile, by_libvips])  # Pillow has no 16-bit RGB
def test_16_bit_ink_colour_as_others_read_it(tmp_path, reader):
    source = save(tmp_path / "i.tif")
    make_negative(source, Straight(ink_colour="200,90,10"), tmp_path / "n.tif", settings())
    level = tifffile.imread(source)[:, ::-1, None] / 65535
    expected = 65535 - level * (65535 - 257 * np.array([200, 90, 10]))
    assert np.abs(reader(tmp_path / "n.tif") - expected).max() <= 1.0


def test_the_file_says_where_it_comes_from_and_the_profile_does_not_travel(tmp_path):
    source = save(tmp_path / "portrait.tif", iccprofile=lightness_profile())
    options = NegativeSettings(
        curve_sha256=hashlib.sha256(b"{}").hexdigest(), depth=8, seed=7, size=SizeWish(rotate=90)
    )
    make_negative(source, Straight(), tmp_path / "n.tif", options)
    with tifffile.TiffFile(tmp_path / "n.tif") as file:
        words = file.pages[0].description
        assert 34675 not in file.pages[0].tags
    for word in (
        "portrait.tif", "curve straight", hashlib.sha256(b"{}").hexdigest(), "turned 90 degrees",
        "profile CIE lightness", "mirrored", "blue noise of seed 7", "255 is clear film",
    ):  # fmt: skip
        assert word in words
    with Image.open(tmp_path / "n.tif") as image:
        assert "icc_profile" not in image.info


@pytest.mark.parametrize(
    "options",
    [{}, {"depth": 8}, {"deflate": True}, {"sheet": FULL_SHEET},
     {"size": SizeWish(width_mm=Fraction(150), ppi=Fraction(200))}],
    ids=lambda o: "-".join(o) or "plain",
)  # fmt: skip
def test_the_same_input_gives_the_same_bytes(tmp_path, options):
    smooth = np.tile(np.linspace(0, 65535, 400).astype(np.uint16), (600, 1))
    source = save(tmp_path / "i.tif", smooth)
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        make_negative(source, Straight(), tmp_path / name / "n.tif", settings(**options))
    assert names(tmp_path / "a") == names(tmp_path / "b")
    for name in names(tmp_path / "a"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_counts_are_of_the_picture_and_not_of_its_border(tmp_path):
    values = np.full((600, 400), 30_000, np.uint16)
    values[:60] = 0
    values[-30:] = 65535
    source = save(tmp_path / "i.tif", values)
    report = make_negative(source, Straight(), tmp_path / "n.tif", settings(sheet=FULL_SHEET))
    assert (report.black_share, report.white_share) == pytest.approx((0.1, 0.05))
    black, white = report.findings[-2:]
    assert (black, white) == (BlackTonesLost(report.black_share, None),
                              WhiteTonesLost(report.white_share, None))


# The ink colour that target, curve and negative share


def test_the_curve_remembers_the_ink_colour_and_a_mismatch_is_refused(tmp_path):
    source = save(tmp_path / "i.tif")
    curve = Straight(ink_colour="255,120,0")
    report = make_negative(source, curve, tmp_path / "n.tif", settings(depth=8))
    assert report.ink_colour == "255,120,0"
    with pytest.raises(OptionError, match="target in the ink colour 255,120,0"):
        make_negative(source, curve, tmp_path / "m.tif", settings(ink_colour="0,0,255"))
    assert names(tmp_path) == ["i.tif", "n.tif"]


# Both or neither: the negative and the document of its tone scale


def test_the_tone_scale_comes_with_its_document(tmp_path):
    source = save(tmp_path / "i.tif", np.zeros((600, 400), np.uint16))
    report = make_negative(source, Straight(), tmp_path / "n.tif", settings(sheet=FULL_SHEET))
    assert names(tmp_path) == ["i.tif", "n.csv", "n.target.json", "n.tif"]
    assert report.target == tmp_path / "n.target.json"
    target = read_target(report.target)
    assert is_blank(tmp_path / "n.csv", target) and report.table == tmp_path / "n.csv"
    assert target.through == "straight"
    assert target.mirrored
    data = json.loads(report.target.read_text(encoding="utf-8"))
    negative = tifffile.imread(tmp_path / "n.tif")[:, ::-1]  # as the print reads
    per_mm = data["ppi"] / 25.4
    columns = ("level", "x_mm", "y_mm", "width_mm", "height_mm")
    patches = list(zip(*(data["patches"][name] for name in columns), strict=True))
    assert len(patches) == 11
    for level, x, y, width, height in patches:
        code = negative[int((y + height / 2) * per_mm), int((x + width / 2) * per_mm)]
        assert code == pytest.approx(65535 * (1 - level), abs=0.6)


def test_a_damaged_picture_leaves_neither(tmp_path):
    source = save(
        tmp_path / "i.tif", np.zeros((600, 400), np.uint16), compression="zlib", rowsperstrip=50
    )
    data = bytearray(source.read_bytes())
    with tifffile.TiffFile(source) as file:
        start = file.pages[0].dataoffsets[-1]
    data[start : start + 8] = b"\xff" * 8
    source.write_bytes(data)
    with pytest.raises(ImageError, match="damaged"):
        make_negative(source, Straight(), tmp_path / "n.tif", settings(sheet=FULL_SHEET))
    assert names(tmp_path) == ["i.tif"]


def test_a_full_scratch_file_leaves_nothing(tmp_path):
    """With a quarter turn it is a nameless file beside the output that fills the disk first."""
    noise = np.random.default_rng(1).integers(0, 65536, (1500, 1000)).astype(np.uint16)
    source = save(tmp_path / "i.tif", noise)
    turned = settings(size=SizeWish(rotate=90))
    with disk_of(1_000_000), pytest.raises(FileError, match=r"n\.tif was not written"):
        make_negative(source, Straight(), tmp_path / "n.tif", turned)
    assert names(tmp_path) == ["i.tif"]


# What the values of an image mean


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
    assert EncodingAssumed("gamma:2.2") in report.findings
    assert (report.level_black, report.level_white) == pytest.approx((0.1, 0.7))
    assert (report.width, report.height, report.mirrored) == (256, 256, True)


def test_the_embedded_profile_is_used(tmp_path):
    source = gray(tmp_path, iccprofile=lightness_profile())
    report = make_negative(source, Straight(), tmp_path / "n.tif", NegativeSettings(mirror=False))
    assert report.encoding == "profile CIE lightness"
    assert not report.findings
    seen = tifffile.imread(tmp_path / "n.tif").astype(int)
    assert np.abs(seen - (65535 - tifffile.imread(source).astype(int))).max() <= 1


def test_encoding_wins_over_the_profile_and_says_so(tmp_path):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    source = gray(tmp_path, iccprofile=profile)
    with pytest.raises(ImageError) as raised:
        make_negative(source, Straight(), tmp_path / "n.tif")
    assert raised.value.code == "image_encoding"
    report = make_negative(
        source, Straight(), tmp_path / "n.tif", NegativeSettings(encoding="lightness")
    )
    assert report.findings == (ProfileSetAside(),)
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


def test_the_output_is_checked_before_the_image_is_read(tmp_path):
    (tmp_path / "n.tif").write_bytes(b"old")
    with pytest.raises(FileError, match="is there already"):
        make_negative(tmp_path / "missing.tif", Straight(), tmp_path / "n.tif")


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
    assert {"numpy", "imagecodecs"} <= loaded  # the listing is of the right process
    assert not loaded & {"scipy", "colour", "matplotlib"}
