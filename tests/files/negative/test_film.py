"""Negatives on film, as files: each is the negative that it would be by itself."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from commands import said as said_by
from straight import Straight
from tonewright.cli import main
from tonewright.errors import FileError, ImageError, OptionError
from tonewright.files.blank import is_blank
from tonewright.files.documents import Opened, read_curve
from tonewright.files.negative.batch import make_negatives
from tonewright.files.negative.make import make_negative
from tonewright.files.negative.settings import NegativeSettings
from tonewright.files.targets import read_target
from tonewright.negative.film import parse_film
from tonewright.negative.sheet import SheetSettings
from tonewright.negative.size import SizeWish

EXAMPLE = Path(__file__).parents[3] / "curves" / "kallitype.curve.json"
SHEET = SheetSettings(marks=True, tone_scale=True, caption=True)
SIZES = {"portrait": (560, 400), "landscape": (400, 640), "square": (420, 420)}


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder with three pictures of 100 pixels to the inch, in gray and in colour."""
    monkeypatch.chdir(tmp_path)
    rng = np.random.default_rng(3)
    for name, size in SIZES.items():
        gray = rng.integers(0, 65536, size).astype(np.uint16)
        pixels = np.stack([gray, gray // 2, gray], axis=-1) if name == "square" else gray
        tifffile.imwrite(f"{name}.tif", pixels, metadata=None, resolution=(100, 100),
                         photometric="rgb" if name == "square" else "minisblack")
    return tmp_path


@pytest.fixture
def make(here, monkeypatch):
    def call(names, output="film.tif", *, curve=None, film="a3", **settings):
        opened = Opened(curve or Straight(0.05, 0.9), "0" * 64, "")
        monkeypatch.setattr("tonewright.files.negative.batch.open_curve", lambda *_, **__: opened)
        chosen = NegativeSettings(date="2026-03-01", film=parse_film(film, "film"), **settings)
        return make_negatives([Path(f"{n}.tif") for n in names], Path("k.curve.json"),
                              Path(output), chosen)

    return call


def cut_out(film, place):
    """A negative cut out of its film, and turned back."""
    at = 100 / 25.4
    x, y, w, h = (round(mm * at) for mm in (place.x_mm, place.y_mm, place.width_mm,
                                             place.height_mm))
    piece = tifffile.imread(film.output)[y : y + h, x : x + w]
    return np.rot90(piece) if place.turned else piece


@pytest.mark.parametrize("mirror", [True, False])
@pytest.mark.parametrize("deflate", [True, False])
def test_each_is_the_negative_that_it_is_alone(make, mirror, deflate):
    batch = make(SIZES, sheet=SHEET, mirror=mirror, deflate=deflate)
    (film,) = batch.films
    assert [p.source.stem for p in film.places] != []
    assert {p.source.stem for p in film.places} == set(SIZES)
    for place in film.places:
        name = place.source.stem
        alone = NegativeSettings(date="2026-03-01", sheet=SHEET, mirror=mirror)
        report = make_negative(place.source, Straight(0.05, 0.9), f"{name}-alone.tif", alone)
        assert np.array_equal(cut_out(film, place), tifffile.imread(f"{name}-alone.tif"))
        laid = next(r for r in batch.reports if r.source == place.source)
        assert laid.output == film.output
        assert (laid.black_share, laid.findings) == (report.black_share, report.findings)
        ours, theirs = (read_target(f"{name}-{end}.target.json") for end in ("negative", "alone"))
        assert ours.patches == theirs.patches and ours.marks == theirs.marks


def test_a_picture_named_twice_gives_two_numbered_negatives(make):
    batch = make(["portrait", "square", "portrait"], sheet=SHEET)
    (film,) = batch.films
    assert [r.table.name for r in batch.reports] == [
        "portrait-1-negative.csv", "square-negative.csv", "portrait-2-negative.csv"]
    twins = [cut_out(film, p) for p in film.places if p.source.stem == "portrait"]
    assert sorted(p.title or "" for p in film.places) == ["", "1 portrait", "2 portrait"]
    assert len(twins) == 2 and not np.array_equal(*twins)  # their captions differ
    titles = [NegativeSettings(date="2026-03-01", sheet=SHEET, title=f"{n} portrait")
              for n in (1, 2)]
    for titled in titles:
        alone = Path(f"{titled.title}.tif")
        make_negative(Path("portrait.tif"), Straight(0.05, 0.9), alone, titled)
        assert any(np.array_equal(tifffile.imread(alone), twin) for twin in twins)


def test_numbers_never_make_two_negatives_of_one_name(make):
    Path("portrait-2.tif").write_bytes(Path("portrait.tif").read_bytes())
    with pytest.raises(OptionError, match=r"both become portrait-2-negative\.tif"):
        make(["portrait", "portrait", "portrait-2"])


def test_some_lie_turned_and_are_turned_as_a_whole(make):
    batch = make(["landscape", "portrait"], film="8x10", sheet=SHEET)
    assert any(place.turned for film in batch.films for place in film.places)
    for film in batch.films:
        for place in film.places:
            alone = f"{place.source.stem}-alone.tif"
            make_negative(place.source, Straight(0.05, 0.9), alone,
                          NegativeSettings(date="2026-03-01", sheet=SHEET))
            assert np.array_equal(cut_out(film, place), tifffile.imread(alone))


@pytest.mark.parametrize("ink", [None, "255,120,0"])
@pytest.mark.parametrize("depth", [8, 16])
def test_in_8_bits_and_in_colour(make, depth, ink):
    curve = Straight(0.05, 0.9, ink_colour=ink)
    (film,) = make(SIZES, curve=curve, depth=depth).films
    pixels = tifffile.imread(film.output)
    assert pixels.dtype == (np.uint8 if depth == 8 else np.uint16)
    assert pixels.shape[2:] == ((3,) if ink else ())
    place = next(p for p in film.places if p.source.stem == "portrait")
    make_negative(place.source, curve, "alone.tif", NegativeSettings(depth=depth))
    ours, theirs = cut_out(film, place), tifffile.imread("alone.tif")
    if depth == 16:
        assert np.array_equal(ours, theirs)
    else:  # the pattern lies otherwise; the tone is the same
        assert abs(ours.mean() - theirs.mean()) < 0.05
        assert np.abs(ours.astype(int) - theirs).max() <= 1


def test_resampled_turned_and_on_a_roll(make):
    batch = make(SIZES, film="400mm", size=SizeWish(width_mm=Fraction(60), ppi=Fraction(100),
                                                    rotate=90), sheet=SheetSettings(margin_mm=9))
    (film,) = batch.films
    assert film.width == round(400 / 25.4 * 100) and film.size_mm[1] < 140
    assert film.rule_mm == 100.0
    for place in film.places:
        make_negative(place.source, Straight(0.05, 0.9), "alone.tif", NegativeSettings(
            size=SizeWish(width_mm=Fraction(60), ppi=Fraction(100), rotate=90), force=True,
            sheet=SheetSettings(margin_mm=9)))
        assert np.array_equal(cut_out(film, place), tifffile.imread("alone.tif"))


def test_as_many_films_as_it_takes(make):
    size = SizeWish(height_mm=Fraction(70), ppi=Fraction(100))
    batch = make(SIZES, "films", film="5x7", size=size)
    names = [str(film.output) for film in batch.films]
    assert names == [str(Path("films") / f"film-{i}.tif") for i in (1, 2)]
    again = make(SIZES, "roll.tif", film="5x7", size=size)
    assert [f.output.name for f in again.films] == ["roll-1.tif", "roll-2.tif"]
    for film in batch.films:
        with tifffile.TiffFile(film.output) as file:
            page = file.pages[0]
            assert page.shape == (700, 500)
            assert page.description.startswith("Negative of ")
        assert film.rule_mm is None or film.rule_mm == 100.0


def test_the_same_images_give_the_same_film(make):
    (first,) = make(SIZES).films
    (second,) = make(SIZES, "again.tif").films
    assert first.output.read_bytes() == second.output.read_bytes()


def test_all_or_none(make, here):
    data = Path("landscape.tif").read_bytes()
    Path("landscape.tif").write_bytes(data[: len(data) // 2])
    before = sorted(p.name for p in here.iterdir())
    with pytest.raises((ImageError, FileError)):
        make(SIZES, sheet=SHEET)
    with pytest.raises((ImageError, FileError)):
        make(SIZES, "folder", sheet=SHEET)
    assert sorted(p.name for p in here.iterdir()) == before


def test_a_spoilt_strip_found_while_writing_leaves_nothing(make, here):
    """Of an image that opens well: its last strip cannot be unpacked."""
    pixels = np.random.default_rng(1).integers(0, 65536, (560, 400)).astype(np.uint16)
    tifffile.imwrite("landscape.tif", pixels, metadata=None, resolution=(100, 100),
                     photometric="minisblack", compression="zlib", rowsperstrip=40)
    with tifffile.TiffFile("landscape.tif") as file:
        start, size = file.pages[0].dataoffsets[-1], file.pages[0].databytecounts[-1]
    raw = bytearray(Path("landscape.tif").read_bytes())
    raw[start + size // 2 : start + size // 2 + 40] = bytes(40)
    Path("landscape.tif").write_bytes(bytes(raw))
    before = sorted(p.name for p in here.iterdir())
    with pytest.raises(ImageError):
        make(SIZES, film="5x7", sheet=SheetSettings(marks=True, tone_scale=True, margin_mm=10),
             size=SizeWish(height_mm=Fraction(90), ppi=Fraction(100)))
    assert sorted(p.name for p in here.iterdir()) == before


@pytest.mark.parametrize(("settings", "message"), [
    ({"film": "a6"}, r"portrait.tif is 101.6 x 142.2 mm. .*takes negatives of 85.9 x 137.9"),
    ({"film": "90mm"}, "roll of 90 mm takes negatives of 70.9 mm across"),
    ({"size": SizeWish(height_mm=Fraction(100))}, "different pixels to the inch"),
    ({"sheet": SHEET, "size": SizeWish(height_mm=Fraction(40), ppi=Fraction(100))},
     "the image portrait.tif: the longer side"),
])
def test_what_cannot_be_laid_on_film(make, here, settings, message):
    before = sorted(p.name for p in here.iterdir())
    with pytest.raises(OptionError, match=message):
        make(["portrait", "landscape"], **settings)
    assert sorted(p.name for p in here.iterdir()) == before


# As it is typed


@pytest.fixture
def run(here):
    Path("k.curve.json").write_bytes(EXAMPLE.read_bytes())
    return lambda *arguments: CliRunner().invoke(main, ["negative", *map(str, arguments)])


CALL = ("portrait.tif", "landscape.tif", "square.tif", "--curve", "k.curve.json", "-o", "film.tif")


def test_the_object_lists_files_and_places(run):
    done = run(*CALL, "--film", "a3", "--marks", "--tone-scale", "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    (film,) = found["films"]
    assert (film["output"], film["film"], film["rule_mm"]) == ("film.tif", "a3", 100.0)
    assert sorted(p["source"] for p in film["places"]) == sorted(CALL[:3])
    assert {o["output"] for o in found["outputs"]} == {"film.tif"}
    assert {o["target"] for o in found["outputs"]} == {
        f"{name}-negative.target.json" for name in SIZES}
    for made in found["outputs"]:
        assert is_blank(Path(made["table"]), read_target(made["target"]))
    for place in film["places"]:
        assert place["x_mm"] + place["width_mm"] <= 297 and place["y_mm"] >= 5
    assert read_curve("k.curve.json").name == found["outputs"][0]["curve"]


def test_the_report_says_where_to_cut(run):
    words = " ".join(run(*CALL, "--film", "a3").stdout.split())
    assert "Film film.tif film a3: 1169 x 1654 pixels" in words
    assert "portrait.tif: 142.2 x 101.6 mm" in words or "portrait.tif: 101.6 x 142.2 mm" in words
    assert "Measure the rule on it" in words and "along the marks at their corners" in words


@pytest.mark.parametrize(("more", "message"), [
    (("--film", "a9"), "--film is 'a9'"), (("--film", "20x30mm"), "60 mm wide at least"),
    (("--film", "a6"), "takes negatives of 85.9 x 137.9 mm"),
    (("--film", "610km"), "'km' is not a unit"), (("--film",), "--film has no value"),
    (("--film", "a3", "-o", "none/film.tif"), "there is no folder none"),
    (("--film", "a3", "-o", "portrait.tif", "--force"), "is also what is being read"),
    (("--film", "a3", "-o", "k.curve.json"), "A film is a TIFF file"),
    (("--film", "a3", "--marks", "--margin", "4mm"), "margin"),
    (("nothing.tif", "--film", "a3"), "there is no file nothing.tif"),
])
def test_wrong_films_are_refused(run, more, message):
    assert message in said_by(run, *CALL, *more)


def test_existing_films_and_documents_are_kept(run):
    Path("film.tif").write_bytes(b"mine")
    assert "film.tif is there already" in said_by(run, *CALL, "--film", "a3")
    Path("film.tif").unlink()
    Path("square-negative.target.json").write_bytes(b"mine")
    assert "square-negative.target.json is there already" in said_by(
        run, *CALL, "--film", "a3", "--tone-scale")
    Path("square-negative.target.json").unlink()
    Path("square-negative.csv").write_text("patch,density\nA1,1.6\n", encoding="utf-8")
    assert "square-negative.csv holds measurements" in said_by(
        run, *CALL, "--film", "a3", "--tone-scale", "--force")
    assert not Path("film.tif").exists()


def test_two_images_of_one_name_and_sizes_unknown(run):
    Path("more").mkdir()
    Path("more/portrait.tif").write_bytes(Path("portrait.tif").read_bytes())
    assert "would both become portrait-negative.tif" in said_by(
        run, *CALL, "more/portrait.tif", "--film", "a3")
    tifffile.imwrite("bare.tif", np.zeros((50, 60), np.uint16), photometric="minisblack")
    assert "bare.tif does not say its size" in said_by(run, *CALL, "bare.tif", "--film", "a3")


def test_a_film_is_a_negative_already(run):
    assert run(*CALL, "--film", "a3").exit_code == 0
    assert "is already a negative" in said_by(
        run, "film.tif", "--curve", "k.curve.json", "-o", "again.tif")


def test_a_worksheet_has_a_sheet_for_each_negative_on_a_film(run):
    """Each is coated by itself, whichever way it lay."""
    assert run(*CALL, "--film", "a3").exit_code == 0
    done = CliRunner().invoke(main, ["worksheet", "k.curve.json", "film.tif", "-o", "w.html",
                                     "--json"])
    assert done.exit_code == 0, done.output
    found = {s["negative"]: s["size_mm"] for s in json.loads(done.stdout)["sheets"]}
    assert found == {f"film.tif: {name}.tif": [round(25.4 * w / 100, 1), round(25.4 * h / 100, 1)]
                     for name, (h, w) in SIZES.items()}


def test_a_worksheet_spells_a_name_as_the_file_does(run):
    """The ASCII tag holds "b Hoefe & co", XMP the name itself; XMP of another text is not taken."""
    Path("b Höfe & co.tif").write_bytes(Path("portrait.tif").read_bytes())
    assert run("b Höfe & co.tif", *CALL, "--film", "a3").exit_code == 0

    def names():
        done = CliRunner().invoke(main, ["worksheet", "k.curve.json", "film.tif", "-o", "w.html",
                                         "--json", "--force"])
        return {s["negative"] for s in json.loads(done.stdout)["sheets"]}

    assert "film.tif: b Höfe & co.tif" in names()
    film = Path("film.tif").read_bytes()
    Path("film.tif").write_bytes(film.replace("Höfe".encode(), "Häfe".encode()))
    assert "film.tif: b Hoefe & co.tif" in names()
