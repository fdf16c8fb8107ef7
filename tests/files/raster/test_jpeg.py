"""JPEGs in, as Pillow sees them."""

from __future__ import annotations

import errno
import io
import os
import subprocess
import sys

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, ImageOps

from straight import LIGHTNESS
from tonewright.errors import FileError, ImageError, TonewrightError
from tonewright.files.negative.pipeline import WriteSettings, write_mapped
from tonewright.files.negative.tones import image_tones
from tonewright.files.raster import findings, jpeg
from tonewright.files.raster.open import OpenOptions, open_image
from tonewright.negative.colour import pixel_codes

PLAIN = WriteSettings(mirror=False, description="a test")


def scene(shape=(90, 120), seed=1):
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    smooth = 128 + 100 * np.sin(x / 17) * np.cos(y / 11)
    return np.clip(smooth + random.normal(0, 4, shape), 0, 255).astype(np.uint8)


def mapped(source, out, settings=PLAIN):
    image = open_image(source)
    write_mapped(image, out, np.arange(256, dtype=np.uint16), settings)
    return tifffile.imread(out)


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"quality": 100}])
def test_gray_pixels_as_pillow_reads_them(tmp_path, options):
    Image.fromarray(scene()).save(tmp_path / "in.jpg", **options)
    image = open_image(tmp_path / "in.jpg")
    assert image.findings[0] == findings.LossyImage()
    with Image.open(tmp_path / "in.jpg") as other:
        expected = np.asarray(other).astype(int)
    seen = mapped(tmp_path / "in.jpg", tmp_path / "o.tif").astype(int)
    assert np.abs(seen - expected).max() <= 1  # two builds of the same transform


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_of_the_exif(tmp_path, orientation):
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(scene()).save(tmp_path / "in.jpg", exif=exif, quality=100)
    with Image.open(tmp_path / "in.jpg") as other:
        expected = np.asarray(ImageOps.exif_transpose(other)).astype(int)
    seen = mapped(tmp_path / "in.jpg", tmp_path / "o.tif").astype(int)
    assert seen.shape == expected.shape
    assert np.abs(seen - expected).max() <= 1


def test_resolution_and_profile(tmp_path):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    picture = Image.fromarray(np.dstack([scene(seed=n) for n in range(3)]))
    picture.save(tmp_path / "in.jpg", dpi=(300, 300), icc_profile=profile)
    image = open_image(tmp_path / "in.jpg")
    assert image.resolution.per_inch == (300, 300)
    assert image.profile == profile
    assert image.page.colour
    assert image_tones(image, None).encoding.startswith("profile sRGB")


def test_inks_are_refused(tmp_path):
    Image.new("CMYK", (40, 40)).save(tmp_path / "in.jpg")
    with pytest.raises(ImageError, match=r"CMYK.*editor"):
        open_image(tmp_path / "in.jpg")


def test_one_too_large_to_unpack_whole(tmp_path, monkeypatch):
    for name in ("LARGEST", "LARGEST_IN_FILE"):
        monkeypatch.setattr(jpeg, name, 10_000)
    Image.fromarray(scene()).save(tmp_path / "in.jpg")
    with pytest.raises(ImageError, match=r"may hold.*TIFF"):
        open_image(tmp_path / "in.jpg")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere it is decoded in memory")
def test_a_progressive_one_is_bounded_by_memory(tmp_path, monkeypatch):
    """Its decoder keeps the whole picture, wherever the pixels go."""
    monkeypatch.setattr(jpeg, "LARGEST", 10_000)
    Image.fromarray(scene()).save(tmp_path / "in.jpg")
    open_image(tmp_path / "in.jpg")
    Image.fromarray(scene()).save(tmp_path / "in.jpg", progressive=True)
    with pytest.raises(ImageError, match=r"progressive.*may hold.*TIFF"):
        open_image(tmp_path / "in.jpg")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere it is decoded in memory")
def test_so_is_one_in_a_scan_for_each_channel(tmp_path, monkeypatch):
    """ITU-T T.81, B.2.3: the first scan's header says how many channels it holds."""
    monkeypatch.setattr(jpeg, "LARGEST", 10_000)
    Image.fromarray(np.dstack([scene()] * 3)).save(tmp_path / "in.jpg")
    data = bytearray((tmp_path / "in.jpg").read_bytes())
    open_image(tmp_path / "in.jpg")
    at = data.index(b"\xff\xda") + 4
    assert data[at] == 3
    data[at] = 1
    (tmp_path / "in.jpg").write_bytes(data)
    with pytest.raises(ImageError, match=r"progressive.*may hold.*TIFF"):
        open_image(tmp_path / "in.jpg")


@pytest.fixture(params=["memory", "file"])
def way(request, monkeypatch):
    """Small pictures go by way of memory; here also by way of a file, as large ones do."""
    if request.param == "file":
        if sys.platform != "linux":
            pytest.skip("by way of a file on Linux only")
        monkeypatch.setattr(jpeg, "IN_MEMORY", 0)
        monkeypatch.setattr(jpeg, "_CHUNK", 1000)
        monkeypatch.setattr(jpeg, "_TRIM_SECONDS", 0.0)  # as often as can be
    return request.param


@pytest.mark.parametrize("orientation", [1, 3, 6])
def test_in_colour_by_either_way(tmp_path, way, orientation):
    rgb = np.dstack([scene((700, 900), seed=n) for n in range(3)])
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(rgb).save(tmp_path / "in.jpg", quality=95, exif=exif)
    with Image.open(tmp_path / "in.jpg") as other:
        pixels = np.asarray(ImageOps.exif_transpose(other))
    image = open_image(tmp_path / "in.jpg")
    assert image.reader.wants_file(image.source, image.page) == (way == "file")
    tones = image_tones(image, None)
    settings = WriteSettings(False, "", to_luminance=tones.to_luminance)
    write_mapped(image, tmp_path / "o.tif", LIGHTNESS, settings)
    expected = pixel_codes(pixels, tones.to_luminance, LIGHTNESS)
    off = np.abs(tifffile.imread(tmp_path / "o.tif").astype(int) - expected)
    assert off.max() < 1500 and np.median(off) == 0  # two builds of the same transform
    assert sorted(p.name for p in tmp_path.iterdir()) == ["in.jpg", "o.tif"]


def test_a_damaged_one_by_either_way(tmp_path, way):
    Image.fromarray(scene((300, 400))).save(tmp_path / "in.jpg")
    whole = (tmp_path / "in.jpg").read_bytes()
    # the frame's height made larger than the pixels reach, then no end, then no pixels at all
    at = whole.index(b"\xff\xc0") + 5
    taller = whole[:at] + (5000).to_bytes(2, "big") + whole[at + 2 :]
    for data in (whole[:-2], whole[: len(whole) // 2] + b"\xff", whole[:at] + b"\xff\xd9"):
        (tmp_path / "in.jpg").write_bytes(data)
        with pytest.raises(TonewrightError):
            mapped(tmp_path / "in.jpg", tmp_path / "o.tif")
        assert [p.name for p in tmp_path.iterdir()] == ["in.jpg"]
    (tmp_path / "in.jpg").write_bytes(taller)
    image = open_image(tmp_path / "in.jpg")
    assert image.page.height == 5000


@pytest.mark.skipif(sys.platform != "linux", reason="by way of a file on Linux only")
def test_a_full_disk_is_called_so(tmp_path, monkeypatch):
    """The room is asked for before anything is written through memory."""
    monkeypatch.setattr(jpeg, "IN_MEMORY", 0)

    def full(*_):
        raise OSError(errno.ENOSPC, "no room")

    monkeypatch.setattr(os, "posix_fallocate", full)
    Image.fromarray(scene()).save(tmp_path / "in.jpg")
    with pytest.raises(FileError, match="disk is full"):
        mapped(tmp_path / "in.jpg", tmp_path / "o.tif")
    assert [p.name for p in tmp_path.iterdir()] == ["in.jpg"]


PEAK = """
import sys
from pathlib import Path
import numpy as np
from tonewright.files.negative.make import make_negative
class Curve:
    name = "straight"
    def level_at(self, lightness): return np.asarray(lightness) / 100
make_negative(sys.argv[1], Curve(), sys.argv[2])
lines = Path("/proc/self/status").read_text(encoding="utf-8").splitlines()
print(next(line for line in lines if "VmHWM" in line).split()[1])
"""


@pytest.mark.skipif(sys.platform != "linux", reason="by way of a file on Linux only")
def test_a_large_one_takes_little_memory(tmp_path):
    """45 megapixels in colour are 135 MB; the whole program stays below 110."""
    row = np.linspace(0, 255, 9000).astype(np.uint8)
    rgb = np.broadcast_to(row[None, :, None], (5000, 9000, 3))
    data = imagecodecs.jpeg8_encode(np.ascontiguousarray(rgb), level=80)
    (tmp_path / "in.jpg").write_bytes(data)
    for go in range(3):  # what is read is given back every 0.01 s, but on a machine that stalls
        out = tmp_path / f"{go}.tif"
        command = [sys.executable, "-c", PEAK, str(tmp_path / "in.jpg"), str(out)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        if int(done.stdout) * 1024 < 110e6:
            break
    assert int(done.stdout) * 1024 < 110e6
    with tifffile.TiffFile(out) as file:
        assert file.pages[0].shape == (5000, 9000)


def test_truncated_anywhere(tmp_path):
    Image.fromarray(scene((300, 400))).save(tmp_path / "in.jpg")
    whole = (tmp_path / "in.jpg").read_bytes()
    for part in (0.0005, 0.01, 0.5, 0.95, 0.9999):
        (tmp_path / "in.jpg").write_bytes(whole[: int(len(whole) * part)])
        with pytest.raises(TonewrightError):
            mapped(tmp_path / "in.jpg", tmp_path / "o.tif")
        assert [p.name for p in tmp_path.iterdir()] == ["in.jpg"]


def mutants(count, seed):
    random = np.random.default_rng(seed)
    exif = Image.Exif()
    exif[274], exif[282] = 6, 300.0
    seeds = []
    for data in (scene((48, 40)), np.dstack([scene((48, 40), n) for n in range(3)])):
        file = io.BytesIO()
        Image.fromarray(data).save(file, "jpeg", exif=exif, dpi=(300, 300))
        seeds.append(file.getvalue())
    for index in range(count):
        data = bytearray(seeds[index % len(seeds)])
        reach = min(len(data), 220) if random.random() < 0.7 else len(data)
        for place in random.integers(3, reach, random.integers(1, 7)):
            data[place] = random.choice([0, 1, 127, 255, int(random.integers(256))])
        yield bytes(data[: random.integers(3, len(data))] if random.random() < 0.1 else data)


def test_mutated_jpegs_end_in_one_message_or_a_whole_file(tmp_path, way):
    count = int(os.environ.get("TONEWRIGHT_MUTANTS", "160"))
    source, out = tmp_path / "in.jpg", tmp_path / "out.tif"
    refused = 0
    for data in mutants(count, seed=22):
        source.write_bytes(data)
        try:
            image = open_image(source, OpenOptions())
            tones = image_tones(image, None)
            codes = np.zeros(image.values, np.uint16)
            settings = WriteSettings(False, "", to_luminance=tones.to_luminance)
            write_mapped(image, out, LIGHTNESS if image.page.colour else codes, settings)
        except TonewrightError:
            refused += 1
            assert [p.name for p in tmp_path.iterdir()] == ["in.jpg"]
        else:
            out.unlink()
    assert count / 10 < refused < count
