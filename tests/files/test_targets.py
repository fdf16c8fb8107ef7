"""Targets and readings on disk: read back by general libraries, whole or not at all."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest
import tifffile
from PIL import Image
from skimage.transform import ProjectiveTransform, warp

from rooms import Scanner, scan_sheet
from tonewright.errors import FileError, OptionError, ReadingsError
from tonewright.files.lettering import text_mask
from tonewright.files.scan import readings as scanned
from tonewright.files.scan.overlay import DOUBTFUL, READ, UNREAD, colour, overlay, upright
from tonewright.files.tables import read_table
from tonewright.files.targets import read_levels, read_target, target_paths, write_target
from tonewright.measured.columns import Source
from tonewright.measured.readings import Reading, Readings, readings_from_table
from tonewright.scan.findings import ScanMirrored
from tonewright.scan.image import Scan
from tonewright.scan.read import ReadSettings, read_target_scan
from tonewright.scan.rectify import Placement
from tonewright.scan.response import response_from_gray_scale
from tonewright.target.draw import draw
from tonewright.target.layout import LayoutSettings, even_levels, make_target
from tonewright.virtual import darkroom, scanroom

TARGET = make_target(even_levels(9), LayoutSettings(
    name="münze – cotton", seed=5, ppi=150.0, width_mm=101.6, height_mm=127.0, repeats=2))
ROOM = darkroom.Darkroom(darkroom.DEMO_INK, darkroom.KALLITYPE)


@pytest.fixture(scope="module")
def scan():
    """A scan at 150 ppi with stains, and a scanner's response."""
    scanner = Scanner(ppi=150.0, lid_density=1.5)
    negative = np.concatenate(list(draw(TARGET, text_mask)))
    sheet = scanroom.print_sheet(negative, 150.0, ROOM, scanroom.PaperFlaws(
        texture_density_sd=0.01, stains=5, stain_density=0.3), seed=6)
    render = scan_sheet(sheet, scanner, scanroom.Lying(2.0), seed=6)
    known = np.linspace(0.05, 2.0, 14)
    response = response_from_gray_scale(known, scanner.code(known), np.full(14, 2e-4))
    return Scan(render.pixels, 16, 150.0, None), ReadSettings(response=response)


@pytest.fixture(scope="module")
def reading(scan):
    return read_target_scan(scan[0], TARGET, scan[1])


def test_the_negative_opens_anywhere_with_its_size_and_resolution(tmp_path):
    picture, document, _ = write_target(tmp_path / "T.tif", TARGET)
    with tifffile.TiffFile(picture) as file:
        page = file.pages[0]
        assert page.bitspersample == 16 and page.samplesperpixel == 1
        assert page.photometric == tifffile.PHOTOMETRIC.MINISBLACK
        assert page.compression == tifffile.COMPRESSION.NONE
        assert page.tags["XResolution"].value == (150, 1)
        codes = page.asarray()
    with Image.open(picture) as image:
        assert image.size == (600, 750)  # 4 x 5 inches
        assert np.array_equal(np.asarray(image), codes)
    assert read_target(document) == TARGET  # umlaut, dash and all
    assert np.array_equal(codes, np.concatenate(list(draw(TARGET, text_mask))))


def test_a_resolution_that_is_no_whole_number_is_kept(tmp_path):
    picture, *_ = write_target(tmp_path / "T.tif", replace(TARGET, ppi=150.5))
    with tifffile.TiffFile(picture) as file:
        numerator, denominator = file.pages[0].tags["XResolution"].value
    assert numerator / denominator == pytest.approx(150.5)


def test_both_files_or_neither(tmp_path, monkeypatch):
    """The disk fails while the negative is drawn: its document is not there either."""
    def fails(target, letters):
        yield np.zeros((5, 5), np.uint16)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tonewright.files.targets.draw", fails)
    with pytest.raises(FileError):
        write_target(tmp_path / "T.tif", TARGET)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["T.png", "T", "T.target.json"])
def test_a_target_is_a_tiff(tmp_path, name):
    with pytest.raises(OptionError, match=r"\.tif"):
        target_paths(tmp_path / name)


@pytest.mark.parametrize(
    ("text", "said"),
    [("patch\nA1\n", "level"), ("level\n-0.2\n", "-0.2"), ("ink_percent\n120\n", "120"),
     ("level\nmuch\n", "much")],
)
def test_levels_that_are_none(tmp_path, text, said):
    (tmp_path / "l.csv").write_text(text, encoding="utf-8")
    with pytest.raises(ReadingsError, match=said):
        read_levels(tmp_path / "l.csv")


def table_of(text):
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def test_readings_come_back_through_the_reader_of_measurements(reading, tmp_path):
    path = tmp_path / "r.csv"
    found = replace(reading, findings=(ScanMirrored(),))
    scanned.write_readings(path, found, ("a note\nover two lines",), print_name="first")
    read = readings_from_table(read_table(path))
    values = [p for p in reading.patches if p.density is not None]
    assert [p.patch for p in read.patches] == [p.patch.name for p in values]
    assert read.density == pytest.approx([p.density for p in values], abs=6e-5)
    assert read.level == pytest.approx([p.patch.level for p in values], abs=1e-6)
    assert [p.density_sd for p in read.patches] == pytest.approx(
        [p.density_sd for p in values], abs=6e-5)
    assert {p.print_name for p in read.patches} == {"first"}
    text = path.read_text(encoding="utf-8")
    assert "# a note over two lines\n" in text and "münze – cotton" in text
    assert '# finding: {"code": "scan_mirrored"}\n' in text
    assert [p.patch for p in read.patches if p.doubt] == [p.patch.name for p in reading.doubtful]


def test_doubts_stand_beside_their_patches(reading):
    assert reading.doubtful
    table = {row["patch"]: row["doubt"] for row in table_of(scanned.readings_csv(reading))}
    for patch in reading.patches:
        assert table[patch.patch.name].split() == [d.code for d in patch.doubts]


def test_what_was_not_read_is_left_out(reading):
    first, *rest = reading.patches
    cut = replace(reading, patches=(replace(first, density=None, density_sd=None), *rest))
    names = [row["patch"] for row in table_of(scanned.readings_csv(cut))]
    assert names == [p.patch.name for p in rest]


def test_aims_are_written_where_there_are_any(reading):
    aimed = replace(TARGET, patches=tuple(
        replace(p, aim_lightness=50.0 if p.kind == "tone" else None) for p in TARGET.patches))
    table = table_of(scanned.readings_csv(replace(reading, target=aimed)))
    assert {row["aim_lightness"] for row in table} == {"50.000", ""}
    assert "aim_lightness" not in table_of(scanned.readings_csv(reading))[0]


@pytest.mark.parametrize("there", ["r.csv", "o.png"])
def test_readings_and_overlay_are_written_together_or_not_at_all(reading, scan, tmp_path, there):
    (tmp_path / there).write_bytes(b"mine")
    places = tmp_path / "r.csv", tmp_path / "o.png"
    with pytest.raises(FileError, match="is there already"):
        scanned.write_readings(places[0], reading, overlay=(places[1], scan[0].pixels))
    assert [p.name for p in tmp_path.iterdir()] == [there]
    assert (tmp_path / there).read_bytes() == b"mine"
    scanned.write_readings(places[0], reading, overlay=(places[1], scan[0].pixels), force=True)
    with Image.open(places[1]) as image:
        image.verify()


def test_an_instruments_readings_come_back_as_they_were(tmp_path):
    source = Source("list.txt", "cgats", "0" * 64)
    patches = tuple(Reading(p.level, float(ROOM.print_density(p.level)), None, "one", p.name)
                    for p in TARGET.patches)
    for scale, relative in (("luminance", False), ("visual-density", False),
                            ("visual-density", True)):
        given = Readings(patches, scale, relative, (source,))
        (tmp_path / "l.csv").write_text(scanned.list_csv(given, TARGET), encoding="utf-8")
        back = readings_from_table(read_table(tmp_path / "l.csv"))
        assert back.scale == scale
        assert back.density == pytest.approx(given.density, abs=1e-4)
        assert [(p.patch, p.print_name) for p in back.patches] == [
            (p.patch, p.print_name) for p in patches]
        text = (tmp_path / "l.csv").read_text(encoding="utf-8")
        assert ("relative to the bare paper" in text) == relative


def test_colours_of_the_overlay_say_what_was_read(reading):
    sound = next(p for p in reading.patches if not p.doubts)
    assert colour(sound) == READ
    assert colour(reading.doubtful[0]) == DOUBTFUL
    assert colour(replace(sound, density=None)) == UNREAD


def test_the_overlay_of_a_turned_scan_is_upright(reading, scan):
    """Against the print drawn by Pillow from the document: the same tones at the same places."""
    picture = np.asarray(overlay(scan[0].pixels, reading).convert("L")).astype(float)
    per_mm = 1800 / TARGET.height_mm
    seen = [picture[round(per_mm * (p.y_mm + 0.09 * p.height_mm)), round(per_mm * p.centre[0])]
            for p in TARGET.patches]
    truth = 10.0 ** (-ROOM.print_density(TARGET.level) / 2.2)
    assert np.corrcoef(seen, truth)[0, 1] > 0.98


def test_an_overlay_is_light_on_dark_even_if_the_scan_is_not(scan):
    turned = Scan(1.0 - scan[0].pixels, 16, 150.0, None)
    reading = read_target_scan(turned, TARGET, scan[1])
    picture = np.asarray(overlay(turned.pixels, reading).convert("L"))
    assert np.median(picture[20:60, 200:-200]) < 110  # the black ground above the patches


@pytest.mark.parametrize("seed", range(4))
def test_setting_upright_is_skimages_warp(seed):
    """scikit-image, BSD licence; half a pixel to a mm, turned, with perspective."""
    rng = np.random.default_rng(seed)
    picture = rng.random((80, 70))
    angle = rng.uniform(-np.pi, np.pi)
    matrix = np.array([[0.5 * np.cos(angle), -0.5 * np.sin(angle), 35.0],
                       [0.5 * np.sin(angle), 0.5 * np.cos(angle), 40.0],
                       [*rng.uniform(-2.5e-4, 2.5e-4, 2), 1.0]])
    straight = np.asarray(
        upright(picture.astype(np.float32), Placement(matrix), (30.0, 40.0), 2.0))
    half = np.array([[0.5, 0, 0.25], [0, 0.5, 0.25], [0, 0, 1.0]])  # pixel centres to mm
    theirs = warp(picture, ProjectiveTransform(matrix @ half), output_shape=(80, 60), order=1,
                  mode="edge")
    assert straight.shape == (80, 60)
    assert straight == pytest.approx(theirs, abs=1e-5)


def test_outside_of_the_scan_there_is_nothing():
    white = np.ones((20, 20), np.float32)
    beside = np.asarray(upright(
        white, Placement(np.array([[1.0, 0, -10], [0, 1.0, 0], [0, 0, 1.0]])), (20.0, 20.0), 1.0))
    assert not beside[:, :9].any()
    assert (beside[:19, 11:] == 1.0).all()
