"""`tonewright negative` as it is typed."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

from commands import refused, said
from straight import Straight
from tonewright.cli import main
from tonewright.curve.findings import FewLevels, PrintsDisagree
from tonewright.files.documents import Opened, read_curve, write_document
from tonewright.record.times import PrintingTime
from tonewright.strip.findings import StripTooShort


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs the command in an empty folder with a stand-in for the curve."""
    monkeypatch.chdir(tmp_path)
    opened = Opened(Straight(0.05, 0.65), "", "k.curve.json")
    monkeypatch.setattr("tonewright.files.negative.batch.open_curve", lambda *_, **__: opened)

    def call(*arguments):
        return CliRunner().invoke(main, ["negative", *arguments, "--curve", "k.curve.json"])

    return call


def save(path, shape=(240, 360), **options):
    values = np.zeros(shape, np.uint16)
    tifffile.imwrite(path, values, photometric="minisblack", metadata=None, **options)


def test_no_mirror_is_done_and_said(run, tmp_path):
    values = np.tile(np.arange(300, dtype=np.uint16) * 200, (10, 1))
    tifffile.imwrite("i.tif", values, photometric="minisblack", metadata=None)
    assert run("i.tif", "-o", "m.tif").exit_code == 0
    result = run("i.tif", "-o", "n.tif", "--no-mirror")
    assert "wrong way round" in " ".join(result.stdout.split())
    plain, mirrored = tifffile.imread("n.tif"), tifffile.imread("m.tif")
    assert np.array_equal(plain, mirrored[:, ::-1])
    assert plain[0, 0] > plain[0, -1]


def test_json_is_one_object_and_nothing_else(run, tmp_path):
    ramp = np.linspace(0, 65535, 240 * 360).astype(np.uint16).reshape(240, 360)
    tifffile.imwrite("i.tif", ramp, photometric="minisblack", metadata=None, resolution=(300, 300))
    result = run("i.tif", "-o", "n.tif", "--json", "--encoding", "srgb")
    found = json.loads(result.stdout)
    assert found["output"] == "n.tif"
    assert (found["width"], found["height"]) == (360, 240)
    assert found["pixels_per_inch"] == [300, 300]
    assert (found["encoding"], found["mirrored"], found["warnings"]) == ("srgb", True, [])
    assert found["findings"] == []
    assert found["level_black"] == pytest.approx(0.05)


def test_several_images_go_into_a_folder(run, tmp_path):
    for name in "ab":
        save(tmp_path / f"{name}.tif")
    result = run("a.tif", "b.tif", "-o", "out", "--json")
    outputs = json.loads(result.stdout)["outputs"]
    assert [found["width"] for found in outputs] == [360, 360]
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "a-negative.tif",
        "b-negative.tif",
    ]


def test_a_bad_image_among_several_is_named_at_the_end(run, tmp_path):
    save(tmp_path / "a.tif")
    save(tmp_path / "c.tif")
    (tmp_path / "b.tif").write_text("words", encoding="utf-8")
    result = run("a.tif", "b.tif", "c.tif", "-o", "out")
    assert result.exit_code == 2
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "a-negative.tif",
        "c-negative.tif",
    ]
    assert "1 of 3 images" in result.stderr
    assert re.search(r"b\.tif is not a TIFF.*16-bit gray", result.stderr)
    assert "a-negative.tif" in result.stdout
    again = run("a.tif", "b.tif", "c.tif", "-o", "out", "--force", "--json")
    found = json.loads(again.stdout)
    assert [f["source"] for f in found["failures"]] == ["b.tif"]
    assert len(found["outputs"]) == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["text.tif", "-o", "n.tif"], r"text\.tif is not a TIFF.*16-bit gray"),
        (["gone.tif", "-o", "n.tif"], r"no file gone\.tif"),
        (["i.tif", "-o", "old.tif"], r"old\.tif is there already.*--force"),
        (["i.tif", "-o", "i.tif", "--force"], r"i\.tif is the image itself"),
        (["i.tif", "-o", "none/n.tif"], "no folder none"),
        (["i.tif", "-o", "n.png"], r"n\.tif"),
        (["i.tif", "i.tif", "-o", "n.tif"], "folder"),
        (["i.tif", "-o", "n.tif", "--encoding", "film"], "gamma:2.2"),
        (["i.tif", "-o", "n.tif", "--encoding", ""], "gamma:2.2"),
        (["i.tif", "-o", "n.tif", "--crop", "1,2,3,4"], "editor"),
        (["i.tif", "-o", "n.tif", "--width", "200"], "--width.*200mm"),
        (["i.tif", "-o", "n.tif", "--margin", "3m"], "'m' is not a unit.*mm, cm or in"),
        (["i.tif", "-o", "n.tif", "--width", "3 ft"], "'ft' is not a unit.*mm, cm or in"),
        (["i.tif", "-o", "n.tif", "--width", "6000mm"], "between 1 and 5000 mm"),
        (["i.tif", "-o", "n.tif", "--width", "0mm"], "between 1 and 5000 mm"),
        (["i.tif", "-o", "n.tif", "--margin", "0mm", "--border", "opaque"], "margin 0 mm.*14mm"),
        (["i.tif", "-o", "n.tif", "--margin", "0mm", "--marks"], "margin is 0 mm.*--margin 14mm"),
        (["folder", "-o", "n.tif"], "folder is a folder.*a file in it"),
        (["i.tif", "-o", "n.tif", "--width", "nan mm"], "--width.*200mm"),
        (["i.tif", "-o", "n.tif", "--width", "200mm", "--height", "90mm"], "crop"),
        (["i.tif", "-o", "n.tif", "--ppi", "0"], "--ppi.*10 to 10000"),
        (["i.tif", "-o", "n.tif", "--ppi", "inf"], "--ppi.*10 to 10000"),
        (["i.tif", "-o", "n.tif", "--width", "5000mm", "--ppi", "10000"], "smaller size"),
        (["i.tif", "-o", "n.tif", "--marks"], "does not say its size.*--width"),
        (["i.tif", "-o", "n.tif", "--marks", "--margin", "3mm"], "3 mm.*8 mm.*--margin 14mm"),
        (["i.tif", "-o", "n.tif", "--width", "30mm", "--tone-scale"], "82 mm.*--no-tone-scale"),
        (["i.tif", "-o", "n.tif", "--ink-colour", "255,120"], "255,120,0"),
        (["i.tif", "-o", "n.tif", "--ink-colour", "255,255,255"], "clear film"),
        (["i.tif", "-o", "n.tif", "--ink-colour", "255,120,0"],
         "made from a target in gray.*target --ink-colour 255,120,0"),
        (["i.tif", "-o", "n.tif", "--page", "2"], "has one page"),
        (["i.tif", "-o", "n.tif", "--layout", "text.tif"], "not a sheet file.*--save-layout"),
        (["i.tif", "-o", "n.tif", "--layout", "none.toml"], "no file none"),
        (["i.tif", "-o", "n.tif", "--save-layout", "old.tif"], "is there already"),
        (["i.tif", "-o", "n.tif", "--save-layout", "n.tif"], "already used"),
        (["rgba.tif", "-o", "n.tif"], "--flatten"),
        (["pages.tif", "-o", "n.tif"], "2 pages.*--page 1"),
        (["float.tif", "-o", "n.tif"], "floating-point.*editor"),
    ],
)
def test_bad_use_is_one_message_and_nothing_written(run, tmp_path, arguments, words):
    save(tmp_path / "i.tif")
    (tmp_path / "text.tif").write_text("words", encoding="utf-8")
    (tmp_path / "old.tif").write_bytes(b"old")
    gray = np.zeros((30, 40), np.uint16)
    tifffile.imwrite("rgba.tif", np.zeros((30, 40, 4), np.uint16), photometric="rgb",
                     extrasamples=["unassalpha"], metadata=None)
    tifffile.imwrite("pages.tif", np.stack([gray, gray]), photometric="minisblack", metadata=None)
    tifffile.imwrite("float.tif", gray.astype(np.float32), photometric="minisblack", metadata=None)
    (tmp_path / "folder").mkdir()
    assert re.search(words, said(run, *arguments))


COMMAND = "from tonewright.cli import main; main()"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes here")
@pytest.mark.parametrize("what", ["image", "curve", "layout"])
def test_a_pipe_is_refused_and_not_waited_for(tmp_path, monkeypatch, what):
    monkeypatch.chdir(tmp_path)
    save(tmp_path / "image")
    (tmp_path / fitted(tmp_path)).rename(tmp_path / "curve")
    (tmp_path / "layout").write_text("", encoding="utf-8")
    (tmp_path / what).unlink()
    os.mkfifo(tmp_path / what)
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, "negative", "image", "--curve", "curve", "--layout",
         "layout", "-o", "n.tif"],
        cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert re.search(rf"{what} is not an ordinary file.*in a file", done.stderr)
    assert not (tmp_path / "n.tif").exists()


def test_a_pipe_among_several_images_stops_none_of_them(run, tmp_path):
    if not hasattr(os, "mkfifo"):
        pytest.skip("there are no named pipes here")
    save(tmp_path / "a.tif")
    os.mkfifo(tmp_path / "b.tif")
    (tmp_path / "c.tif").mkdir()
    result = run("a.tif", "b.tif", "c.tif", "-o", "out")
    assert result.exit_code == 2
    assert "2 of 3 images" in result.stderr
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["a-negative.tif"]


@pytest.mark.parametrize(("kind", "called"), [
    ("process", "this is a strip's process file"), ("target", "this is a target's layout"),
    ("setup", 'its format is "tonewright-setup"')])
def test_a_document_of_the_wrong_kind_is_named(tmp_path, monkeypatch, kind, called):
    monkeypatch.chdir(tmp_path)
    save(tmp_path / "i.tif")
    document = {"format": f"tonewright-{kind}", "version": 1}
    (tmp_path / "other.json").write_text(json.dumps(document), encoding="utf-8")
    result = CliRunner().invoke(
        main, ["negative", "i.tif", "--curve", "other.json", "-o", "n.tif"]
    )
    assert result.exit_code == 2
    assert f"other.json: {called}. A correction curve is needed" in result.stderr


def test_a_layout_given_as_a_curve_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    save(tmp_path / "i.tif")
    (tmp_path / "my-sheet.toml").write_text('margin = "14mm"\n', encoding="utf-8")
    arguments = ["negative", "i.tif", "--curve", "my-sheet.toml", "-o", "n.tif"]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2
    assert "my-sheet.toml is not a correction curve" in result.stderr


@pytest.mark.parametrize("zero", ["0", "0mm", "0 cm", "0.0in"])
def test_a_margin_of_nothing_is_no_margin(run, tmp_path, zero):
    """Also where the layout has one: what is typed wins."""
    save(tmp_path / "i.tif", resolution=(300, 300))
    (tmp_path / "l.toml").write_text('margin = "14mm"\nborder = "opaque"\n', encoding="utf-8")
    found = json.loads(
        run("i.tif", "-o", "n.tif", "--layout", "l.toml", "--margin", zero, "--json").stdout
    )
    assert (found["margin_mm"], found["border"]) == (0.0, None)
    assert tifffile.imread("n.tif").shape == (240, 360)


def test_a_caption_that_is_cut_short_is_told(run, tmp_path):
    name = "portrait-of-a-lighthouse-keeper-in-the-evening-light-of-a-november-day"
    save(tmp_path / f"{name}.tif", (300, 400), resolution=(254, 254))
    result = run(f"{name}.tif", "-o", "n.tif", "--caption", "--json")
    (told,) = [f for f in json.loads(result.stdout)["findings"] if f["code"] == "caption_cut"]
    assert told["cut"][0] == name
    text = " ".join(run(f"{name}.tif", "-o", "o.tif", "--caption").stdout.split())
    assert "shortened or left out; print the picture larger" in text
    save(tmp_path / "short.tif", (300, 1400), resolution=(254, 254))
    result = run("short.tif", "-o", "m.tif", "--caption", "--json")
    assert "caption_cut" not in result.stdout


@pytest.mark.parametrize("shape", [(60, 80), (60, 80, 3)])
@pytest.mark.parametrize("suffix", ["tif", "png"])
def test_8_bits_are_told_as_what_they_are(run, tmp_path, shape, suffix):
    """Three channels of 256 steps mix to far more tones than that."""
    data = np.random.default_rng(1).integers(0, 256, shape).astype(np.uint8)
    if suffix == "png":
        Image.fromarray(data).save(tmp_path / "i.png")
    else:
        kind = "rgb" if data.ndim == 3 else "minisblack"
        tifffile.imwrite("i.tif", data, photometric=kind, metadata=None)
    found = json.loads(run(f"i.{suffix}", "-o", "n.tif", "--json").stdout)
    assert {"code": "few_tones", "colour": data.ndim == 3} in found["findings"]
    assert len(np.unique(tifffile.imread("n.tif"))) > (256 if data.ndim == 3 else 100)


def test_force_replaces(run, tmp_path):
    save(tmp_path / "i.tif")
    (tmp_path / "old.tif").write_bytes(b"old")
    assert run("i.tif", "-o", "old.tif", "--force").exit_code == 0
    assert tifffile.imread("old.tif").shape == (240, 360)


def fitted(tmp_path, setup=""):
    """A real curve, fitted to invented readings by the command itself."""
    from tonewright.virtual.darkroom import Darkroom, measure_target

    readings = measure_target(Darkroom(), np.linspace(0.0, 1.0, 31), 2, seed=1).readings
    rows = [f"{p.level:.5f},{p.density:.4f}" for p in readings.patches]
    (tmp_path / "r.csv").write_text("\n".join(["level,density", *rows]), encoding="utf-8")
    (tmp_path / "s.toml").write_text(setup, encoding="utf-8")
    arguments = ["fit", "r.csv", "-o", "real.curve.json", "--setup", "s.toml"]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    return "real.curve.json"


def test_the_ink_colour_goes_from_the_setup_through_the_curve_into_the_negative(
    tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    curve = fitted(tmp_path, 'ink_colour = "255,120,0"\nprinting_time = "5 min"\n')
    save(tmp_path / "i.tif")

    def call(output, *more):
        arguments = ["negative", "i.tif", "--curve", curve, "-o", output, *more]
        return CliRunner().invoke(main, arguments)

    result = call("n.tif", "--depth", "8")
    assert result.exit_code == 0, result.output
    text = " ".join(result.stdout.split())
    assert "8-bit RGB, white is clear film, 255,120,0 the heaviest ink" in text
    assert "dithered" in text
    seen = tifffile.imread("n.tif")
    assert seen.shape == (240, 360, 3)
    assert (seen[..., 0] == 255).all()
    assert call("m.tif", "--ink-colour", "255,120,0").exit_code == 0
    other = call("o.tif", "--ink-colour", "0,0,255")
    assert other.exit_code == 2
    assert "255,120,0" in other.stderr
    assert not (tmp_path / "o.tif").exists()


def test_what_the_curve_knows_comes_first_with_the_printing_time(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    curve = fitted(tmp_path, 'printing_time = "8 min 30 s"\n')
    known = read_curve(curve)
    bears = StripTooShort(PrintingTime(1800.0)), PrintsDisagree(2.4)
    write_document(curve, replace(known, findings=(FewLevels(7), *bears)), force=True)
    for name in "ab":
        save(tmp_path / f"{name}.tif", resolution=(300, 300))
    arguments = ["negative", "a.tif", "b.tif", "--curve", curve, "--encoding", "srgb"]
    text = CliRunner().invoke(main, [*arguments, "-o", "one"]).stdout
    head = " ".join(text.partition("\nImage ")[0].split())
    assert head.startswith("Curve real time print for 8 min 30 s; the curve may be for the wrong")
    assert head.count("warning") == 2
    assert "print another strip for 30 min" in head and "disagree 2.4 times" in head
    assert text.count("disagree 2.4 times") == 1  # once, not for every image
    found = json.loads(CliRunner().invoke(main, [*arguments, "-o", "two", "--json"]).stdout)
    for one in found["outputs"]:
        assert one["printing_time"] == "8 min 30 s"
        codes = [finding["code"] for finding in one["findings"]]
        assert codes[:2] == ["strip_too_short", "prints_disagree"] and "few_levels" not in codes
        assert "times are extrapolated" in one["warnings"][0]
        assert len(one["warnings"]) == len(codes)


def test_a_curve_without_a_time_says_so(run, tmp_path):
    save(tmp_path / "i.tif")
    result = run("i.tif", "-o", "n.tif", "--json")
    assert json.loads(result.stdout)["printing_time"] is None
    assert "does not say how long to print" in run("i.tif", "-o", "m.tif").stdout


def test_a_negative_and_a_target_are_not_made_negatives_again(run, tmp_path):
    save(tmp_path / "i.tif", resolution=(300, 300))
    assert run("i.tif", "-o", "n.tif", "--width", "150mm", "--tone-scale").exit_code == 0
    done = CliRunner().invoke(main, ["target", "-o", "t.tif", "--name", "Moor", "--ppi", "100"])
    assert done.exit_code == 0
    told = said(run, "n.tif", "-o", "again.tif")
    assert "n.tif is already a negative" in told and "--anyway" in told
    told = said(run, "t.tif", "-o", "again.tif")
    assert "t.tif is already a target" in told and "without a curve" in told
    assert run("n.tif", "-o", "again.tif", "--anyway").exit_code == 0
    assert (tmp_path / "again.tif").exists()


def test_a_layout_beside_an_image_of_its_size_tells_what_it_is(run, tmp_path):
    """An editor that saves a target anew keeps none of its words."""
    arguments = ["target", "-o", "t.tif", "--ppi", "100", "--size", "130x180mm"]
    assert CliRunner().invoke(main, arguments).exit_code == 0
    codes = tifffile.imread("t.tif")
    for image in (codes, np.rot90(codes)):
        tifffile.imwrite("t.tif", image, photometric="minisblack", metadata=None)
        assert "t.target.json is its layout" in said(run, "t.tif", "-o", "n.tif")
    save(tmp_path / "t.tif")  # the picture itself, whose negative has lain beside it
    assert run("t.tif", "-o", "n.tif").exit_code == 0
    (tmp_path / "t.target.json").write_text("{", encoding="utf-8")
    assert run("t.tif", "-o", "m.tif").exit_code == 0


def test_names_in_other_letters_reach_film_and_file(run, tmp_path):
    name = "Büttenpapier – Зима & Χειμώνας"
    save(tmp_path / f"{name}.tif", (300, 1400), resolution=(254, 254))
    result = run(f"{name}.tif", "-o", "n.tif", "--caption", "--json")
    assert "letters_not_drawn" not in result.stdout
    with Image.open("n.tif") as image:
        plain = image.tag_v2[270]
        assert name in "".join(ElementTree.fromstring(image.tag_v2[700]).itertext())
    with tifffile.TiffFile("n.tif") as file:
        assert file.pages[0].description == plain
    assert plain.startswith("Negative of Buettenpapier - Zima & Cheimonas.tif by tonewright ")
    save(tmp_path / "写真 moor.tif", (300, 1400), resolution=(254, 254))
    found = json.loads(run("写真 moor.tif", "-o", "m.tif", "--caption", "--json").stdout)
    assert {"code": "letters_not_drawn", "letters": "写真"} in found["findings"]


@pytest.mark.skipif(os.name == "nt", reason="no such names there")
def test_control_characters_stay_out_of_the_tags(run, tmp_path):
    name = "a\x1b[31m\nb\u202e"
    save(tmp_path / f"{name}.tif")
    assert run(f"{name}.tif", "-o", "n.tif").exit_code == 0
    with Image.open("n.tif") as image:
        assert image.tag_v2[270].startswith("Negative of a[31mb.tif by tonewright")
        assert image.tag_v2[270].isprintable() and 700 not in image.tag_v2


def test_a_real_curve_tells_what_the_negative_holds(tmp_path, monkeypatch):
    """An 8-bit image of linear values bands in the shadows; half of it is black."""
    monkeypatch.chdir(tmp_path)
    curve = fitted(tmp_path)
    values = np.zeros((100, 256), np.uint8)
    values[50:] = np.arange(256)
    tifffile.imwrite("i.tif", values, photometric="minisblack", metadata=None)
    arguments = ["negative", "i.tif", "--curve", curve, "-o", "n.tif", "--encoding", "linear"]
    found = json.loads(CliRunner().invoke(main, [*arguments, "--json"]).stdout)
    codes = [finding["code"] for finding in found["findings"]]
    assert {"visible_steps", "black_tones_lost"} <= set(codes)
    assert len(found["warnings"]) == len(codes)
    assert found["black_share"] == pytest.approx(0.502, abs=0.02)
    assert found["largest_step_lightness"] > 1.0
    assert found["distinct_levels"] <= 256


def test_the_layout_is_remembered_and_single_options_win(run, tmp_path):
    save(tmp_path / "i.tif", (900, 600), resolution=(150, 150))
    first = run("i.tif", "-o", "a.tif", "--marks", "--tone-scale", "--caption", "--margin", "16mm",
                "--border", "opaque", "--ppi", "100", "--save-layout", "my-sheet.toml")
    assert first.exit_code == 0, first.output
    assert run("i.tif", "-o", "b.tif", "--layout", "my-sheet.toml").exit_code == 0
    assert np.array_equal(tifffile.imread("a.tif"), tifffile.imread("b.tif"))
    assert (tmp_path / "b.target.json").exists()
    result = run("i.tif", "-o", "c.tif", "--layout", "my-sheet.toml", "--no-tone-scale",
                 "--border", "clear", "--json")  # fmt: skip
    found = json.loads(result.stdout)
    assert (found["border"], found["margin_mm"], found["target"]) == ("clear", 16.0, None)
    assert (tmp_path / "my-sheet.toml").read_text(encoding="utf-8").count("\n") >= 6


def test_a_border_named_alone_is_drawn(run, tmp_path):
    save(tmp_path / "i.tif", (300, 200), resolution=(254, 254))
    assert run("i.tif", "-o", "n.tif", "--border", "opaque").exit_code == 0
    seen = tifffile.imread("n.tif")
    assert seen.shape == (300 + 280, 200 + 280)
    assert (seen[:140] == 0).all()
    assert (seen[140:-140, 140:-140] == round(65535 * 0.95)).all()


@pytest.mark.parametrize("value", [(4294967295, 1), (1, 4294967295), (20_000, 1), (5000, 1)])
def test_a_border_for_an_impossible_resolution_is_refused_at_once(run, tmp_path, value):
    """The resolution comes from the file: millimetres become pixels, and those cost memory."""
    save(tmp_path / "i.tif", resolution=(value, value))
    for options in (["--margin", "300mm"], ["--margin", "290mm", "--marks", "--caption"]):
        assert "pixels to the inch" in refused(run, "i.tif", "-o", "n.tif", *options)
