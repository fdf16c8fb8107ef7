"""One call for the whole job: one image or several, each by itself, by a curve's file."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
import tifffile

from disk import disk_of
from tonewright.errors import FileError, OptionError
from tonewright.files.negative import second
from tonewright.files.negative.batch import Step, make_negatives, output_names
from tonewright.files.negative.settings import NegativeSettings
from tonewright.negative.sheet import SheetSettings

FULL_SHEET = SheetSettings(marks=True, tone_scale=True, caption=True)


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def save(path, shape=(150, 200), **options):
    values = np.random.default_rng(2).integers(0, 65536, shape).astype(np.uint16)
    options = {"resolution": (72, 72), **options}
    tifffile.imwrite(path, values, photometric="minisblack", metadata=None, **options)
    return path


def test_one_image_becomes_the_file_that_was_named(tmp_path, curve_file):
    source, told = save(tmp_path / "i.tif"), []
    made = make_negatives([source], curve_file, tmp_path / "n.tif", on_progress=told.append)
    assert [report.output for report in made.reports] == [tmp_path / "n.tif"]
    assert names(tmp_path) == ["i.tif", "n.tif"]
    with tifffile.TiffFile(tmp_path / "n.tif") as file:
        assert hashlib.sha256(curve_file.read_bytes()).hexdigest() in file.pages[0].description
    assert told[-1] == Step(source, 1, 1, 1.0)
    with pytest.raises(FileError, match="text"):  # the only image: its error is the error
        make_negatives([tmp_path / "text.tif"], curve_file, tmp_path / "m.tif")


def test_the_curve_is_read_once(tmp_path, curve_file, monkeypatch):
    """What is recorded is the fingerprint of the bytes that were used."""
    opened, read = [], Path.open

    def counted(self, *arguments, **options):
        opened.append(self)
        return read(self, *arguments, **options)

    monkeypatch.setattr(Path, "open", counted)
    make_negatives([save(tmp_path / "i.tif")], curve_file, tmp_path / "n.tif")
    assert opened.count(curve_file) == 1


def test_the_sheet_file_fills_in_what_was_not_said(tmp_path, curve_file):
    source = save(tmp_path / "i.tif", (400, 300))
    (tmp_path / "s.toml").write_text('margin = "16mm"\nmarks = true\nppi = 144\n', encoding="utf-8")
    chosen = NegativeSettings(sheet=SheetSettings(marks=False, border="opaque"),
                              sheet_file=tmp_path / "s.toml", save_sheet=tmp_path / "t.toml")
    (report,) = make_negatives([source], curve_file, tmp_path / "n.tif", chosen).reports
    assert report.sheet == SheetSettings(16.0, "opaque", False)
    assert report.resolution.per_inch == (144, 144)
    saved = (tmp_path / "t.toml").read_text(encoding="utf-8").splitlines()[1:]
    assert saved == ['margin = "16mm"', 'border = "opaque"', "marks = false", "ppi = 144"]


def test_a_sheet_is_saved_under_a_name_of_its_own(tmp_path, curve_file):
    source = save(tmp_path / "i.tif")
    for name, error in (("n.tif", OptionError), ("i.tif", FileError)):
        chosen = NegativeSettings(save_sheet=tmp_path / name)
        with pytest.raises(error):
            make_negatives([source], curve_file, tmp_path / "n.tif", chosen)
    assert names(tmp_path) == ["i.tif"]


def test_one_bad_image_does_not_stop_the_rest(tmp_path, curve_file):
    good = [save(tmp_path / "image.tif"), save(tmp_path / "second.tif")]
    bad = tmp_path / "text.tif"
    bad.write_text("words", encoding="utf-8")
    told = []
    made = make_negatives(
        [good[0], bad, good[1]], curve_file, tmp_path / "new", on_progress=told.append)
    assert names(tmp_path / "new") == ["image-negative.tif", "second-negative.tif"]
    assert [report.output.name for report in made.reports] == names(tmp_path / "new")
    assert [failure.source for failure in made.failures] == [bad]
    assert isinstance(made.failures[0].error, FileError)
    assert told == [Step(good[0], 1, 3), Step(bad, 2, 3), Step(good[1], 3, 3)]


def test_one_image_too_large_for_the_disk_does_not_stop_the_rest(tmp_path, curve_file):
    images = [save(tmp_path / "a.tif"), save(tmp_path / "b.tif", (1500, 1000)),
              save(tmp_path / "c.tif")]
    with disk_of(1_000_000):
        made = make_negatives(images, curve_file, tmp_path / "out")
    assert names(tmp_path / "out") == ["a-negative.tif", "c-negative.tif"]
    assert [failure.source.name for failure in made.failures] == ["b.tif"]


def test_an_image_without_a_size_does_not_stop_the_rest(tmp_path, curve_file):
    images = [save(tmp_path / "a.tif", (600, 400), resolutionunit=1),
              save(tmp_path / "b.tif", (600, 400))]
    chosen = NegativeSettings(sheet=FULL_SHEET)
    made = make_negatives(images, curve_file, tmp_path / "out", chosen)
    assert [failure.error.code for failure in made.failures] == ["picture_size_unknown"]
    assert names(tmp_path / "out") == [
        "b-negative.csv", "b-negative.target.json", "b-negative.tif"]


def test_no_image_at_all_leaves_no_folder(tmp_path, curve_file):
    made = make_negatives([tmp_path / "a.tif", tmp_path / "b.tif"], curve_file, tmp_path / "new")
    assert len(made.failures) == 2
    assert names(tmp_path) == []


@pytest.mark.parametrize("settings", [{"encoding": "film"}, {"ink_colour": "255,120,0"}])
def test_settings_that_no_image_can_have_stop_all_at_once(tmp_path, curve_file, settings):
    images = [save(tmp_path / "image.tif"), tmp_path / "b.tif"]
    with pytest.raises(OptionError):
        make_negatives(images, curve_file, tmp_path / "new", NegativeSettings(**settings))
    assert names(tmp_path) == ["image.tif"]


def test_many_large_images_get_a_second_process(tmp_path, curve_file, monkeypatch):
    """One that is started here is also ended here; one that was given is not."""
    started = []

    class Lazy(second.Second):
        def __init__(self):
            super().__init__()
            started.append(self)

    monkeypatch.setattr(second, "second_for", lambda images: Lazy())
    images = [save(tmp_path / f"{n}.tif") for n in range(3)]
    make_negatives(images, curve_file, tmp_path / "a")
    assert [other._process.poll() for other in started] == [0]
    with Lazy() as other:
        make_negatives(images, curve_file, tmp_path / "b", second=other)
        assert other._process.poll() is None
    assert len(started) == 2
    assert names(tmp_path / "a") == names(tmp_path / "b")


def test_output_names(tmp_path):
    one, two = Path("a/x.tif"), Path("b/X.tif")
    assert output_names([one], Path("n.TIF")) == [(one, Path("n.TIF"))]
    assert output_names([one], tmp_path) == [(one, tmp_path / "x-negative.tif")]
    with pytest.raises(OptionError, match=r"n\.tif"):
        output_names([one], Path("n.png"))
    with pytest.raises(OptionError, match="folder"):
        output_names([one, two], Path("n.tif"))
    with pytest.raises(OptionError, match="different names"):
        output_names([one, two], tmp_path)
