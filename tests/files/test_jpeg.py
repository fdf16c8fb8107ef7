"""JPEGs in, as Pillow sees them."""

from __future__ import annotations

import io
import os

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from tonewright.errors import ImageError, TonewrightError
from tonewright.files import jpeg
from tonewright.files.images import OpenOptions, open_image
from tonewright.files.pipeline import WriteSettings, write_mapped
from tonewright.files.tones import image_tones

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
    assert "JPEG" in image.warnings[0] and "8 bits" in image.warnings[0]
    with Image.open(tmp_path / "in.jpg") as other:
        expected = np.asarray(other).astype(int)
    seen = mapped(tmp_path / "in.jpg", tmp_path / "o.tif").astype(int)
    assert np.abs(seen - expected).max() <= 1  # two builds of the same transform


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_of_the_exif(tmp_path, orientation):
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(scene()).save(tmp_path / "in.jpg", exif=exif, quality=100)
    from PIL import ImageOps

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
    monkeypatch.setattr(jpeg, "LARGEST", 10_000)
    Image.fromarray(scene()).save(tmp_path / "in.jpg")
    with pytest.raises(ImageError, match=r"may hold.*TIFF"):
        open_image(tmp_path / "in.jpg")


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


def test_mutated_jpegs_end_in_one_message_or_a_whole_file(tmp_path):
    count = int(os.environ.get("TONEWRIGHT_MUTANTS", "160"))
    source, out = tmp_path / "in.jpg", tmp_path / "out.tif"
    refused = 0
    for data in mutants(count, seed=22):
        source.write_bytes(data)
        try:
            image = open_image(source, OpenOptions())
            tones = image_tones(image, None)
            table = np.zeros(tones.lightness.size, np.uint16)
            settings = WriteSettings(False, "", to_gray=tones.to_gray)
            write_mapped(image, out, table, settings)
        except TonewrightError:
            refused += 1
            assert [p.name for p in tmp_path.iterdir()] == ["in.jpg"]
        else:
            out.unlink()
    assert count / 10 < refused < count
