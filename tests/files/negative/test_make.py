"""Negatives as files: read back by others' libraries, one by one and in batches."""

from __future__ import annotations

import hashlib
import json
import signal
from contextlib import contextmanager
from fractions import Fraction

import numpy as np
import pytest
import tifffile
from PIL import Image

from tonewright.errors import FileError, ImageError, OptionError
from tonewright.files.documents import fingerprint
from tonewright.files.negative.make import (
    NegativeSettings,
    make_negative,
    make_negatives,
    output_names,
)
from tonewright.files.raster.icc import lightness_profile
from tonewright.files.targets import read_target
from tonewright.negative.border import FrameSettings
from tonewright.negative.size import SizeWish
from tonewright.record.setup import Setup

FULL_SHEET = FrameSettings(marks=True, tone_scale=True, caption=True)


class Straight:
    """Ink level in proportion to image lightness."""

    name = "straight"

    def __init__(self, **setup):
        self.setup = Setup(**setup)

    def level_at(self, image_lightness):
        return np.asarray(image_lightness) / 100.0


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
    curve = tmp_path / "k.curve.json"
    curve.write_text("{}", encoding="utf-8")
    source = save(tmp_path / "portrait.tif", iccprofile=lightness_profile())
    options = NegativeSettings(
        curve_sha256=fingerprint(curve), depth=8, seed=7, size=SizeWish(rotate=90)
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
    [{}, {"depth": 8}, {"deflate": True}, {"frame": FULL_SHEET},
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
    report = make_negative(source, Straight(), tmp_path / "n.tif", settings(frame=FULL_SHEET))
    assert (report.black_share, report.white_share) == pytest.approx((0.1, 0.05))
    assert any("10 % of the picture prints as maximum black" in w for w in report.warnings)
    assert any("5.0 % of the picture prints as paper white" in w for w in report.warnings)


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
    report = make_negative(source, Straight(), tmp_path / "n.tif", settings(frame=FULL_SHEET))
    assert names(tmp_path) == ["i.tif", "n.target.json", "n.tif"]
    assert report.target == tmp_path / "n.target.json"
    target = read_target(report.target)
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
        make_negative(source, Straight(), tmp_path / "n.tif", settings(frame=FULL_SHEET))
    assert names(tmp_path) == ["i.tif"]


# Several images, each by itself


@contextmanager
def disk_of(size):
    """The system itself stops the writing of any file at so many bytes (setrlimit)."""
    resource = pytest.importorskip("resource", reason="sizes cannot be limited here")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)


def test_a_full_scratch_file_leaves_nothing(tmp_path):
    """With a quarter turn it is a nameless file beside the output that fills the disk first."""
    noise = np.random.default_rng(1).integers(0, 65536, (1500, 1000)).astype(np.uint16)
    source = save(tmp_path / "i.tif", noise)
    turned = settings(size=SizeWish(rotate=90))
    with disk_of(1_000_000), pytest.raises(FileError, match=r"n\.tif was not written"):
        make_negative(source, Straight(), tmp_path / "n.tif", turned)
    assert names(tmp_path) == ["i.tif"]


def test_one_image_too_large_for_the_disk_does_not_stop_the_rest(tmp_path):
    images = [save(tmp_path / f"{name}.tif") for name in "ac"]
    images.insert(1, save(tmp_path / "b.tif", np.zeros((1500, 1000), np.uint16)))
    pairs = output_names(images, tmp_path / "out")
    with disk_of(1_000_000):
        batch = make_negatives(pairs, Straight(), settings())
    assert names(tmp_path / "out") == ["a-negative.tif", "c-negative.tif"]
    assert [failure.source.name for failure in batch.failures] == ["b.tif"]


def test_an_image_without_a_size_does_not_stop_the_rest(tmp_path):
    images = [save(tmp_path / "a.tif", np.zeros((600, 400), np.uint16), resolutionunit=1)]
    images.append(save(tmp_path / "b.tif", np.zeros((600, 400), np.uint16)))
    batch = make_negatives(
        output_names(images, tmp_path / "out"), Straight(), settings(frame=FULL_SHEET)
    )
    assert [failure.source.name for failure in batch.failures] == ["a.tif"]
    assert "--width" in str(batch.failures[0].error)
    assert names(tmp_path / "out") == ["b-negative.target.json", "b-negative.tif"]
