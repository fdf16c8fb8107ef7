"""TIFFs in and out, read back with Pillow and tifffile, each on its own.

Sources are written by tifffile; what a file's values are is said by tifffile (which neither turns
nor inverts anything) and by Pillow.
"""

from __future__ import annotations

import hashlib
import io
import itertools
import os
import struct
import sys
import threading
import zlib
from fractions import Fraction

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from tonewright.errors import FileError, ImageError, TonewrightError
from tonewright.files.negative.pipeline import WriteSettings, write_mapped
from tonewright.files.raster import bands, findings, tiff_pixels
from tonewright.files.raster.open import open_image
from tonewright.files.raster.page import Resolution
from tonewright.files.raster.tiff_writer import Picture

PLAIN = WriteSettings(mirror=False, description="a test")
MIRRORED = WriteSettings(mirror=True, description="a test")
WIDTH, HEIGHT = 311, 233  # no multiple of a tile, and more than 65 536 pixels


def names(folder):
    """What lies in a folder."""
    return sorted(path.name for path in folder.iterdir())


def every_code(bits=16):
    """An image that holds every value at least once, shuffled."""
    random = np.random.default_rng(7)
    values = np.arange(WIDTH * HEIGHT) % (1 << bits)
    kind = np.uint16 if bits == 16 else np.uint8
    return random.permutation(values).astype(kind).reshape(HEIGHT, WIDTH)


def scrambled(values):
    """A table without any order, so that a single wrong entry shows."""
    return np.random.default_rng(11).permutation(65536)[:values].astype(np.uint16)


def save(path, data, **options):
    options.setdefault("photometric", "minisblack")
    tifffile.imwrite(path, data, metadata=None, **options)
    return path


def mapped(source, out, settings=PLAIN, table=None):
    """Write through the table; the result as tifffile and Pillow agree to read it."""
    image = open_image(source)
    write_mapped(image, out, scrambled(image.values) if table is None else table, settings)
    return read_back(out)


def read_back(path):
    with tifffile.TiffFile(path) as file:
        assert len(file.pages) == 1
        page = file.pages[0]
        assert (page.photometric, page.compression, page.bitspersample) == (1, 1, 16)
        assert 34675 not in page.tags
        seen = page.asarray()
    with Image.open(path) as other:
        assert other.mode == "I;16"
        assert np.array_equal(np.asarray(other), seen)
    return seen


def identity():
    return np.arange(65536, dtype=np.uint16)


FORMATS = [
    dict(zip(("compression", "predictor", "layout", "byteorder", "photometric"), f, strict=True))
    for f in itertools.product(
        [None, "lzw", "zlib", "packbits"], [False, True], ["strips", "whole", "tiles"], "<>",
        ["minisblack", "miniswhite"],
    )
    if f[0] or not f[1]
]  # fmt: skip
LAYOUTS = {"strips": {"rowsperstrip": 10}, "whole": {"rowsperstrip": HEIGHT}}
LAYOUTS["tiles"] = {"tile": (64, 48)}


def save_as(path, data, form, **more):
    options = {k: form[k] for k in ("compression", "byteorder", "photometric")}
    return save(
        path,
        data,
        predictor=form["predictor"] or None,
        **options,
        **LAYOUTS[form["layout"]],
        **more,
    )


@pytest.mark.parametrize("form", FORMATS, ids=lambda f: "-".join(str(v) for v in f.values()))
def test_every_code_on_every_format(tmp_path, form):
    """All 65 536 values, exactly as the table has them, in the mirrored place."""
    data = every_code()
    source = save_as(tmp_path / "in.tif", data, form)
    assert np.array_equal(tifffile.imread(source), data)
    values = 65535 - data if form["photometric"] == "miniswhite" else data
    seen = mapped(source, tmp_path / "out.tif", MIRRORED)
    assert np.array_equal(seen, scrambled(65536)[values][:, ::-1])


@pytest.mark.parametrize("bigtiff", [False, True])
@pytest.mark.parametrize("form", FORMATS[::7], ids=lambda f: "-".join(str(v) for v in f.values()))
def test_8_bits_and_bigtiff(tmp_path, form, bigtiff):
    data = every_code(8)
    source = save_as(tmp_path / "in.tif", data, form, bigtiff=bigtiff)
    image = open_image(source)
    assert image.values == 256
    assert findings.FewTones(colour=False) in image.findings
    values = 255 - data if form["photometric"] == "miniswhite" else data
    assert np.array_equal(mapped(source, tmp_path / "out.tif"), scrambled(256)[values])


def test_8_bit_white_is_zero_as_pillow_shows_it(tmp_path):
    """Pillow inverts 8-bit WhiteIsZero by itself: a reader with its own mind on it."""
    source = save(tmp_path / "in.tif", every_code(8), photometric="miniswhite")
    with Image.open(source) as other:
        seen = np.asarray(other).astype(np.uint16)
    assert np.array_equal(mapped(source, tmp_path / "out.tif", table=identity()[:256]), seen)


@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "tiff_adobe_deflate", "packbits"])
@pytest.mark.parametrize("mode", ["L", "I;16"])
def test_sources_written_by_pillow(tmp_path, compression, mode):
    """Another writer (libtiff), so that no fault of tifffile is taken for the standard."""
    data = every_code(8 if mode == "L" else 16)
    Image.fromarray(data).save(tmp_path / "in.tif", compression=compression)
    table = identity()[:256] if mode == "L" else identity()
    assert np.array_equal(mapped(tmp_path / "in.tif", tmp_path / "out.tif", table=table), data)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("layout", ["none", "lzw", "tiles", "stream", "8 bits"])
@pytest.mark.parametrize("mirror", [False, True])
def test_orientation_as_pillow_turns_it(tmp_path, monkeypatch, orientation, layout, mirror):
    monkeypatch.setattr(bands, "TURN_BYTES", 13_000)  # several bands and blocks, not one
    monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 13_000)
    random = np.random.default_rng(3)
    data = random.integers(0, 65536, (351, 305)).astype(np.uint16)
    if layout == "8 bits":
        data = (data >> 8).astype(np.uint8)
    options = {
        "none": {"rowsperstrip": 13},
        "lzw": {"rowsperstrip": 13, "compression": "lzw", "predictor": True, "byteorder": ">"},
        "tiles": {"tile": (64, 48), "compression": "zlib"},
        "stream": {"rowsperstrip": 200, "compression": "zlib", "predictor": True},
        "8 bits": {"rowsperstrip": 351},
    }[layout]
    source = save(tmp_path / "in.tif", data, extratags=[(274, 3, 1, orientation, True)], **options)
    flat = Image.fromarray(data)
    flat.getexif()[274] = orientation
    expected = np.asarray(ImageOps.exif_transpose(flat)).astype(np.uint16)
    settings = WriteSettings(mirror=mirror, description="")
    image = open_image(source)
    assert image.page.streamed == (layout == "stream")
    assert (image.height, image.width) == expected.shape
    seen = mapped(source, tmp_path / "out.tif", settings, identity()[: image.values])
    assert np.array_equal(seen, expected[:, ::-1] if mirror else expected)
    assert names(tmp_path) == ["in.tif", "out.tif"]


@pytest.mark.parametrize(
    ("x", "y", "unit"),
    [
        ((360, 1), (360, 1), 2),
        ((72009, 200), (720091, 2000), 2),
        ((4294967295, 29826161), (7, 3), 3),
    ],
)
@pytest.mark.parametrize("orientation", [1, 6])
def test_resolution_is_kept_to_the_last_digit(tmp_path, x, y, unit, orientation):
    source = save(
        tmp_path / "in.tif", every_code(), resolution=(x, y), resolutionunit=unit,
        extratags=[(274, 3, 1, orientation, True)],
    )  # fmt: skip
    mapped(source, tmp_path / "out.tif")
    if orientation == 6:
        x, y = y, x
    with tifffile.TiffFile(tmp_path / "out.tif") as file:
        tags = file.pages[0].tags
        assert (tags[282].value, tags[283].value, tags[296].value) == (x, y, unit)
        assert tags[274].value == 1
    with Image.open(tmp_path / "out.tif") as other:  # Pillow: dots per inch
        per = 1 if unit == 2 else Fraction(254, 100)
        assert other.info["dpi"] == pytest.approx(
            (float(Fraction(*x) * per), float(Fraction(*y) * per)), rel=1e-6
        )


def test_an_unknown_resolution_stays_unknown(tmp_path):
    source = save(tmp_path / "in.tif", every_code(), resolutionunit=1)
    image = open_image(source)
    data = bytearray(source.read_bytes())
    assert image.resolution == Resolution((1, 1), (1, 1), 1)
    assert image.resolution.per_inch is None
    assert findings.ResolutionUnknown(without_unit=True) in image.findings
    with tifffile.TiffFile(source) as file:
        where = file.pages[0].tags[282].valueoffset
    data[where : where + 8] = bytes(8)
    source.write_bytes(data)
    image = open_image(source)
    assert image.resolution is None
    assert findings.ResolutionUnknown(without_unit=False) in image.findings
    mapped(source, tmp_path / "out.tif")
    with tifffile.TiffFile(tmp_path / "out.tif") as file:
        assert 282 not in file.pages[0].tags


def test_profile_is_handed_over_and_does_not_travel(tmp_path):
    source = save(tmp_path / "in.tif", every_code(), iccprofile=b"the bytes of a profile")
    assert open_image(source).profile == b"the bytes of a profile"
    mapped(source, tmp_path / "out.tif")  # read_back sees that none is there


def test_description_and_same_bytes(tmp_path):
    source = save(tmp_path / "in.tif", every_code())
    settings = WriteSettings(mirror=True, description="Grün, 5 minutes")
    for name in ("one.tif", "two.tif"):
        mapped(source, tmp_path / name, settings)
    assert (tmp_path / "one.tif").read_bytes() == (tmp_path / "two.tif").read_bytes()
    with tifffile.TiffFile(tmp_path / "one.tif") as file:
        assert file.pages[0].description == "Gruen, 5 minutes"
        assert 306 not in file.pages[0].tags  # DateTime


def test_progress_ends_at_the_height(tmp_path):
    source = save(tmp_path / "in.tif", every_code(), tile=(16, 16))
    seen = []
    table = scrambled(65536)
    write_mapped(
        open_image(source), tmp_path / "o.tif", table, PLAIN, lambda *rows: seen.append(rows)
    )
    assert seen[-1] == (HEIGHT, HEIGHT)
    assert [done for done, _ in seen] == sorted({done for done, _ in seen})


@pytest.mark.parametrize(("width", "height"), [(1, 1), (1, 70000), (70000, 1), (70001, 3)])
def test_extreme_shapes(tmp_path, width, height):
    data = np.random.default_rng(1).integers(0, 65536, (height, width)).astype(np.uint16)
    source = save(tmp_path / "in.tif", data, compression="zlib")
    assert np.array_equal(mapped(source, tmp_path / "out.tif", MIRRORED, identity()), data[:, ::-1])


def test_bigtiff_is_written_only_beyond_4_gib():
    """The headers as tifffile understands them; the pixels themselves are left out."""
    for side, big in ((40_000, False), (50_000, True)):
        header = Picture(side, side, Resolution((1, 3), (2, 3), 2), "big").header()
        with tifffile.TiffFile(io.BytesIO(header)) as file:
            assert file.is_bigtiff == big
            page = file.pages[0]
            assert page.shape == (side, side)
            ends = np.add(page.dataoffsets, page.databytecounts)
            assert page.dataoffsets[0] == len(header)
            assert list(page.dataoffsets[1:]) == list(ends[:-1])
            assert ends[-1] == len(header) + 2 * side * side
            assert page.tags[282].value == (1, 3)


def test_a_thumbnail_before_the_image_is_passed_over(tmp_path):
    data = every_code()
    with tifffile.TiffWriter(tmp_path / "in.tif") as file:
        file.write(data[:20, :20], subfiletype=1, metadata=None, photometric="minisblack")
        file.write(data, metadata=None, photometric="minisblack")
    assert np.array_equal(mapped(tmp_path / "in.tif", tmp_path / "o.tif", table=identity()), data)


def refusals():
    gray = every_code()
    return {
        "transparency": (np.zeros((20, 20, 2), np.uint16), {"extrasamples": ["unassalpha"]}),
        "CMYK": (np.zeros((20, 20, 4), np.uint8), {"photometric": "separated"}),
        "Lab": (np.zeros((20, 20, 3), np.uint8), {"photometric": "cielab"}),
        "palette": (
            every_code(8), {"photometric": "palette", "colormap": np.zeros((3, 256), np.uint16)},
        ),
        "floating": (gray.astype(np.float32), {}),
        "signed": (gray.astype(np.int16), {}),
        "32 bit": (gray.astype(np.uint32), {}),
        "2 pages": (np.stack([gray, gray]), {}),
        "Zstandard": (gray, {"compression": "zstd"}),
    }  # fmt: skip


@pytest.mark.parametrize("word", refusals())
def test_what_cannot_become_a_negative_is_called_by_name(tmp_path, word):
    data, options = refusals()[word]
    source = save(tmp_path / "in.tif", data, **options)
    with pytest.raises(ImageError, match=rf"in\.tif.*{word}.*(editor|TIFF of its own)"):
        open_image(source)


def test_one_bit_is_refused(tmp_path):
    Image.new("1", (20, 20)).save(tmp_path / "in.tif")
    with pytest.raises(ImageError, match="1 bit"):
        open_image(tmp_path / "in.tif")


def test_a_stack_behind_one_directory_is_refused(tmp_path):
    stack = np.zeros((4, 30, 30), np.uint16)
    tifffile.imwrite(tmp_path / "in.tif", stack, imagej=True)
    with pytest.raises(ImageError, match="4 pages"):
        open_image(tmp_path / "in.tif")


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"just words\n", "not a TIFF, PNG or JPEG"),
        (b"", "empty"),
        (b"II", "not a TIFF, PNG or JPEG"),
        (b"%PDF-1.7\n" + bytes(100), "a PDF"),
        (b"8BPS" + bytes(100), "layered"),
        (b"GIF89a" + bytes(100), "a GIF"),
    ],
)
def test_other_files_are_refused(tmp_path, content, word):
    (tmp_path / "in.tif").write_bytes(content)
    with pytest.raises(FileError, match=rf"{word}.*16-bit gray"):
        open_image(tmp_path / "in.tif")


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(FileError, match="no file"):
        open_image(tmp_path / "in.tif")
    with pytest.raises(FileError):
        open_image(tmp_path)


def set_tag(path, tag, value):
    """Overwrite a tag's number where it is."""
    with tifffile.TiffFile(path) as file:
        entry = file.pages[0].tags[tag]
        where, kind = entry.valueoffset, {3: "<H", 4: "<I"}[entry.dtype]
    data = bytearray(path.read_bytes())
    struct.pack_into(kind, data, where, value)
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("tag", "value"),
    [(256, 0), (256, 4_000_000_000), (257, 0), (257, 2_000_000), (257, 100_000), (278, 1), (278, 0),
     (273, 4_000_000_000), (279, 4_000_000_000), (279, 3)],
)  # fmt: skip
@pytest.mark.parametrize("compression", [None, "zlib", "lzw"])
def test_lying_headers(tmp_path, tag, value, compression):
    """Sizes that the file cannot hold are found before anything is decoded."""
    source = save(tmp_path / "in.tif", every_code(), compression=compression, rowsperstrip=HEIGHT)
    set_tag(source, tag, value)
    with pytest.raises(ImageError, match="damaged"):
        open_image(source)


@pytest.mark.parametrize("compression", [None, "zlib", "lzw", "packbits"])
def test_truncated_anywhere(tmp_path, compression):
    source = save(tmp_path / "in.tif", every_code(), compression=compression, rowsperstrip=50)
    whole = source.read_bytes()
    for part in (0.001, 0.01, 0.5, 0.9, 0.9999):
        source.write_bytes(whole[: int(len(whole) * part)])
        with pytest.raises(TonewrightError):
            mapped(source, tmp_path / "out.tif")
        assert names(tmp_path) == ["in.tif"]


def test_a_compressed_strip_too_large_is_refused_unless_it_streams(tmp_path, monkeypatch):
    monkeypatch.setattr(tiff_pixels, "LARGEST_SEGMENT", 100_000)
    monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 50_000)
    data = every_code()
    strips, tiles = "in strips of fewer rows", "in strips instead of tiles"
    for compression, tile, way in (
        ("lzw", None, strips), ("packbits", (240, 320), tiles), ("zlib", (240, 320), tiles),
    ):  # fmt: skip
        source = save(
            tmp_path / "in.tif", data, compression=compression, rowsperstrip=HEIGHT, tile=tile
        )
        with pytest.raises(ImageError, match=f"without compression.*{way}"):
            open_image(source)
    for compression in ("zlib", "packbits"):
        source = save(tmp_path / "in.tif", data, compression=compression, rowsperstrip=HEIGHT)
        made = tmp_path / f"{compression}.tif"
        assert np.array_equal(mapped(source, made, table=identity()), data)


@pytest.mark.parametrize("read", [129, 130, 137, 1000])
def test_packbits_is_streamed_wherever_a_piece_of_it_ends(tmp_path, monkeypatch, read):
    """Runs of every kind and length, and the byte that stands for nothing (TIFF 6.0, section 9);
    what they are is told by imagecodecs, from all of them at once."""
    monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 1)
    monkeypatch.setattr(tiff_pixels, "_STREAM_READ", read)
    rng = np.random.default_rng(read)
    runs = [bytes([128])]
    for _ in range(300):
        count = int(rng.integers(0, 256))
        runs.append(bytes([count]) + rng.bytes(count + 1 if count < 128 else count > 128))
    plain = imagecodecs.packbits_decode(b"".join(runs))
    width = 100
    rows = np.frombuffer(plain[: len(plain) // (2 * width) * 2 * width], np.uint16)
    image = with_strip(tmp_path / "in.tif", "packbits", b"".join(runs))
    for tag, value in ((256, width), (257, rows.size // width), (278, rows.size // width)):
        set_tag(image, tag, value)
    assert np.array_equal(mapped(image, tmp_path / "out.tif", table=identity()),
                          rows.reshape(-1, width))


def test_damaged_pixels_leave_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 50_000)
    for options in ({"rowsperstrip": 10}, {"rowsperstrip": HEIGHT}, {"tile": (64, 64)}):
        source = save(tmp_path / "in.tif", every_code(), compression="zlib", **options)
        data = bytearray(source.read_bytes())
        data[len(data) // 2 : len(data) // 2 + 40] = bytes(40)
        source.write_bytes(data)
        with pytest.raises(ImageError, match="damaged"):
            mapped(source, tmp_path / "out.tif")
        assert names(tmp_path) == ["in.tif"]


def with_strip(path, compression, payload):
    """A file of one strip whose compressed bytes are ``payload``."""
    save(path, every_code(), compression=compression, rowsperstrip=HEIGHT)
    whole = path.read_bytes()
    path.write_bytes(whole + payload)
    set_tag(path, 273, len(whole))
    set_tag(path, 279, len(payload))
    return path


ENCODERS = {
    "lzw": imagecodecs.lzw_encode,
    "zlib": zlib.compress,
    "packbits": imagecodecs.packbits_encode,
}


@pytest.mark.parametrize("compression", ENCODERS)
@pytest.mark.parametrize("stream", [False, True])
def test_a_strip_with_too_few_pixels(tmp_path, monkeypatch, compression, stream):
    if stream:
        monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 50_000)
    half = every_code()[: HEIGHT // 2].tobytes()
    source = with_strip(tmp_path / "in.tif", compression, ENCODERS[compression](half))
    with pytest.raises(ImageError, match="damaged"):
        mapped(source, tmp_path / "out.tif")
    assert names(tmp_path) == ["in.tif"]


@pytest.mark.parametrize("compression", ["lzw", "zlib"])
@pytest.mark.parametrize("stream", [False, True])
def test_a_strip_with_more_than_its_pixels_is_taken(tmp_path, monkeypatch, compression, stream):
    """As other readers do: what follows the last row is padding."""
    if stream:
        monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 50_000)
    payload = ENCODERS[compression](every_code().tobytes() + bytes(5000)) + b"behind"
    source = with_strip(tmp_path / "in.tif", compression, payload)
    assert np.array_equal(mapped(source, tmp_path / "out.tif", table=identity()), every_code())


def large(path):
    """An image of many bands, uncompressed."""
    return save(path, np.zeros((4000, 1024), np.uint16))


def test_a_source_that_shrinks_while_it_is_read(tmp_path):
    source = large(tmp_path / "in.tif")

    def shrink(done, of):
        os.truncate(source, 1000)

    with pytest.raises(ImageError, match="shorter"):
        write_mapped(open_image(source), tmp_path / "o.tif", identity(), PLAIN, shrink)
    assert names(tmp_path) == ["in.tif"]


@pytest.mark.skipif(sys.platform == "win32", reason="the size of a file cannot be limited here")
def test_a_disk_that_fills_up_leaves_nothing(tmp_path):
    """The system itself stops the writing, at 1 MB (setrlimit)."""
    import resource
    import signal

    source = large(tmp_path / "in.tif")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, before[1]))
    try:
        with pytest.raises(FileError, match=r"o\.tif was not written"):
            write_mapped(open_image(source), tmp_path / "o.tif", identity(), PLAIN)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
    assert names(tmp_path) == ["in.tif"]


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be replaced there")
def test_a_source_replaced_after_its_header_was_read(tmp_path):
    """What was opened is what is read to the end, whatever has its name by then."""
    source = save(tmp_path / "in.tif", every_code(), rowsperstrip=10)
    before = source.read_bytes()
    with open_image(source) as image:
        save(tmp_path / "other.tif", every_code()[:, ::-1] // 2).replace(source)
        write_mapped(image, tmp_path / "o.tif", identity(), PLAIN)
        assert image.source.sha256() == hashlib.sha256(before).hexdigest()
    assert np.array_equal(read_back(tmp_path / "o.tif"), every_code())
    with pytest.raises(TonewrightError):
        write_mapped(image, tmp_path / "p.tif", identity(), PLAIN)


@pytest.mark.parametrize("orientation", [1, 3])
@pytest.mark.parametrize("layout", [{"rowsperstrip": 16}, {}, {"tile": (32, 48)}])
@pytest.mark.parametrize("photometric", ["minisblack", "rgb"])
def test_a_jpeg_within_a_tiff_as_pillow_reads_it(tmp_path, photometric, layout, orientation):
    """Pillow turns a TIFF upright by itself."""
    smooth = (np.add.outer(np.arange(90), np.arange(120)) % 200).astype(np.uint8)
    colours = np.dstack([smooth, smooth[::-1], 255 - smooth])
    data = smooth if photometric == "minisblack" else colours
    with tifffile.TiffWriter(tmp_path / "in.tif") as file:
        file.write(smooth[:16, :16], subfiletype=1, photometric="minisblack", metadata=None)
        file.write(data, photometric=photometric, compression="jpeg", metadata=None,
                   extratags=[(274, 3, 1, orientation, True)], **layout)
    with Image.open(tmp_path / "in.tif") as seen:
        seen.seek(1)
        expected = np.asarray(seen.convert("L" if data.ndim == 2 else "RGB"))
    image = open_image(tmp_path / "in.tif")
    assert image.findings[0] == findings.LossyImage() and image.orientation == orientation
    pixels = np.concatenate([image.page.tones(job())[0] for job in image.jobs()])
    assert np.array_equal(pixels if orientation == 1 else pixels[::-1, ::-1], expected)
    whole = (tmp_path / "in.tif").read_bytes()
    frame = whole.rindex(b"\xff\xc0\x00")
    larger = whole[: frame + 5] + b"\xff\xff\xff\xff" + whole[frame + 9 :]
    for broken in (whole.replace(b"\xff\xda", b"\xff\x00"), larger):
        (tmp_path / "in.tif").write_bytes(broken)
        with pytest.raises(ImageError, match="damaged"):
            [job() for job in open_image(tmp_path / "in.tif").jobs()]


def test_the_image_is_never_written_over(tmp_path):
    source = save(tmp_path / "in.tif", every_code())
    before = source.read_bytes()
    os.link(source, tmp_path / "link.tif")
    for name in ("in.tif", "link.tif"):
        with pytest.raises(FileError, match="image itself"):
            mapped(source, tmp_path / name, WriteSettings(True, "", force=True))
    assert source.read_bytes() == before


def test_an_existing_output_is_kept_unless_forced(tmp_path):
    source = save(tmp_path / "in.tif", every_code())
    (tmp_path / "o.tif").write_bytes(b"precious")
    with pytest.raises(FileError, match="is there already"):
        mapped(source, tmp_path / "o.tif")
    assert (tmp_path / "o.tif").read_bytes() == b"precious"
    mapped(source, tmp_path / "o.tif", WriteSettings(True, "", force=True))


def test_a_table_of_the_wrong_length_is_a_fault_of_the_program(tmp_path):
    source = save(tmp_path / "in.tif", every_code())
    with pytest.raises(ValueError, match="table"):
        write_mapped(open_image(source), tmp_path / "o.tif", identity()[:256], PLAIN)


def mutants(count, seed):
    """TIFFs with a few bytes changed, mostly in the header; some cut."""
    random = np.random.default_rng(seed)
    small = np.random.default_rng(0).integers(0, 65536, (40, 50)).astype(np.uint16)
    seeds = []
    for compression, tile, bits, order, big in itertools.product(
        [None, "lzw", "zlib", "packbits"], [None, (16, 16)], [8, 16], "<>", [False, True]
    ):
        file = io.BytesIO()
        tifffile.imwrite(
            file, small if bits == 16 else (small >> 8).astype(np.uint8), compression=compression,
            tile=tile, byteorder=order, bigtiff=big, metadata=None, rowsperstrip=7,
            photometric="minisblack", resolution=(360, 360), predictor=bool(compression) or None,
            extratags=[(274, 3, 1, 6 if big else 1, True)],
        )  # fmt: skip
        seeds.append(file.getvalue())
    for index in range(count):
        data = bytearray(seeds[index % len(seeds)])
        reach = min(len(data), 450) if random.random() < 0.8 else len(data)
        for place in random.integers(
            4 if random.random() < 0.9 else 0, reach, random.integers(1, 9)
        ):
            data[place] = random.choice([0, 1, 2, 127, 128, 255, int(random.integers(256))])
        yield bytes(data[: random.integers(1, len(data))] if random.random() < 0.1 else data)


def test_mutated_tiffs_end_in_one_message_or_a_whole_file(tmp_path):
    count = int(os.environ.get("TONEWRIGHT_MUTANTS", "240"))
    source, out = tmp_path / "in.tif", tmp_path / "out.tif"
    refused = 0
    for data in mutants(count, seed=20):
        source.write_bytes(data)
        try:
            image = open_image(source)
            write_mapped(image, out, scrambled(image.values), PLAIN)
        except TonewrightError:
            refused += 1
            assert names(tmp_path) == ["in.tif"]
        else:
            assert tifffile.imread(out).shape == (image.height, image.width)
            out.unlink()
    assert count / 4 < refused < count  # the mutations do bite, and not all are fatal


def test_threads_end_with_the_work(tmp_path):
    before = threading.active_count()
    save(tmp_path / "in.tif", every_code(), rowsperstrip=3)
    mapped(tmp_path / "in.tif", tmp_path / "o.tif")
    assert threading.active_count() == before
