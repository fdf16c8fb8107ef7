"""The drawn negative holds what the document says, seen through a general imaging library."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile
from PIL import Image
from scipy import ndimage

from tonewright import scales
from tonewright.errors import DocumentError, FileError, OptionError, ReadingsError
from tonewright.files.lettering import text_mask
from tonewright.files.targets import read_levels, read_target, target_paths, write_target
from tonewright.inks.chart import chart_tones
from tonewright.negative.ink import Ink, Inker
from tonewright.target.draw import draw, has_rule, size_px
from tonewright.target.layout import LayoutSettings, even_levels, make_target
from tonewright.target.pen import spots

SETTINGS = LayoutSettings(name="cotton, kallitype", date="2026-03-01", seed=7, ppi=200.0)
TARGET = make_target(even_levels(11), SETTINGS)
PER_MM = 200.0 / 25.4


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("target")
    write_target(folder / "T.tif", TARGET)
    return folder


@pytest.fixture(scope="module")
def as_printed(written):
    """The codes as the print reads: not mirrored."""
    with Image.open(written / "T.tif") as image:
        assert image.mode == "I;16" or image.mode == "I;16B"
        assert image.info["dpi"] == pytest.approx((200, 200))
        assert image.tag_v2[262] == 1  # BlackIsZero
        return np.asarray(image)[:, ::-1].copy()


def test_every_patch_has_its_code_where_the_document_says(as_printed):
    for patch in TARGET.patches:
        x, y = (round(PER_MM * v) for v in (patch.x_mm, patch.y_mm))
        side = round(PER_MM * patch.width_mm)
        inside = as_printed[y + 2 : y + side - 2, x + 2 : x + side - 2]
        # 65535 is clear film: code = round(65535 (1 - level))
        assert np.all(np.abs(inside - round(65535 * (1 - patch.level))) <= 1), patch.name


def test_marks_have_one_to_four_spots_clockwise_from_the_top_left(as_printed):
    """Counted as separate dark places in each light disc by scipy's labelling."""
    for mark, corner in zip(TARGET.marks, ((0, 0), (0, 1), (1, 1), (1, 0)), strict=True):
        row, column = (round(PER_MM * v) for v in (mark.y_mm, mark.x_mm))
        assert (row > as_printed.shape[0] / 2, column > as_printed.shape[1] / 2) == corner
        radius = round(0.97 * PER_MM * mark.size_mm / 2)
        window = as_printed[row - radius : row + radius, column - radius : column + radius] > 32768
        rows, columns = np.ogrid[-radius:radius, -radius:radius]
        window = window & (np.hypot(rows + 0.5, columns + 0.5) < 0.97 * radius)
        assert ndimage.label(window)[1] == int(mark.name)


def test_no_two_marks_look_alike_turned_or_mirrored():
    """The number of spots alone tells them apart, so no turn or mirroring can confuse them."""
    assert [len(spots(n)) for n in (1, 2, 3, 4)] == [1, 2, 3, 4]


def test_dots_are_solid_or_hollow_as_the_document_says(as_printed):
    for dot in TARGET.dots:
        row, column = int(PER_MM * dot.y_mm), int(PER_MM * dot.x_mm)
        middle = as_printed[row - 1 : row + 2, column - 1 : column + 2]
        assert (middle.min() > 60000) == dot.hollow
        edge = as_printed[row, column + int(0.37 * PER_MM * dot.size_mm)]
        assert edge < 5000


def test_the_ground_is_clear_and_words_are_there(as_printed):
    assert np.all(as_printed[:10] == 65535) and np.all(as_printed[:, :10] == 65535)
    header = as_printed[round(15 * PER_MM) : round(18.5 * PER_MM), round(16 * PER_MM) : -120]
    assert 0.02 < np.mean(header < 32768) < 0.4


def test_the_negative_is_mirrored_unless_told_otherwise():
    mirrored = np.concatenate(list(draw(TARGET, text_mask)))
    plain = make_target(even_levels(11), LayoutSettings(
        **{**SETTINGS.__dict__, "mirrored": False}))
    assert np.array_equal(mirrored[:, ::-1], np.concatenate(list(draw(plain, text_mask))))
    assert mirrored.shape == size_px(TARGET)[::-1]
    assert mirrored.dtype == np.uint16


def test_the_document_comes_back(written):
    assert read_target(written / "T.target.json") == TARGET


def test_the_same_target_gives_the_same_bytes(written, tmp_path):
    write_target(tmp_path / "U.tif", TARGET)
    for name, other in (("T.tif", "U.tif"), ("T.target.json", "U.target.json")):
        assert (written / name).read_bytes() == (tmp_path / other).read_bytes()


@pytest.mark.parametrize("there", ["T.tif", "T.target.json"])
def test_nothing_is_overwritten_and_nothing_half_written(tmp_path, there):
    (tmp_path / there).write_text("mine", encoding="utf-8")
    with pytest.raises(FileError, match="is there already"):
        write_target(tmp_path / "T.tif", TARGET)
    assert [p.name for p in tmp_path.iterdir()] == [there]
    assert (tmp_path / there).read_text(encoding="utf-8") == "mine"
    write_target(tmp_path / "T.tif", TARGET, force=True)
    assert read_target(tmp_path / "T.target.json") == TARGET


def test_names_of_outputs(tmp_path):
    assert target_paths(tmp_path / "a.b.tif")[1].name == "a.b.target.json"
    with pytest.raises(OptionError, match=r"\.tif"):
        target_paths(tmp_path / "T.png")


def test_a_document_cut_in_half_is_refused(written, tmp_path):
    text = (written / "T.target.json").read_text(encoding="utf-8")
    (tmp_path / "half.target.json").write_text(text[: len(text) // 2], encoding="utf-8")
    with pytest.raises(DocumentError, match="half"):
        read_target(tmp_path / "half.target.json")


def test_levels_from_a_table(tmp_path):
    path = tmp_path / "levels.csv"
    path.write_text("ink_percent\n100\n0\n55\n", encoding="utf-8")
    assert [t.level for t in read_levels(path)] == [0.0, 0.55, 1.0]
    path.write_text("level\n0.5\n1.3\n", encoding="utf-8")
    with pytest.raises(ReadingsError, match=r"1\.3"):
        read_levels(path)


def test_a_long_name_is_cut_short_not_drawn_over_the_edge():
    target = make_target(even_levels(11), LayoutSettings(name="x" * 300, ppi=200.0))
    codes = np.concatenate(list(draw(target, text_mask)))
    assert np.all(codes[:, : round(5 * PER_MM) - 2] == 65535)


@pytest.mark.parametrize(
    ("width", "height", "fits"), [(127.0, 177.8, True), (177.8, 127.0, True), (105.0, 148.0, False)]
)
def test_a_rule_of_100_mm_where_it_fits(width, height, fits):
    """It runs below the boxes, alone in its row, and is as long as it says."""
    target = make_target(even_levels(5), LayoutSettings(ppi=254.0, width_mm=width,
                                                        height_mm=height, mirrored=False))
    codes = np.concatenate(list(draw(target, text_mask)))
    below = codes[round(10 * (height - 15)) :] == 0
    assert any(row.sum() == 1000 and np.ptp(np.flatnonzero(row)) == 999 for row in below) == fits
    assert has_rule(target) == fits


def test_letters_are_drawn():
    mask = text_mask("target", 40)
    assert mask.shape[0] == 40 and mask.shape[1] > 60 and mask.max() > 200


# In colour


COLOURED = make_target(even_levels(11), LayoutSettings(ppi=150.0, ink_colour="255,120,3"))
CHART = make_target(chart_tones([(0, 0, 0), (255, 120, 3), (10, 200, 77)], (1.0, 0.37)),
                    LayoutSettings(ppi=150.0, repeats=2))


@pytest.mark.parametrize("target", [COLOURED, CHART], ids=["tones", "chart"])
def test_coloured_patches_hold_what_a_negative_in_that_colour_would(tmp_path, target):
    """Against the inker of negatives, by its own code; read back by a general imaging library."""
    write_target(tmp_path / "T.tif", target)
    pixels = tifffile.imread(tmp_path / "T.tif")
    assert pixels.dtype == np.uint16 and pixels.shape[2] == 3
    with tifffile.TiffFile(tmp_path / "T.tif") as file:
        page = file.pages[0]
        assert page.photometric == tifffile.PHOTOMETRIC.RGB and page.iccprofile is None
    upright = pixels[:, ::-1]
    for patch in target.patches:
        colour = target.colour_of(patch)
        code = scales.level_to_code([[patch.level]])
        wanted = (65535,) * 3 if colour is None else Inker(Ink(16, colour))(0, code)[0, 0]
        x, y = (round(150.0 / 25.4 * v) for v in patch.centre)
        assert tuple(upright[y, x]) == tuple(wanted), patch.name


def test_marks_are_in_the_ink_of_the_sheet_or_black_on_a_chart():
    for target, wanted in ((COLOURED, (65535, 120 * 257, 3 * 257)), (CHART, (0, 0, 0))):
        whole = np.concatenate(list(draw(target, text_mask)))[:, ::-1]
        mark = target.marks[1]  # two spots, none in the middle
        x, y = (round(150.0 / 25.4 * v) for v in (mark.x_mm, mark.y_mm))
        assert tuple(whole[y, x]) == wanted
        assert tuple(whole[2, 2]) == (65535, 65535, 65535)


def test_a_gray_target_is_as_it_always_was():
    band = next(iter(draw(TARGET, text_mask)))
    assert band.ndim == 2
    assert TARGET.ink_colour is None
