"""Colour and transparency: RGB to lightness, held against littleCMS and colour-science."""

from __future__ import annotations

import io
import itertools
import struct

import colour
import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from straight import LIGHTNESS, Straight
from tonewright.errors import ImageError
from tonewright.files.negative.pipeline import WriteSettings, write_mapped
from tonewright.files.negative.tones import image_tones
from tonewright.files.raster import bands, icc, tiff_pixels
from tonewright.files.raster.icc import colour_luminance, gray_profile, lightness_profile
from tonewright.files.raster.open import open_image
from tonewright.files.raster.source import OpenOptions
from tonewright.negative.colour import (
    SRGB_WEIGHTS,
    Luminances,
    encoded_luminances,
    luminances_of,
    pixel_codes,
)
from tonewright.negative.findings import ColourDropped, EncodingAssumed

SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
IDENTITY = np.arange(65536, dtype=np.uint16)


def random(shape, kind=np.uint16, seed=5):
    return np.random.default_rng(seed).integers(0, np.iinfo(kind).max + 1, shape).astype(kind)


def lightness_written(source, out, options=None):
    """What is written where each lightness is written as itself."""
    image = open_image(source, options)
    tones = image_tones(image, None)
    codes = LIGHTNESS if image.page.colour else IDENTITY[: image.values]
    write_mapped(image, out, codes, WriteSettings(False, "", to_luminance=tones.to_luminance))
    return tifffile.imread(out), tones


def by_littlecms(rgb):
    """Every pixel through littleCMS, its shortcuts off: 65535 is L* 100."""
    return imagecodecs.cms_transform(
        rgb, SRGB, lightness_profile(), colorspace="rgb", outcolorspace="gray",
        outdtype="uint16", intent=1, flags=0x0100,
    )  # fmt: skip


FORMATS = [
    dict(zip(("compression", "predictor", "layout", "byteorder", "planarconfig"), f, strict=True))
    for f in itertools.product(
        [None, "lzw", "zlib", "packbits"], [False, True], ["strips", "tiles", "whole"], "<>",
        ["contig", "separate"],
    )
    if f[0] or not f[1]
]  # fmt: skip
LAYOUTS = {"strips": {"rowsperstrip": 7}, "tiles": {"tile": (32, 48)}, "whole": {}}


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("form", FORMATS, ids=lambda f: "-".join(str(v) for v in f.values()))
def test_rgb_in_every_format_is_what_littlecms_says(tmp_path, form, kind):
    rgb = random((61, 83, 3), kind)
    stored = np.moveaxis(rgb, -1, 0) if form["planarconfig"] == "separate" else rgb
    options = {k: v for k, v in form.items() if k not in ("layout", "predictor")}
    tifffile.imwrite(
        tmp_path / "in.tif", stored, photometric="rgb", metadata=None, iccprofile=SRGB,
        predictor=form["predictor"] or None, **options, **LAYOUTS[form["layout"]],
    )  # fmt: skip
    seen, tones = lightness_written(tmp_path / "in.tif", tmp_path / "o.tif")
    wide = rgb if kind is np.uint16 else rgb.astype(np.uint16) * 257
    assert tones.encoding.startswith("profile sRGB")
    assert np.abs(seen.astype(int) - by_littlecms(wide)).max() <= 30  # 0.05 L*


def test_pillow_on_its_own_agrees_in_8_bits(tmp_path):
    """Another door to littleCMS: Pillow, to its built-in Lab profile; 0.39 L* to a step."""
    rgb = random((50, 60, 3), np.uint8)
    tifffile.imwrite(tmp_path / "i.tif", rgb, photometric="rgb", metadata=None, iccprofile=SRGB)
    seen, _ = lightness_written(tmp_path / "i.tif", tmp_path / "o.tif")
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(SRGB)), ImageCms.createProfile("LAB"), "RGB", "LAB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.NOOPTIMIZE,
    )  # fmt: skip
    lab = np.asarray(ImageCms.applyTransform(Image.fromarray(rgb), transform))[..., 0] / 2.55
    assert np.abs(seen / 655.35 - lab).max() < 0.3


def test_srgb_is_assumed_and_agrees_with_colour_science(tmp_path):
    """IEC 61966-2-1 to XYZ under D50 (Bradford) to CIE L* by the reference library."""
    rgb = random((40, 50, 3))
    tifffile.imwrite(tmp_path / "in.tif", rgb, photometric="rgb", metadata=None)
    seen, tones = lightness_written(tmp_path / "in.tif", tmp_path / "o.tif")
    assert tones.encoding == "srgb"
    assert tones.findings == (EncodingAssumed("srgb"),)
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    xyz = colour.RGB_to_XYZ(
        rgb / 65535, "sRGB", d50, chromatic_adaptation_transform="Bradford",
        apply_cctf_decoding=True,
    )  # fmt: skip
    expected = colour.colorimetry.lightness_CIE1976(100 * xyz[..., 1])
    # the reference rounds its matrix to four digits, so that its white is not quite 100
    assert np.abs(seen / 655.35 - expected).max() < 0.05


def test_srgb_weights_by_their_chromaticities():
    """The second row of the matrix, from the primaries in IEC 61966-2-1 and ICC's D50."""
    space = colour.RGB_COLOURSPACES["sRGB"]
    d50 = np.array([0.9642, 1.0, 0.8249])
    d65 = np.append(space.whitepoint, 1 - space.whitepoint.sum())
    matrix = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        d65 / d65[1], d50, transform="Bradford"
    )
    assert (adapt @ matrix)[1] == pytest.approx(SRGB_WEIGHTS, abs=2e-4)
    assert sum(SRGB_WEIGHTS) == pytest.approx(1.0, abs=1e-7)


@pytest.mark.parametrize("encoding", ["srgb", "linear", "gamma:2.2", "lightness"])
@pytest.mark.parametrize("size", [256, 65536])
def test_gray_pixels_of_a_colour_image_are_the_gray_encoding(encoding, size):
    from tonewright.negative.tones import encoding_lightness

    ramp = np.arange(size, dtype=np.uint8 if size == 256 else np.uint16)
    grays = np.repeat(ramp, 3).reshape(1, -1, 3)
    seen = pixel_codes(grays, luminances_of(encoded_luminances(encoding, size)), LIGHTNESS)[0]
    expected = np.floor(encoding_lightness(encoding, size) * 655.35 + 0.5)
    assert np.abs(seen - expected).max() <= 1
    assert (seen[0], seen[-1]) == (0, 65535)


def table_profile():
    """An RGB profile of tables instead of curves and a matrix (ICC.1:2022, 10.12, lutAToBType):
    PCS Lab, the grid's lightness the maximum of the channels, which no matrix can do."""
    grid = 2
    corners = np.array(list(itertools.product(range(grid), repeat=3)), float)
    lab = np.stack([65535 * corners.max(axis=1), *[np.full(8, 32896)] * 2], axis=1)
    curve = b"curv" + bytes(8)
    head = b"mAB " + bytes(4) + struct.pack(">BBH", 3, 3, 0)
    clut = bytes([grid] * 3).ljust(16, b"\0") + b"\x02\0\0\0" + lab.astype(">u2").tobytes()
    clut += bytes(-len(clut) % 4)
    at = 32
    b_at, clut_at, a_at = at, at + 36, at + 36 + len(clut)
    element = head + struct.pack(">5I", b_at, 0, 0, clut_at, a_at) + curve * 3 + clut + curve * 3
    profile = bytearray(gray_profile(element, "table"))
    profile[16:24] = b"RGB Lab "
    return bytes(profile).replace(b"kTRC", b"A2B0", 1)


def test_a_profile_of_tables_goes_through_littlecms_pixel_by_pixel(tmp_path):
    name, channels, to_luminance = colour_luminance(table_profile(), 65536, "i")
    assert (name, channels) == ("table", None)
    assert not isinstance(to_luminance, Luminances)
    rgb = random((30, 40, 3))
    expected = rgb.max(axis=-1)  # the grid above, between whose corners it is not linear
    corners = np.array([[[0, 0, 0], [65535, 0, 0], [0, 65535, 0], [65535] * 3]], np.uint16)
    seen = pixel_codes(corners, to_luminance, LIGHTNESS).astype(int)
    assert np.abs(seen - [[0, 65535, 65535, 65535]]).max() < 70
    seen = pixel_codes(rgb, to_luminance, LIGHTNESS)
    assert np.corrcoef(seen.ravel(), expected.ravel())[0, 1] > 0.9


def test_a_matrix_profile_takes_the_fast_way():
    assert isinstance(colour_luminance(SRGB, 65536, "i")[2], Luminances)
    assert isinstance(colour_luminance(SRGB, 256, "i")[2], Luminances)


def test_when_littlecms_sees_something_else_it_is_asked_for_each_pixel(monkeypatch):
    monkeypatch.setattr(icc, "_AGREES", -1)
    _, channels, to_luminance = colour_luminance(SRGB, 65536, "i")
    assert channels is None
    rgb = random((9, 11, 3))
    seen = pixel_codes(rgb, to_luminance, LIGHTNESS).astype(int)
    assert np.abs(seen - by_littlecms(rgb)).max() <= 1


@pytest.mark.parametrize(
    "broken", [b"", SRGB[:300], lightness_profile(), SRGB.replace(b"rXYZ", b"xxxx")]
)
def test_profiles_that_do_not_fit_a_colour_image(tmp_path, broken):
    with pytest.raises(ImageError, match=r"scan\.tif.*RGB") as refused:
        colour_luminance(broken, 65536, "scan.tif")
    assert refused.value.code == "image_encoding"


def test_mutated_colour_profiles_end_in_a_message_or_a_function():
    random_ = np.random.default_rng(8)
    pixels = random((4, 5, 3))
    refused = 0
    for _ in range(60):
        bad = bytearray(SRGB)
        for place in random_.integers(0, len(bad), 6):
            bad[place] = random_.integers(256)
        try:
            _, _, to_luminance = colour_luminance(bytes(bad), 65536, "i")
        except ImageError:
            refused += 1
        else:
            assert pixel_codes(pixels, to_luminance, LIGHTNESS).shape == (4, 5)
    assert refused > 5


def test_how_much_colour_there_was(tmp_path):
    from tonewright.files.negative.make import make_negative
    from tonewright.negative.colour import coloured_share

    gray = np.repeat(random((64, 64, 1)), 3, axis=-1)
    assert coloured_share(gray) == 0.0
    half = gray.copy()
    half[:, :32, 0] = 65535 - half[:, :32, 0]
    assert coloured_share(half) == pytest.approx(0.5, abs=0.03)

    for data, told in ((gray, False), (half, True)):
        (tmp_path / "i.tif").unlink(missing_ok=True)
        (tmp_path / "n.tif").unlink(missing_ok=True)
        tifffile.imwrite(tmp_path / "i.tif", data, photometric="rgb", metadata=None)
        report = make_negative(tmp_path / "i.tif", Straight(), tmp_path / "n.tif")
        assert any(isinstance(f, ColourDropped) for f in report.findings) == told
        assert report.coloured_share == pytest.approx(0.5 if told else 0.0, abs=0.03)


@pytest.mark.parametrize("extra", ["unassalpha", "assocalpha", "unspecified"])
@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite", "rgb"])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("byteorder", "<>")
def test_transparency_is_laid_on_white_only_when_asked(
    tmp_path, extra, photometric, kind, byteorder
):
    own, full = (3 if photometric == "rgb" else 1), int(np.iinfo(kind).max)
    pixels = random((30, 40, own + 1), kind)
    if extra == "assocalpha":
        pixels[..., :own] = np.minimum(pixels[..., :own], pixels[..., own:])
    tifffile.imwrite(
        tmp_path / "in.tif", pixels, photometric=photometric, metadata=None,
        extrasamples=[extra], planarconfig="contig", byteorder=byteorder,
    )  # fmt: skip
    with pytest.raises(ImageError) as refused:
        open_image(tmp_path / "in.tif")
    assert refused.value.code == "image_transparent"
    flat = OpenOptions(flatten=True)
    seen, _ = lightness_written(tmp_path / "in.tif", tmp_path / "o.tif", flat)
    values, alpha = pixels[..., :own].astype(float), pixels[..., own:] / full
    if photometric == "miniswhite":
        values = full - values
    if extra == "unassalpha":
        values = values * alpha + full * (1 - alpha)
    elif extra == "assocalpha" and photometric != "miniswhite":  # there white adds nothing
        values = np.minimum(values + full * (1 - alpha), full)
    if photometric != "rgb":
        assert np.abs(seen - values[..., 0]).max() <= 0.51
        return
    to_luminance = luminances_of(encoded_luminances("srgb", full + 1))
    expected = pixel_codes(np.rint(values).astype(kind), to_luminance, LIGHTNESS).astype(int)
    step = 700 if kind is np.uint8 else 60  # one step of the values, in 65535ths of L*
    assert np.abs(seen.astype(int) - expected).max() <= step


def test_rgb_turned_by_a_quarter_and_streamed(tmp_path, monkeypatch):
    monkeypatch.setattr(bands, "TURN_BYTES", 20_000)
    monkeypatch.setattr(tiff_pixels, "STREAM_FROM", 10_000)
    rgb = random((151, 97, 3))
    for name, options in (("a", {"compression": "zlib", "predictor": True}), ("b", {})):
        tifffile.imwrite(
            tmp_path / f"{name}.tif", rgb, photometric="rgb", metadata=None, iccprofile=SRGB,
            extratags=[(274, 3, 1, 6, True)], byteorder=">", **options,
        )  # fmt: skip
        seen, _ = lightness_written(tmp_path / f"{name}.tif", tmp_path / f"{name}o.tif")
        assert np.abs(seen.astype(int) - by_littlecms(np.rot90(rgb, -1).copy())).max() <= 30


def test_pages(tmp_path):
    pages = [random((20, 20 + n)) for n in range(3)]
    with tifffile.TiffWriter(tmp_path / "in.tif") as file:
        for page in pages:
            file.write(page, photometric="minisblack", metadata=None)
    with pytest.raises(ImageError, match="3 pages") as refused:
        open_image(tmp_path / "in.tif")
    assert refused.value.code == "image_pages"
    for number, page in enumerate(pages, 1):
        out = tmp_path / f"{number}.tif"
        seen, _ = lightness_written(tmp_path / "in.tif", out, OpenOptions(page=number))
        assert np.array_equal(seen, page)
