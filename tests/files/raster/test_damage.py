"""Damage that a format reveals is refused, whatever the way its pixels go."""

from __future__ import annotations

import io
import struct
import sys
import time
import zlib
from functools import partial

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from tonewright.errors import ImageError, TonewrightError
from tonewright.files.raster import inflate, jpeg, png, tiff_pixels
from tonewright.files.raster.bands import Wanted
from tonewright.files.raster.open import OpenOptions, open_image
from tonewright.files.raster.scans import read_scan

SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
FLIPS = 120
ENGINES = [zlib, *({inflate._fast} - {zlib})]


def scene(shape=(120, 160), seed=1):
    """A smooth picture with noise, so that it packs as photographs do."""
    random = np.random.default_rng(seed)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    smooth = 128 + 90 * np.sin(x / 17) * np.cos(y / 11)
    return np.clip(smooth + random.normal(0, 3, shape), 0, 255).astype(np.uint8)


def fine(shape=(120, 160)):
    """The same in 16 bits."""
    return scene(shape).astype(np.uint16) * 257 + scene(shape, 2)


def pixels(path):
    """Every stored value, and what else is used of the file."""
    with open_image(path, OpenOptions(flatten=True)) as image:
        bands = [job() for job in image.jobs()]
        return np.concatenate(bands).tobytes(), image.profile, image.said_encoding


def colour_png(path):
    Image.fromarray(np.dstack([scene(seed=n) for n in range(3)])).save(
        path, "png", icc_profile=SRGB)


def gray_png(path):
    path.write_bytes(imagecodecs.png_encode(fine(), level=6))


def interlaced_png(path):
    data = fine((24, 24))
    passes = [data[0::8, 0::8], data[0::8, 4::8], data[4::8, 0::4], data[0::4, 2::4],
              data[2::4, 0::2], data[0::2, 1::2], data[1::2, 0::1]]
    rows = [b"\0" + row.astype(">u2").tobytes() for part in passes for row in part]
    head = struct.pack(">IIBBBBB", 24, 24, 16, 0, 0, 0, 1)
    path.write_bytes(png.SIGNATURE + chunk(b"IHDR", head) + chunk(
        b"IDAT", zlib.compress(b"".join(rows))) + chunk(b"IEND", b""))


def chunk(kind, body):
    check = zlib.crc32(body, zlib.crc32(kind))
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", check)


def deflate_tiff(path, **how):
    tifffile.imwrite(path, fine(), photometric="minisblack", metadata=None, compression="zlib",
                     predictor=True, **how)


WITH_SUMS = {
    "png in colour": colour_png,
    "png in gray": gray_png,
    "png interlaced": interlaced_png,
    "tiff in strips": lambda path: deflate_tiff(path, rowsperstrip=16),
    "tiff in tiles": lambda path: deflate_tiff(path, tile=(64, 64)),
    "tiff in one strip": lambda path: deflate_tiff(path, rowsperstrip=120),
}


def packed_part(name, path):
    """Where the bytes are that a check sum covers."""
    if name.startswith("png"):
        return 0, path.stat().st_size
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        ends = np.add(page.dataoffsets, page.databytecounts)
        return min(page.dataoffsets), int(max(ends))


@pytest.mark.parametrize("engine", ENGINES, ids=lambda module: module.__name__)
@pytest.mark.parametrize("name", WITH_SUMS)
def test_no_flipped_bit_passes_a_check_sum(tmp_path, monkeypatch, name, engine):
    monkeypatch.setattr(inflate, "_fast", engine)
    monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 20_000)  # as a strip of 4 MB would be
    path = tmp_path / "in"
    WITH_SUMS[name](path)
    whole, wanted = path.read_bytes(), pixels(path)
    first, end = packed_part(name, path)
    random = np.random.default_rng(12)
    refused = 0
    for place, bit in zip(random.integers(first, end, FLIPS), random.integers(0, 8, FLIPS),
                          strict=True):  # fmt: skip
        data = bytearray(whole)
        data[place] ^= 1 << bit
        path.write_bytes(data)
        try:
            assert pixels(path) == wanted, (place, bit)
        except TonewrightError:
            refused += 1
    assert refused > 0.95 * FLIPS


@pytest.mark.parametrize("name", WITH_SUMS)
@pytest.mark.parametrize("sum_of", ["adler", "stream cut"])
def test_the_sum_behind_the_last_row_counts(tmp_path, monkeypatch, name, sum_of):
    """Check sums of chunks are mended, so that zlib's own must speak."""
    monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 20_000)
    path = tmp_path / "in"
    WITH_SUMS[name](path)
    data = bytearray(path.read_bytes())
    if name.startswith("png"):
        at, body = 8, b""
        while data[at + 4 : at + 8] != b"IEND":
            size = int.from_bytes(data[at : at + 4], "big")
            if data[at + 4 : at + 8] == b"IDAT":
                body += data[at + 8 : at + 8 + size]
            at += 12 + size
        body = body[:-4] + b"abcd" if sum_of == "adler" else body[:-4]
        start = data.index(b"IDAT") - 4
        data = data[:start] + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    else:
        with tifffile.TiffFile(path) as file:
            page = file.pages[0]
            end = page.dataoffsets[-1] + page.databytecounts[-1]
            sizes = page.tags["StripByteCounts" if "strip" in name else "TileByteCounts"]
        if sum_of == "adler":
            data[end - 4 : end] = b"abcd"
        else:
            at = sizes.valueoffset + (sizes.count - 1) * {3: 2, 4: 4}[sizes.dtype]
            data[at : at + 2] = struct.pack("<H", page.databytecounts[-1] - 4)
    path.write_bytes(data)
    with pytest.raises(ImageError, match="damaged"):
        pixels(path)


@pytest.mark.parametrize("kind", [b"gAMA", b"cHRM", b"iCCP", b"sRGB", b"pHYs", b"eXIf", b"tEXt"])
def test_a_chunk_with_a_wrong_sum_is_never_used(tmp_path, kind):
    path = tmp_path / "in.png"
    gray_png(path)
    whole = path.read_bytes()
    bad = bytearray(chunk(kind, struct.pack(">8I", *[45455] * 8)))
    bad[9] ^= 1
    path.write_bytes(whole[:33] + bad + whole[33:])
    with pytest.raises(ImageError, match=r"check sum.*damaged"):
        open_image(path)


def test_pixels_beyond_the_last_row_are_damage(tmp_path):
    rows = (b"\0" + bytes(16)) * 9
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 8, 8, 16, 0, 0, 0, 0))
    (tmp_path / "in.png").write_bytes(
        png.SIGNATURE + head + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))
    with pytest.raises(ImageError, match="more than its rows"):
        pixels(tmp_path / "in.png")


# JPEG


@pytest.fixture(params=["memory", "file", "tiff", "scan"])
def jpeg_pixels(request, monkeypatch, tmp_path):
    """A function that decodes a JPEG given as bytes: each way there is."""
    path = tmp_path / "in.jpg"
    if request.param == "file":
        if sys.platform != "linux":
            pytest.skip("by way of a file on Linux only")
        monkeypatch.setattr(jpeg, "IN_MEMORY", 0)

    def decode(data):
        path.write_bytes(data)
        if request.param == "scan":
            return read_scan(path, allow_jpeg=True).pixels
        if request.param == "tiff":
            with Image.open(io.BytesIO(data)) as image:
                width, height = image.size
            tifffile.imwrite(path, iter([data]), shape=(height, width), dtype=np.uint8,
                             compression="jpeg", metadata=None, rowsperstrip=height)
        by_file = partial((tmp_path / "scratch").open, "w+b", buffering=0)
        wanted = Wanted(scratch=by_file if request.param == "file" else None)
        with open_image(path) as image:
            return np.concatenate([job() for job in image.jobs(wanted)])

    decode.in_colour = request.param != "tiff"
    return decode


def encoded(data, **how):
    file = io.BytesIO()
    Image.fromarray(data).save(file, "jpeg", quality=92, **how)
    return file.getvalue()


def test_a_whole_jpeg_is_read_by_every_way(jpeg_pixels):
    for how in ({}, {"restart_marker_rows": 1}, {"optimize": True}, {"progressive": True}):
        assert np.asarray(jpeg_pixels(encoded(scene(), **how))).size == 120 * 160


def with_thumbnail(data):
    """With a whole JPEG within its EXIF part, as cameras write it."""
    small = encoded(scene((30, 40)))
    body = b"Exif\0\0" + small
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("part", [0.2, 0.6, 0.98])
def test_the_end_of_a_thumbnail_is_not_that_of_the_picture(jpeg_pixels, part, progressive):
    data = with_thumbnail(encoded(scene((300, 400)), progressive=progressive))
    jpeg_pixels(data)
    start = data.rindex(b"\xff\xda")
    with pytest.raises(ImageError, match="ends before its last row"):
        jpeg_pixels(data[: start + int(part * (len(data) - start))].rstrip(b"\xff"))


@pytest.mark.parametrize("colour", [False, True])
def test_what_the_decoder_would_make_up_is_damage(jpeg_pixels, colour):
    planes = [scene((300, 400), seed=n) for n in range(3)]
    data = encoded(np.dstack(planes) if colour and jpeg_pixels.in_colour else planes[0])
    middle, frame = len(data) * 3 // 4, data.index(b"\xff\xc0")

    def stated(height, width):
        return data[: frame + 5] + struct.pack(">HH", height, width) + data[frame + 9 :]

    damaged = {
        "zeroed": data[:middle] + bytes(2000) + data[middle + 2000 :],
        "cut, with an end": data[:middle].rstrip(b"\xff") + b"\xff\xd9",
        "wider": stated(300, 520), "higher": stated(500, 400), "lower": stated(200, 400),
        "something between": data[:middle].rstrip(b"\xff") + b"\xff\xfe\0\4ab" + data[middle:],
    }
    for name, harmed in damaged.items():
        with pytest.raises(ImageError, match="damaged"):
            jpeg_pixels(harmed)
            pytest.fail(name)


@pytest.mark.parametrize("value", [0, 255])
def test_black_and_white_jpegs_are_whole(jpeg_pixels, value):
    """What is missing would be found by its tone if the check looked at tones."""
    jpeg_pixels(encoded(np.full((300, 400), value, np.uint8)))


# Time


@pytest.mark.parametrize("name", ["chunks", "marks"])
def test_endless_headers_take_no_time(tmp_path, name):
    path = tmp_path / "in"
    if name == "marks":
        path.write_bytes(b"\xff\xd8" + b"\xff" * 30_000_000)
    else:
        gray_png(path)
        whole = path.read_bytes()
        path.write_bytes(whole[:33] + chunk(b"tEXt", b"") * 1_000_000 + whole[33:])
    start = time.process_time()
    with pytest.raises(ImageError, match="damaged"):
        open_image(path)
    assert time.process_time() - start < 2.0


def test_a_scan_that_packs_to_nothing_is_none(tmp_path):
    """A bomb of 81 million even pixels in 80 kB, which as floating point would take 324 MB."""
    packer = zlib.compressobj(9)
    rows = b"".join([*(packer.compress(bytes(9001 * 10)) for _ in range(900)), packer.flush()])
    head = struct.pack(">IIBBBBB", 9000, 9000, 8, 0, 0, 0, 0)
    (tmp_path / "in.png").write_bytes(
        png.SIGNATURE + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b""))
    with pytest.raises(ImageError, match=r"9000 x 9000 pixels in 0\.1 MB"):
        read_scan(tmp_path / "in.png")
    with open_image(tmp_path / "in.png") as image:  # a picture may be of one tone
        assert image.page.width == 9000
