"""From image to file: size, turning, resampling, packing, sheets, and what a kill leaves."""

from __future__ import annotations

import itertools
import json
import signal
import subprocess
import sys
import time
from fractions import Fraction

import numpy as np
import pytest
import tifffile
from PIL import Image
from skimage.transform import rescale

import straight
from disk import disk_of
from straight import LIGHTNESS
from tonewright import scales
from tonewright.errors import FileError, OptionError
from tonewright.files.negative.again import scale_document
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.negative.pipeline import Resampling, WriteSettings, write_mapped
from tonewright.files.raster import bands, resample
from tonewright.files.raster.open import open_image
from tonewright.files.targets import read_target
from tonewright.negative.findings import VisibleSteps
from tonewright.negative.ink import Ink
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish

IDENTITY = np.arange(65536, dtype=np.uint16)
LINEAR = np.linspace(0, 1, 65536, dtype=np.float32)


class Straight(straight.Straight):
    def print_lightness_at(self, lightness):
        return 15.0 + 0.8 * np.asarray(lightness)


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def random(shape, seed=6):
    return np.random.default_rng(seed).integers(0, 65536, shape).astype(np.uint16)


def save(path, data, **options):
    options = {"photometric": "minisblack", "resolution": (300, 300), **options}
    tifffile.imwrite(path, data, metadata=None, **options)
    return path


def written(source, out, codes=IDENTITY, **settings):
    settings = {"mirror": False, "description": "", **settings}
    image = open_image(source).turned(settings.pop("rotate", 0))
    write_mapped(image, out, codes, WriteSettings(**settings))
    return tifffile.imread(out)


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("mirror", [False, True])
def test_rotation_after_orientation_as_numpy_turns(tmp_path, rotate, orientation, mirror):
    from PIL import ImageOps

    data = random((31, 47))
    source = save(tmp_path / "i.tif", data, extratags=[(274, 3, 1, orientation, True)])
    flat = Image.fromarray(data)
    flat.getexif()[274] = orientation
    expected = np.rot90(np.asarray(ImageOps.exif_transpose(flat)), -rotate // 90)
    seen = written(source, tmp_path / "o.tif", rotate=rotate, mirror=mirror)
    assert np.array_equal(seen, expected[:, ::-1] if mirror else expected)


def resampled(source, out, width, height, **settings):
    """Luminance in, luminance out: the codes are those of lightness, turned back here."""
    wanted = Resampling(width, height, LINEAR)
    codes = written(source, out, LIGHTNESS, resampling=wanted, **settings)
    return scales.lightness_to_luminance(codes / 655.35) / 100


def smooth(shape):
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    return np.rint(32768 + 20000 * np.sin(x / 9.0) * np.cos(y / 7.0)).astype(np.uint16)


@pytest.mark.parametrize("size", [(60, 50), (123, 87), (301, 211), (350, 200), (1, 1), (300, 7)])
@pytest.mark.parametrize("mirror", [False, True])
def test_bands_join_as_if_the_whole_were_resampled_at_once(tmp_path, monkeypatch, size, mirror):
    """Pillow on the whole picture in one go."""
    monkeypatch.setattr(resample, "_BAND_BYTES", 9_000)
    monkeypatch.setattr(bands, "BAND_BYTES", 5000)
    data = random((211, 173))
    seen = resampled(save(tmp_path / "i.tif", data), tmp_path / "o.tif", *size, mirror=mirror)
    fewer, more = Image.Resampling.HAMMING, Image.Resampling.BILINEAR
    whole = Image.fromarray(data / np.float32(65535))
    whole = whole.resize((size[0], 211), fewer if size[0] < 173 else more)
    whole = np.asarray(whole.resize(size, fewer if size[1] < 211 else more)).clip(0, 1)
    assert seen.shape == size[::-1]
    expected = whole[:, ::-1] if mirror else whole
    lightness = scales.luminance_to_lightness
    assert np.abs(lightness(100 * seen) - lightness(100 * expected)).max() < 0.003


def test_resampling_is_close_to_another_library(tmp_path):
    """scikit-image with its own filter: a smooth scene comes out alike, at the right place."""
    data = smooth((240, 320))
    seen = resampled(save(tmp_path / "i.tif", data), tmp_path / "o.tif", 160, 120)
    expected = rescale(data / 65535, 0.5, order=3, anti_aliasing=True)
    assert np.abs(seen - expected)[4:-4, 4:-4].max() < 0.01
    shifted = np.roll(expected, 1, axis=1)
    assert np.abs(seen - shifted)[4:-4, 4:-4].max() > 0.02  # it would show half a pixel


@pytest.mark.parametrize("size", [(250, 300), (37, 45), (500, 600)])
@pytest.mark.parametrize("rotate", [0, 90])
def test_an_edge_gets_no_rim(tmp_path, size, rotate):
    """Between L* 28 and 83 nothing is darker or lighter, and both sides keep their tone."""
    dark, light = (scales.lightness_to_luminance(v) / 100 for v in (28.0, 83.0))
    data = np.full((360, 300), round(65535 * dark), np.uint16)
    data[:, 140:] = round(65535 * light)
    data[200:, 100:] = data[0, 0]
    source = save(tmp_path / "i.tif", data)
    seen = resampled(source, tmp_path / "o.tif", *size[:: 1 if rotate == 0 else -1], rotate=rotate)
    lightness = scales.luminance_to_lightness(100 * seen)
    assert lightness.min() >= 27.99 and lightness.max() <= 83.01
    far = np.rot90(lightness, rotate // 90)
    assert far[:, : size[0] // 5] == pytest.approx(28.0, abs=0.01)
    assert far[: size[1] // 3, size[0] * 3 // 5 :] == pytest.approx(83.0, abs=0.01)
    top = far[: size[1] // 3]
    between = np.count_nonzero((top > 29) & (top < 82), axis=1)
    assert between.max() <= max(2, 2 * size[0] / 300)  # it is still an edge


def test_light_adds_up_in_luminance_not_in_values(tmp_path):
    """A fine checker of black and white looks like half the light: L* 76.07 (CIE 15)."""
    y, x = np.mgrid[0:128, 0:128]
    checker = (65535 * ((x + y) % 2)).astype(np.uint16)
    source = save(tmp_path / "i.tif", checker)
    settings = NegativeSettings(
        encoding="lightness", size=SizeWish(ppi=Fraction(75)), mirror=False
    )
    report = make_negative(source, Straight(), tmp_path / "n.tif", settings)
    codes = tifffile.imread(tmp_path / "n.tif")
    assert codes.shape == (32, 32)
    assert report.resampled_from == (128, 128)
    middle = 100 * (1 - codes[4:-4, 4:-4] / 65535)
    assert middle == pytest.approx(76.07, abs=0.02)


def test_a_flat_tone_stays_exactly_flat(tmp_path):
    source = save(tmp_path / "i.tif", np.full((90, 70), 23456, np.uint16))
    wanted = Resampling(101, 133, LINEAR)
    seen = written(source, tmp_path / "o.tif", LIGHTNESS, resampling=wanted)
    assert np.ptp(seen.astype(int)) <= 1


def test_without_ppi_only_the_resolution_changes(tmp_path):
    data = random((30, 40))
    source = save(tmp_path / "i.tif", data)
    settings = NegativeSettings(size=SizeWish(width_mm=Fraction(200)), encoding="lightness")
    make_negative(source, Straight(), tmp_path / "n.tif", settings)
    assert np.array_equal(tifffile.imread(tmp_path / "n.tif"), 65535 - data[:, ::-1])
    with Image.open(tmp_path / "n.tif") as other:
        assert 25.4 * 40 / other.info["dpi"][0] == pytest.approx(200.0, abs=1e-3)
        assert other.info["dpi"][0] == other.info["dpi"][1]


@pytest.mark.parametrize("rotate", [0, 90])
def test_size_at_a_resolution(tmp_path, rotate):
    source = save(tmp_path / "i.tif", random((300, 400)))
    wish = SizeWish(width_mm=Fraction(20), ppi=Fraction(360), rotate=rotate)
    report = make_negative(
        source, Straight(), tmp_path / "n.tif", NegativeSettings(size=wish)
    )
    shape = (213, 283) if rotate == 0 else (378, 283)
    assert tifffile.imread(tmp_path / "n.tif").shape == shape
    assert report.resolution.per_inch == (360, 360)
    assert report.picture_mm[0] == pytest.approx(20, abs=0.04)


@pytest.mark.parametrize("colour", [None, (255, 120, 0)])
@pytest.mark.parametrize("depth", [8, 16])
@pytest.mark.parametrize("tiles", [None, (32, 48)])
def test_packed_output_holds_the_same_pixels(tmp_path, monkeypatch, colour, depth, tiles):
    monkeypatch.setattr("tonewright.files.raster.tiff_writer.STRIP_BYTES", 4000)
    source = save(tmp_path / "i.tif", smooth((131, 97)), tile=tiles, rowsperstrip=None)
    ink = Ink(depth, colour)
    plain = written(source, tmp_path / "a.tif", ink=ink)
    assert np.array_equal(written(source, tmp_path / "b.tif", ink=ink, deflate=True), plain)
    with tifffile.TiffFile(tmp_path / "b.tif") as file:
        page = file.pages[0]
        assert (page.compression, page.predictor, page.bitspersample) == (8, 2, depth)
        assert len(page.dataoffsets) > 3
    if depth == 8:
        with Image.open(tmp_path / "b.tif") as other:  # libtiff
            assert np.array_equal(np.asarray(other), plain)
    assert (tmp_path / "b.tif").stat().st_size < (tmp_path / "a.tif").stat().st_size


def test_outputs_as_libvips_reads_them(tmp_path):
    """A third reader; it comes with the benchmarks only."""
    pyvips = pytest.importorskip("pyvips")
    data = random((131, 97))
    source = save(tmp_path / "i.tif", data)
    for name, settings in {
        "plain": {}, "packed": {"deflate": True}, "small": {"ink": Ink(8)},
        "colour": {"ink": Ink(16, (200, 30, 0))},
    }.items():  # fmt: skip
        out = tmp_path / f"{name}.tif"
        written(source, out, **settings)
        image = pyvips.Image.new_from_file(str(out))
        assert np.array_equal(image.numpy(), tifffile.imread(out))
        assert 25.4 * image.xres == pytest.approx(300)


SHEET = SheetSettings(None, "clear", True, True, True)


def sheet_of(tmp_path, border="clear", mirror=True, **more):
    source = save(tmp_path / "i.tif", smooth((1300, 1000)))
    settings = NegativeSettings(
        mirror=mirror, encoding="lightness", date="2026-01-02",
        sheet=SheetSettings(None, border, True, True, True), **more,
    )  # fmt: skip
    report = make_negative(source, Straight(), tmp_path / "n.tif", settings)
    return report, tifffile.imread(tmp_path / "n.tif"), tifffile.imread(source)


@pytest.mark.parametrize("border", ["clear", "opaque"])
def test_the_picture_lies_untouched_in_its_sheet(tmp_path, border):
    report, sheet, data = sheet_of(tmp_path, border)
    margin = round(14 * 300 / 25.4)
    assert sheet.shape == (1300 + 2 * margin, 1000 + 2 * margin) == (report.height, report.width)
    inner = sheet[margin:-margin, margin:-margin]
    assert np.array_equal(inner, 65535 - data[:, ::-1])
    assert np.median(sheet[:margin]) == (65535 if border == "clear" else 0)


def test_a_sheet_is_mirrored_as_a_whole(tmp_path):
    _, mirrored, _ = sheet_of(tmp_path)
    (tmp_path / "n.tif").unlink()
    (tmp_path / "n.target.json").unlink()
    (tmp_path / "n.csv").unlink()
    _, plain, _ = sheet_of(tmp_path, mirror=False)
    assert np.array_equal(mirrored, plain[:, ::-1])


def test_the_tone_scale_holds_what_its_document_says(tmp_path):
    report, sheet, _ = sheet_of(tmp_path)
    assert report.target == scale_document(tmp_path / "n.tif") == tmp_path / "n.target.json"
    target = read_target(report.target)
    upright, at = sheet[:, ::-1], 300 / 25.4
    assert (target.width_mm, target.height_mm) == pytest.approx(
        (sheet.shape[1] / at, sheet.shape[0] / at), abs=1e-3
    )
    assert len(target.patches) == 11 and target.mirrored
    for patch in target.patches:
        x, y = (round(v * at) for v in patch.centre)
        inside = upright[y - 8 : y + 8, x - 8 : x + 8]
        assert np.ptp(inside) == 0
        assert inside[0, 0] == scales.level_to_code(patch.level)
        assert patch.aim_lightness == pytest.approx(15 + 80 * patch.level, abs=1e-3)
    for mark in target.marks:
        x, y = round(mark.x_mm * at), round(mark.y_mm * at)
        assert upright[y, x + round(0.42 * mark.size_mm * at)] == 0  # ink, off its spots


def test_a_sheet_with_all_in_8_bits_and_colour(tmp_path):
    source = save(tmp_path / "i.tif", smooth((1300, 1000)))
    settings = NegativeSettings(sheet=SHEET, depth=8, encoding="lightness", deflate=True)
    curve = Straight(ink_colour="255,120,0", printing_time="8 min")
    report = make_negative(source, curve, tmp_path / "n.tif", settings)
    seen = tifffile.imread(tmp_path / "n.tif")
    assert report.ink_colour == "255,120,0"
    assert seen.shape == (report.height, report.width, 3) and seen.dtype == np.uint8
    assert (seen[0, 0] == 255).all()
    assert (seen[..., 0] == 255).all()
    assert seen[..., 1].min() >= 120


@pytest.mark.parametrize(
    ("shape", "options", "code"),
    [
        ((300, 400), {}, "no_room_for_tone_scale"),
        ((1300, 1000), {"resolution": (300, 200)}, "pixels_not_square"),
        ((1300, 1000), {"resolution": (9000, 9000)}, "impossible_resolution"),
        ((1300, 1000), {"resolutionunit": 1}, "picture_size_unknown"),
    ],
)
def test_sheets_that_cannot_be(tmp_path, shape, options, code):
    source = save(tmp_path / "i.tif", random(shape), **options)
    with pytest.raises(OptionError) as raised:
        make_negative(source, Straight(), tmp_path / "n.tif", NegativeSettings(sheet=SHEET))
    assert raised.value.code == code
    assert names(tmp_path) == ["i.tif"]


def test_sheet_and_document_come_both_or_neither(tmp_path):
    source = save(tmp_path / "i.tif", random((1300, 1000)))
    settings = NegativeSettings(sheet=SHEET)
    (tmp_path / "n.target.json").write_text("old", encoding="utf-8")
    with pytest.raises(FileError, match=r"n\.target\.json is there already"):
        make_negative(source, Straight(), tmp_path / "n.tif", settings)
    (tmp_path / "n.target.json").unlink()

    def stop(*rows):
        raise RuntimeError

    with pytest.raises(RuntimeError):
        make_negative(source, Straight(), tmp_path / "n.tif", settings, stop)
    assert names(tmp_path) == ["i.tif"]


@pytest.mark.parametrize("count", range(3))
def test_pixels_at_the_ends_are_counted(tmp_path, count):
    data = np.full((50, 40), 30000, np.uint16)
    data[: 5 * count], data[40:] = 0, 65535
    report = make_negative(
        save(tmp_path / "i.tif", data), Straight(), tmp_path / "n.tif",
        NegativeSettings(encoding="lightness"),
    )  # fmt: skip
    assert report.black_share == pytest.approx(count / 10)
    assert report.white_share == pytest.approx(0.2)
    codes = [found.code for found in report.findings]
    assert "white_tones_lost" in codes
    assert ("black_tones_lost" in codes) == (count > 0)


def test_steps_that_8_bits_cannot_hold_are_warned_of(tmp_path):
    source = tmp_path / "i.tif"
    values = np.arange(256, dtype=np.uint8).reshape(16, 16)
    tifffile.imwrite(source, values, photometric="minisblack", metadata=None)
    for encoding, jumps in (("srgb", False), ("linear", True)):
        out = tmp_path / f"{encoding}.tif"
        report = make_negative(source, Straight(), out, NegativeSettings(encoding=encoding))
        assert any(isinstance(w, VisibleSteps) for w in report.findings) == jumps
        # CIE 15: the first step of 255 in linear light is L* 903.3 / 255 = 3.54, times 0.8
        assert report.largest_step_lightness == pytest.approx(2.834 if jumps else 0.407, abs=1e-3)


@pytest.mark.parametrize("settings", [{"deflate": True}, {"sheet": SHEET}, {"depth": 8}, {}])
def test_a_disk_that_fills_up_leaves_nothing(tmp_path, settings):
    source = save(tmp_path / "i.tif", random((1300, 1000)))
    with disk_of(500_000), pytest.raises(FileError, match=r"n\.tif was not written"):
        make_negative(source, Straight(), tmp_path / "n.tif", NegativeSettings(**settings))
    assert names(tmp_path) == ["i.tif"]


KILLED = """
import sys
import numpy as np
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.negative.sheet import SheetSettings
class Curve:
    name = "c"
    def level_at(self, lightness): return np.asarray(lightness) / 100
print("ready", flush=True)
settings = NegativeSettings(deflate=sys.argv[3] == "deflate", force=True,
                            sheet=SheetSettings(tone_scale=True))
make_negative(sys.argv[1], Curve(), sys.argv[2], settings)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no SIGKILL here")
@pytest.mark.parametrize("kind", ["none", "deflate"])
def test_killed_at_any_moment(tmp_path, kind):
    """What stands under the name afterwards is nothing or whole; a rerun just works."""
    source = save(tmp_path / "i.tif", random((2600, 2000)))
    out = tmp_path / "n.tif"
    make_negative(source, Straight(), tmp_path / "whole.tif", NegativeSettings())
    seen = set()
    for moment in (0.0, 0.01, 0.03, 0.06, 0.1, 0.16):
        out.unlink(missing_ok=True)
        run = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(source), str(out), kind], stdout=subprocess.PIPE
        )
        run.stdout.readline()
        time.sleep(moment)
        run.kill()
        run.wait(timeout=30)
        run.stdout.close()
        seen.add(out.exists())
        if out.exists():
            assert tifffile.imread(out).shape == (2600 + 330, 2000 + 330)
    assert False in seen
    for name in ("n.tif", "n.target.json", "n.csv"):
        (tmp_path / name).unlink(missing_ok=True)
    make_negative(source, Straight(), out, NegativeSettings(sheet=SheetSettings(tone_scale=True)))
    assert tifffile.imread(out).shape == (2600 + 330, 2000 + 330)
    json.loads((tmp_path / "n.target.json").read_text(encoding="utf-8"))


def test_the_source_is_never_touched(tmp_path):
    source = save(tmp_path / "i.tif", random((1300, 1000)))
    before = (source.read_bytes(), source.stat().st_mtime_ns)
    for number, (depth, deflate) in enumerate(itertools.product((8, 16), (False, True))):
        settings = NegativeSettings(depth=depth, deflate=deflate, sheet=SHEET)
        make_negative(source, Straight(), tmp_path / f"{number}.tif", settings)
    assert (source.read_bytes(), source.stat().st_mtime_ns) == before


def test_provenance_names_curve_hash_and_settings(tmp_path):
    source = save(tmp_path / "i.tif", random((1300, 1000)))
    settings = NegativeSettings(
        sheet=SHEET, depth=8, seed=7, curve_sha256="ab" * 32,
        size=SizeWish(width_mm=Fraction(100), ppi=Fraction(200), rotate=90),
    )  # fmt: skip
    make_negative(source, Straight(), tmp_path / "n.tif", settings)
    with tifffile.TiffFile(tmp_path / "n.tif") as file:
        words = file.pages[0].description
    for word in (
        "i.tif", "curve straight (sha256 " + "ab" * 32, "turned 90", "resampled from 1000 x 1300",
        "14 mm of clear border, marks, tone scale, caption", "8 bits", "seed 7",
        "255 is clear film",
    ):  # fmt: skip
        assert word in words


PEAK = """
import sys
from pathlib import Path
import numpy as np
from fractions import Fraction
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.negative.size import SizeWish
class Curve:
    name = "straight"
    def level_at(self, lightness): return np.asarray(lightness) / 100
wish = SizeWish(width_mm=Fraction(50), ppi=Fraction(sys.argv[3])) if sys.argv[3:] else SizeWish()
make_negative(sys.argv[1], Curve(), sys.argv[2], NegativeSettings(encoding="srgb", size=wish))
lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
print(next(line for line in lines if "VmHWM" in line).split()[1])
"""
LARGE = {
    "to few pixels": ({"rowsperstrip": 64}, (9000, 9000), np.uint8, ["10"]),
    "from tiles": ({"tile": (256, 256)}, (3000, 22000), np.uint16, ["360"]),
    "from tiles in colour": ({"tile": (512, 512)}, (2000, 10000, 3), np.uint8, ["360"]),
    "from one strip": ({"compression": "packbits", "rowsperstrip": 9000}, (3500, 6000), np.uint16,
                       []),
}


@pytest.mark.skipif(sys.platform != "linux", reason="the system tells the peak on Linux")
@pytest.mark.parametrize("name", LARGE)
def test_large_pictures_take_little_memory(tmp_path, name):
    how, shape, kind, ppi = LARGE[name]
    row = (np.arange(shape[1]) % 251).astype(kind)
    data = np.broadcast_to(row if len(shape) == 2 else row[:, None], shape)
    photometric = "minisblack" if len(shape) == 2 else "rgb"
    save(tmp_path / "i.tif", data, **{"compression": "zlib", "photometric": photometric, **how})
    command = [sys.executable, "-c", PEAK, str(tmp_path / "i.tif"), str(tmp_path / "o.tif"), *ppi]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert int(done.stdout) * 1024 < 150e6
