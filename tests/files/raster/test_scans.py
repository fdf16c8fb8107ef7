"""Scans written by Pillow, tifffile and imagecodecs, read back as codes."""

from __future__ import annotations

import hashlib
import io

import colour
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, ImageOps

from tonewright.errors import FileError, ImageError, OptionError, TonewrightError
from tonewright.files.raster.open import is_picture
from tonewright.files.raster.page import ByteSource
from tonewright.files.raster.scans import read_scan
from tonewright.measured.findings import (
    ScanHasFewTones,
    ScanIsJpeg,
    ScanProfileUnusable,
    ScanWeighedAsSrgb,
)

RNG = np.random.default_rng(0)
GRAY = RNG.integers(0, 65536, (90, 70), dtype=np.uint16)
RGB = RNG.integers(0, 65536, (60, 50, 3), dtype=np.uint16)


def tif(path, values, **how):
    how.setdefault("photometric", "rgb" if values.ndim == 3 else "minisblack")
    tifffile.imwrite(path, values, metadata=None, **how)
    return path


def holds(scan, expected, off=1e-7):
    """Every pixel is what it should be; far quicker than to ask one by one."""
    np.testing.assert_allclose(scan.pixels, expected, rtol=0.0, atol=off)


def srgb_profile():
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.mark.parametrize(
    "how",
    [
        {}, {"compression": "lzw", "predictor": True}, {"compression": "zlib"},
        {"compression": "zlib", "predictor": True, "tile": (32, 48)}, {"rowsperstrip": 7},
        {"byteorder": ">"}, {"byteorder": ">", "compression": "lzw", "predictor": True},
        {"bigtiff": True}, {"compression": "packbits"},
    ],
)
def test_gray_of_every_storage(tmp_path, how):
    scan = read_scan(tif(tmp_path / "s.tif", GRAY, resolution=(300, 300), **how))
    holds(scan, GRAY / 65535.0)
    assert (scan.bits, scan.ppi, scan.lightness) == (16, 300.0, None)
    assert scan.findings == ()


@pytest.mark.parametrize(
    "how",
    [{}, {"compression": "lzw", "predictor": True}, {"compression": "zlib", "tile": (16, 32)},
     {"compression": "zlib", "predictor": True, "tile": (16, 32)}, {"byteorder": ">"},
     {"planarconfig": "separate"}],
)
@pytest.mark.parametrize("channel", ["red", "green", "blue"])
def test_a_channel_of_colour(tmp_path, how, channel):
    stored = np.moveaxis(RGB, -1, 0) if how.get("planarconfig") else RGB
    scan = read_scan(tif(tmp_path / "s.tif", stored, photometric="rgb", **how), channel=channel)
    index = ("red", "green", "blue").index(channel)
    holds(scan, RGB[:, :, index] / 65535.0)


def test_luminance_by_an_srgb_profile(tmp_path):
    """Against colour-science: sRGB to XYZ (D65, adapted by Bradford) to L*."""
    path = tif(tmp_path / "s.tif", RGB, iccprofile=srgb_profile())
    scan = read_scan(path)
    xyz = colour.sRGB_to_XYZ(RGB / 65535.0, chromatic_adaptation_transform="Bradford",
                             illuminant=colour.CCS_ILLUMINANTS[
                                 "CIE 1931 2 Degree Standard Observer"]["D50"])
    expected = colour.lightness(100.0 * xyz[..., 1], method="CIE 1976")
    found = np.interp(scan.pixels, np.linspace(0.0, 1.0, scan.lightness.size), scan.lightness)
    assert np.abs(found - expected).max() < 0.35
    assert np.median(np.abs(found - expected)) < 0.05


def test_colour_without_a_profile_is_weighed_and_said(tmp_path):
    neutral = np.repeat(GRAY[:, :, None], 3, axis=2)
    scan = read_scan(tif(tmp_path / "s.tif", neutral))
    holds(scan, GRAY / 65535.0, 2e-4)
    assert scan.findings == (ScanWeighedAsSrgb("s.tif"),)


def test_white_is_zero(tmp_path):
    scan = read_scan(tif(tmp_path / "s.tif", GRAY, photometric="miniswhite"))
    holds(scan, 1.0 - GRAY / 65535.0)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_upright_as_pillow_does(tmp_path, orientation):
    plain = Image.fromarray((GRAY >> 8).astype(np.uint8))
    path = tmp_path / "s.tif"
    plain.save(path, tiffinfo={274: orientation})
    plain.getexif()[274] = orientation
    expected = np.asarray(ImageOps.exif_transpose(plain))
    assert expected.shape == ((90, 70) if orientation < 5 else (70, 90))
    holds(read_scan(path), expected / 255.0, 1e-6)


def test_png_of_16_bits(tmp_path):
    path = tmp_path / "s.png"
    Image.fromarray(GRAY).save(path, dpi=(400, 400))
    scan = read_scan(path)
    holds(scan, GRAY / 65535.0)
    assert scan.ppi == pytest.approx(400.0, rel=1e-3)


def test_png_turned_by_its_exif(tmp_path):
    exif = Image.Exif()
    exif[274] = 6
    Image.fromarray(GRAY).save(tmp_path / "s.png", exif=exif)
    holds(read_scan(tmp_path / "s.png"), np.rot90(GRAY, -1) / 65535.0)


def test_eight_bits_are_read_with_a_warning(tmp_path):
    scan = read_scan(tif(tmp_path / "s.tif", (GRAY >> 8).astype(np.uint8)))
    assert scan.bits == 8
    holds(scan, (GRAY >> 8) / 255.0)
    assert ScanHasFewTones(scan.name) in scan.findings


def jpeg(path, gray):
    Image.fromarray((gray >> 8).astype(np.uint8)).save(path, "JPEG", quality=95)
    return path


def test_jpeg_only_if_asked_for(tmp_path):
    smooth = np.linspace(0, 65535, 90 * 70).reshape(90, 70).astype(np.uint16)
    path = jpeg(tmp_path / "s.jpg", smooth)
    with pytest.raises(ImageError, match="JPEG") as refused:
        read_scan(path)
    assert refused.value.code == "scan_lossy"
    scan = read_scan(path, allow_jpeg=True)
    holds(scan, smooth / 65535.0, 0.02)
    assert ScanIsJpeg(scan.name) in scan.findings


def test_jpeg_inside_a_tiff_is_still_a_jpeg(tmp_path):
    path = tmp_path / "s.tif"
    Image.fromarray((GRAY >> 8).astype(np.uint8)).save(path, compression="jpeg")
    with pytest.raises(ImageError, match="JPEG") as refused:
        read_scan(path)
    assert refused.value.code == "scan_lossy"
    with Image.open(path) as seen:
        expected = np.asarray(seen) / 255.0
    holds(read_scan(path, allow_jpeg=True), expected, 1e-6)


def other(path, kind):
    small = (GRAY >> 8).astype(np.uint8)
    rgba = np.repeat(small[:, :, None], 4, axis=2)
    images = {
        "cmyk": lambda: Image.fromarray(rgba, "CMYK").save(path),
        "palette": lambda: Image.fromarray(small).convert("P").save(path),
        "float": lambda: tif(path, GRAY.astype(np.float32)),
        "signed": lambda: tif(path, GRAY.astype(np.int16)),
        "pages": lambda: tif(path, np.stack([GRAY, GRAY]), photometric="minisblack"),
        "alpha": lambda: tif(path, np.repeat(GRAY[:, :, None], 4, axis=2), photometric="rgb",
                             extrasamples=["unassalpha"]),
        "tiny": lambda: tif(path, GRAY[:20, :20]),
        "bilevel": lambda: Image.fromarray(small > 99).save(path),
        "32 bit": lambda: tif(path, GRAY.astype(np.uint32)),
    }
    images[kind]()


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ("cmyk", "CMYK"), ("palette", "palette"), ("float", "floating-point"),
        ("signed", "signed"), ("pages", "2 pages"), ("alpha", "transparency"),
        ("tiny", "20 x 20"), ("bilevel", "bit"), ("32 bit", "32 bit"),
    ],
)
def test_what_would_read_wrong_is_refused(tmp_path, kind, message):
    path = tmp_path / "s.tif"
    other(path, kind)
    with pytest.raises(ImageError, match=message):
        read_scan(path)


def test_png_with_transparency_is_refused(tmp_path):
    path = tmp_path / "s.png"
    Image.new("RGBA", (60, 60)).save(path)
    with pytest.raises(ImageError, match="transparency"):
        read_scan(path)


@pytest.mark.parametrize("name", ["s.tif", "s.png"])
def test_cut_short_anywhere_is_one_clear_error(tmp_path, name):
    path = tmp_path / name
    if name == "s.tif":
        tif(path, GRAY, compression="zlib", rowsperstrip=9)
    else:
        Image.fromarray(GRAY).save(path)
    whole = path.read_bytes()
    for share in np.linspace(0.0, 0.98, 25):
        path.write_bytes(whole[: int(share * len(whole))])
        with pytest.raises(TonewrightError):
            read_scan(path)


def test_damaged_bytes_never_end_in_a_traceback(tmp_path):
    path = tif(tmp_path / "s.tif", GRAY, compression="lzw", predictor=True)
    whole, rng = path.read_bytes(), np.random.default_rng(1)
    for _ in range(60):
        damaged = bytearray(whole)
        for at in rng.integers(0, len(whole), 3):
            damaged[at] = rng.integers(256)
        path.write_bytes(bytes(damaged))
        try:
            scan = read_scan(path)
        except TonewrightError:
            continue
        assert np.isfinite(scan.pixels).all()


def test_no_file_no_picture_no_such_channel(tmp_path):
    with pytest.raises(FileError, match=r"no file .*A scan is"):
        read_scan(tmp_path / "none.tif")
    note = tmp_path / "note.tif"
    note.write_text("level,density\n0,1.5\n", encoding="utf-8")
    with pytest.raises(FileError, match="not a TIFF, PNG or JPEG"):
        read_scan(note)
    with pytest.raises(FileError):
        read_scan(tmp_path)
    path = tif(tmp_path / "s.tif", GRAY)
    with pytest.raises(OptionError, match="gray"):
        read_scan(path, channel="red")
    with pytest.raises(OptionError, match="infrared"):
        read_scan(path, channel="infrared")


def test_a_broken_profile_is_put_aside_and_said(tmp_path):
    broken = srgb_profile()[:200]
    for values in (GRAY, RGB):
        scan = read_scan(tif(tmp_path / "s.tif", values, iccprofile=broken))
        assert ScanProfileUnusable(scan.name) in scan.findings


def test_pictures_are_told_from_lists(tmp_path):
    text = tmp_path / "list.tif"
    text.write_text("density\n0.1\n", encoding="utf-8")
    stream = io.BytesIO()
    Image.fromarray(GRAY).save(stream, "PNG")
    png = tmp_path / "scan.csv"
    png.write_bytes(stream.getvalue())
    pictures = tif(tmp_path / "s.tif", GRAY), jpeg(tmp_path / "s.jpg", GRAY), png
    assert all(is_picture(ByteSource(path)) for path in pictures)
    assert not is_picture(ByteSource(text))
    assert read_scan(png).sha256 is None
    assert read_scan(png, fingerprint=True).sha256 == hashlib.sha256(png.read_bytes()).hexdigest()
