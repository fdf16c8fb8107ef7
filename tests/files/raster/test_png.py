"""PNGs in, held against Pillow and against libpng used directly; what their chunks say by the
specification (PNG, 3rd edition)."""

from __future__ import annotations

import io
import itertools
import os
import struct
import zlib

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, PngImagePlugin

from straight import LIGHTNESS
from tonewright.errors import FileError, ImageError, OptionError, TonewrightError
from tonewright.files.negative.pipeline import WriteSettings, write_mapped
from tonewright.files.raster import bands, findings, jpeg
from tonewright.files.raster.icc import gray_profile, lightness_profile
from tonewright.files.raster.open import OpenOptions, open_image

PLAIN = WriteSettings(mirror=False, description="a test")
MIRRORED = WriteSettings(mirror=True, description="a test")
SIGNATURE = b"\x89PNG\r\n\x1a\n"


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(
        ">I", zlib.crc32(body, zlib.crc32(kind))
    )


def filtered(rows, kinds, width):
    """Rows of bytes with the row filters of PNG, 9.2, written out once more; width: bytes of a
    pixel."""
    above = np.zeros(rows.shape[1], np.uint8)
    made = b""
    for row, kind in zip(rows, itertools.cycle(kinds)):
        left = np.concatenate([np.zeros(width, np.uint8), row[:-width]])
        corner = np.concatenate([np.zeros(width, np.uint8), above[:-width]])
        a, b, c = (v.astype(int) for v in (left, above, corner))
        p = a + b - c
        near = np.where(abs(p - b) <= abs(p - c), b, c)
        paeth = np.where((abs(p - a) <= abs(p - b)) & (abs(p - a) <= abs(p - c)), a, near)
        guess = [0 * a, a, b, (a + b) // 2, paeth][kind]
        made += bytes([kind]) + ((row.astype(int) - guess) % 256).astype(np.uint8).tobytes()
        above = row
    return made


def png(data, extra=(), kinds=(0, 1, 2, 3, 4), interlace=0, split=1 << 20):
    """A PNG written here: shape (rows, width) or (rows, width, samples), uint8 or uint16."""
    samples = 1 if data.ndim == 2 else data.shape[2]
    kind = {1: 0, 2: 4, 3: 2, 4: 6}[samples]
    raw = data.astype(data.dtype.newbyteorder(">")).reshape(len(data), -1).view(np.uint8)
    body = zlib.compress(filtered(raw, kinds, samples * data.itemsize))
    head = struct.pack(
        ">IIBBBBB", data.shape[1], len(data), 8 * data.itemsize, kind, 0, 0, interlace
    )
    parts = [chunk(b"IDAT", body[i : i + split]) for i in range(0, len(body), split)]
    return b"".join([SIGNATURE, chunk(b"IHDR", head), *extra, *parts, chunk(b"IEND", b"")])


def mapped(source, out, settings=PLAIN, table=None, options=None):
    image = open_image(source, options)
    if table is None:
        table = np.arange(image.values, dtype=np.uint16)
    write_mapped(image, out, table, settings)
    return tifffile.imread(out)


def random(shape, kind=np.uint16, seed=3):
    return np.random.default_rng(seed).integers(0, np.iinfo(kind).max + 1, shape).astype(kind)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("filters", [(0,), (1,), (2,), (3,), (4,), (4, 2, 3, 1, 0)])
def test_every_row_filter_across_bands(tmp_path, monkeypatch, kind, filters):
    monkeypatch.setattr(bands, "BAND_BYTES", 900)
    data = random((57, 43), kind)
    (tmp_path / "in.png").write_bytes(png(data, kinds=filters, split=700))
    with Image.open(tmp_path / "in.png") as other:  # Pillow, to be sure of the file itself
        assert np.array_equal(np.asarray(other), data)
    assert np.array_equal(mapped(tmp_path / "in.png", tmp_path / "o.tif", MIRRORED), data[:, ::-1])


def test_chunks_of_all_sizes(tmp_path):
    """Small ones are read together, large ones piece by piece; some hold nothing."""
    data = random((300, 3000))
    whole = png(data, kinds=(0,), split=1 << 30)
    at = whole.index(b"IDAT")
    size = int.from_bytes(whole[at - 4 : at], "big")
    body, parts = whole[at + 4 : at + 4 + size], []
    for cut in itertools.cycle((8192, 0, 1, 270_000, 100_000, 100_000, 100_000, 262_136, 262_137)):
        parts.append(chunk(b"IDAT", body[:cut]))
        body = body[cut:]
        if not body:
            break
    made = whole[: at - 4] + b"".join(parts) + whole[at + 8 + size :]
    (tmp_path / "in.png").write_bytes(made)
    assert np.array_equal(mapped(tmp_path / "in.png", tmp_path / "o.tif"), data)
    with Image.open(tmp_path / "in.png") as other:
        assert np.array_equal(np.asarray(other), data)


def test_all_65536_codes_as_libpng_reads_them(tmp_path):
    data = np.random.default_rng(1).permutation(65536).astype(np.uint16).reshape(256, 256)
    (tmp_path / "in.png").write_bytes(imagecodecs.png_encode(data))
    table = np.random.default_rng(2).permutation(65536).astype(np.uint16)
    seen = mapped(tmp_path / "in.png", tmp_path / "o.tif", MIRRORED, table)
    again = imagecodecs.png_decode((tmp_path / "in.png").read_bytes())
    assert np.array_equal(seen, table[again][:, ::-1])


@pytest.mark.parametrize("mode", ["L", "I;16"])
def test_pngs_written_by_pillow(tmp_path, mode):
    data = random((70, 90), np.uint8 if mode == "L" else np.uint16)
    Image.fromarray(data).save(tmp_path / "in.png", dpi=(300, 300))
    assert np.array_equal(mapped(tmp_path / "in.png", tmp_path / "o.tif"), data)


@pytest.mark.parametrize("samples", [2, 4])
def test_transparency_only_when_flattened(tmp_path, samples):
    data = random((40, 50, samples))
    (tmp_path / "in.png").write_bytes(png(data))
    with pytest.raises(ImageError) as refused:
        open_image(tmp_path / "in.png")
    assert refused.value.code == "image_transparent"
    image = open_image(tmp_path / "in.png", OpenOptions(flatten=True))
    assert findings.TransparencyFlattened() in image.findings
    if samples == 2:
        gray, alpha = (data[..., n].astype(float) for n in range(2))
        expected = 65535 - (65535 - gray) * alpha / 65535
        seen = mapped(tmp_path / "in.png", tmp_path / "o.tif", options=OpenOptions(flatten=True))
        assert np.abs(seen - expected).max() <= 0.51


def test_8_bit_transparency_as_pillow_lays_it(tmp_path):
    data = random((40, 50, 2), np.uint8)
    (tmp_path / "in.png").write_bytes(png(data))
    with Image.open(tmp_path / "in.png") as over:
        white = Image.new("RGBA", over.size, "white")
        flat = np.asarray(Image.alpha_composite(white, over.convert("RGBA")))[..., 0]
    seen = mapped(tmp_path / "in.png", tmp_path / "o.tif", options=OpenOptions(flatten=True))
    assert np.abs(seen.astype(int) - flat).max() <= 1


def opened(tmp_path, *extra, data=None):
    (tmp_path / "in.png").write_bytes(png(random((9, 8)) if data is None else data, extra))
    return open_image(tmp_path / "in.png")


def test_phys_is_pixels_to_the_metre(tmp_path):
    """PNG 11.3.4.3; Pillow turns it into inches its own way."""
    image = opened(tmp_path, chunk(b"pHYs", struct.pack(">IIB", 14173, 14173, 1)))
    assert image.resolution.per_inch == pytest.approx((359.994, 359.994), abs=1e-3)
    with Image.open(tmp_path / "in.png") as other:
        assert image.resolution.per_inch == pytest.approx(other.info["dpi"])
    for no_unit in ((), [chunk(b"pHYs", struct.pack(">IIB", 3, 3, 0))]):
        assert opened(tmp_path, *no_unit).resolution is None


def test_gamma_and_srgb_chunks(tmp_path):
    """PNG 11.3.2: gAMA is 100000 / gamma; sRGB wins over it; iCCP wins over both."""
    gamma, srgb = chunk(b"gAMA", struct.pack(">I", 45455)), chunk(b"sRGB", b"\0")
    profile = chunk(b"iCCP", b"name\0\0" + zlib.compress(lightness_profile()))
    assert opened(tmp_path).said_encoding is None
    assert opened(tmp_path, gamma).said_encoding == "gamma:2.2"
    assert opened(tmp_path, gamma, srgb).said_encoding == "srgb"
    image = opened(tmp_path, gamma, srgb, profile)
    assert (image.said_encoding, image.profile) == (None, lightness_profile())


def test_cicp_goes_before_every_other_word(tmp_path):
    """PNG 11.3.2.6 with the codes of H.273: 1 and 13 are sRGB, 16 is PQ, 18 is HLG."""
    gamma = chunk(b"gAMA", struct.pack(">I", 100_000))
    profile = chunk(b"iCCP", b"name\0\0" + zlib.compress(lightness_profile()))
    image = opened(tmp_path, gamma, profile, chunk(b"cICP", bytes((1, 13, 0, 1))))
    assert (image.said_encoding, image.profile) == ("srgb", None)
    for body in ((9, 16, 0, 1), (9, 18, 0, 1), (1, 13, 0, 0)):
        with pytest.raises(ImageError, match="coded for video"):
            opened(tmp_path, chunk(b"cICP", bytes(body)))
    assert opened(tmp_path, gamma, chunk(b"cICP", b"\1")).said_encoding == "gamma:1"


def test_sbit_tells_of_few_tones(tmp_path):
    """PNG 11.3.2.4: the bits that a value had before it was made 16."""
    few = opened(tmp_path, chunk(b"sBIT", b"\x08")).findings
    assert few[0] == findings.FewTones(colour=False)
    assert few[1:] == opened(tmp_path, chunk(b"sBIT", b"\x0c")).findings


def test_other_primaries_are_said(tmp_path):
    """PNG 11.3.2.1: cHRM; those of sRGB (IEC 61966-2-1) pass in silence."""
    gamma = chunk(b"gAMA", struct.pack(">I", 45455))
    colour = random((9, 8, 3))
    srgb = struct.pack(">8I", 31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)
    wide = struct.pack(">8I", 31270, 32900, 70800, 29200, 17000, 79700, 13100, 4600)
    for body, said in ((srgb, False), (wide, True)):
        image = opened(tmp_path, gamma, chunk(b"cHRM", body), data=colour)
        assert (findings.PrimariesNotSrgb() in image.findings) == said


def test_profiles_written_by_pillow(tmp_path):
    profile = gray_profile(b"curv" + bytes(4) + struct.pack(">IH", 1, 563), "Gray 2.2")
    Image.fromarray(random((5, 5), np.uint8)).save(tmp_path / "in.png", icc_profile=profile)
    assert open_image(tmp_path / "in.png").profile == profile


def test_orientation_in_an_exif_chunk(tmp_path):
    exif = Image.Exif()
    exif[274] = 6
    data = random((30, 20), np.uint8)
    Image.fromarray(data).save(tmp_path / "in.png", exif=exif)
    assert open_image(tmp_path / "in.png").width == 30
    assert np.array_equal(mapped(tmp_path / "in.png", tmp_path / "o.tif"), np.rot90(data, -1))
    assert names(tmp_path) == ["in.png", "o.tif"]


@pytest.mark.parametrize("orientation", [3, 5, 8])
def test_pngs_upside_down_need_a_scratch_file(tmp_path, orientation):
    exif = Image.Exif()
    exif[274] = orientation
    data = random((300, 200))
    Image.fromarray(data).save(tmp_path / "in.png", exif=exif)
    turned = {3: data[::-1, ::-1], 5: data.T, 8: np.rot90(data)}[orientation]
    assert np.array_equal(mapped(tmp_path / "in.png", tmp_path / "o.tif"), turned)


def test_a_tone_that_stands_for_transparency_is_refused(tmp_path):
    (tmp_path / "in.png").write_bytes(png(random((8, 8)), [chunk(b"tRNS", b"\0\0")]))
    with pytest.raises(ImageError, match=r"in\.png.*transparency.*editor"):
        open_image(tmp_path / "in.png")


def test_an_interlaced_one_is_unpacked_whole_as_pillow_reads_it(tmp_path, monkeypatch):
    """PNG, 8.1: seven passes of the picture, here of one pixel each, then of the rest."""
    data = random((8, 8))
    passes = [data[0::8, 0::8], data[0::8, 4::8], data[4::8, 0::4], data[0::4, 2::4],
              data[2::4, 0::2], data[0::2, 1::2], data[1::2, 0::1]]
    rows = [b"\0" + row.astype(">u2").tobytes() for part in passes for row in part]
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 8, 8, 16, 0, 0, 0, 1))
    (tmp_path / "in.png").write_bytes(SIGNATURE + head + chunk(
        b"IDAT", zlib.compress(b"".join(rows))) + chunk(b"IEND", b""))
    with Image.open(tmp_path / "in.png") as other:
        assert np.array_equal(np.asarray(other), data)
    assert np.array_equal(mapped(tmp_path / "in.png", tmp_path / "o.tif", MIRRORED), data[:, ::-1])
    monkeypatch.setattr(jpeg, "LARGEST", 100)
    with pytest.raises(ImageError, match=r"in\.png.*interlaced.*may hold.*editor"):
        open_image(tmp_path / "in.png")


@pytest.mark.parametrize(("mode", "word"), [("P", "palette"), ("1", "1 bit")])
def test_palette_and_few_bits(tmp_path, mode, word):
    Image.new(mode, (20, 20)).save(tmp_path / "in.png")
    with pytest.raises(ImageError, match=word):
        open_image(tmp_path / "in.png")


def test_another_page_than_the_first(tmp_path):
    (tmp_path / "in.png").write_bytes(png(random((8, 8))))
    assert open_image(tmp_path / "in.png", OpenOptions(page=1)).width == 8
    with pytest.raises(OptionError, match="one page"):
        open_image(tmp_path / "in.png", OpenOptions(page=2))


def test_truncated_anywhere(tmp_path):
    whole = png(random((300, 200)), split=5000)
    for part in (0.0001, 0.001, 0.5, 0.9, 0.99999):
        (tmp_path / "in.png").write_bytes(whole[: int(len(whole) * part)])
        with pytest.raises((ImageError, FileError)):
            mapped(tmp_path / "in.png", tmp_path / "o.tif")
        assert names(tmp_path) == ["in.png"]


def test_headers_that_lie_cost_neither_time_nor_memory(tmp_path):
    good = png(random((8, 8)))
    for width, height in ((0, 8), (8, 0), (4_000_000_000, 8), (100_000, 100_000), (9, 8), (8, 9)):
        head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 0, 0, 0, 0))
        (tmp_path / "in.png").write_bytes(SIGNATURE + head + good[33:])
        with pytest.raises(ImageError, match="damaged"):
            mapped(tmp_path / "in.png", tmp_path / "o.tif")
        assert names(tmp_path) == ["in.png"]


def test_a_row_filter_that_there_is_not(tmp_path):
    rows = b"\x07" + bytes(16)
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 8, 1, 16, 0, 0, 0, 0))
    (tmp_path / "in.png").write_bytes(
        SIGNATURE + head + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    )
    with pytest.raises(ImageError, match="filter 7"):
        mapped(tmp_path / "in.png", tmp_path / "o.tif")


def mutants(count, seed):
    """PNGs with a few bytes changed; some with check sums mended, some cut."""
    random_ = np.random.default_rng(seed)
    extra = [
        chunk(b"pHYs", struct.pack(">IIB", 14173, 14173, 1)),
        chunk(b"gAMA", struct.pack(">I", 45455)),
        chunk(b"iCCP", b"n\0\0" + zlib.compress(lightness_profile())),
    ]
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    colour = [chunk(b"iCCP", b"n\0\0" + zlib.compress(srgb)), *extra[:1]]
    info = PngImagePlugin.PngInfo()
    info.add_text("x", "words")
    exif = Image.Exif()
    exif[274] = 8
    file = io.BytesIO()
    Image.fromarray(random((30, 20), np.uint8)).save(file, "png", exif=exif, pnginfo=info)
    seeds = [
        png(random((40, 50)), extra, split=500), png(random((40, 50, 3)), colour),
        png(random((20, 30, 4), np.uint8), extra[:2]), file.getvalue(),
    ]  # fmt: skip
    for index in range(count):
        data = bytearray(seeds[index % len(seeds)])
        reach = min(len(data), 200) if random_.random() < 0.7 else len(data)
        for place in random_.integers(
            8 if random_.random() < 0.95 else 0, reach, random_.integers(1, 7)
        ):
            data[place] = random_.choice([0, 1, 2, 127, 128, 255, int(random_.integers(256))])
        if random_.random() < 0.6:
            mend(data)
        yield bytes(data[: random_.integers(1, len(data))] if random_.random() < 0.1 else data)


def mend(data):
    """Check sums that agree again, so that a mutation reaches deeper."""
    at = 8
    while at + 12 <= len(data):
        (size,) = struct.unpack(">I", data[at : at + 4])
        if at + 12 + size > len(data):
            return
        check = zlib.crc32(data[at + 4 : at + 8 + size])
        data[at + 8 + size : at + 12 + size] = struct.pack(">I", check)
        at += 12 + size


def test_mutated_pngs_end_in_one_message_or_a_whole_file(tmp_path):
    from tonewright.files.negative.tones import image_tones

    count = int(os.environ.get("TONEWRIGHT_MUTANTS", "240"))
    source, out = tmp_path / "in.png", tmp_path / "out.tif"
    refused = 0
    for data in mutants(count, seed=21):
        source.write_bytes(data)
        try:
            image = open_image(source, OpenOptions(flatten=True))
            tones = image_tones(image, None)
            codes = np.zeros(image.values, np.uint16)
            settings = WriteSettings(False, "", to_luminance=tones.to_luminance)
            write_mapped(image, out, LIGHTNESS if image.page.colour else codes, settings)
        except TonewrightError:
            refused += 1
            assert names(tmp_path) == ["in.png"]
        else:
            assert tifffile.imread(out).shape == (image.height, image.width)
            out.unlink()
    assert count / 4 < refused < count
