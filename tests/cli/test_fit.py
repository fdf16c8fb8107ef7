"""`tonewright fit` as it is typed, in the right order and in the wrong one."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import commands
from commands import files
from tonewright.cli import main
from tonewright.files.documents import read_curve
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_target

LEVELS = np.linspace(0.0, 1.0, 21)
DENSITY = np.round(Darkroom().print_density(LEVELS), 3)
PROMISED = {
    "black_lightness", "white_lightness", "level_black", "level_white", "noise_density_sd",
    "doubtful", "band_halfwidth_mean", "band_halfwidth_max", "negative_density_range",
}  # fmt: skip


def table(name, level=LEVELS, density=DENSITY, head="level,density"):
    rows = [f"{u},{d}" for u, d in zip(level, density, strict=True)]
    Path(name).write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")


def target(name, **flaws):
    """A target of the virtual darkroom, with names of patches and sheets."""
    found = measure_target(Darkroom(), LEVELS, flaws=Flaws(**flaws), seed=4).readings.patches
    rows = [f"{p.level:.4f},{p.density:.4f},{p.patch},{p.print_name}" for p in found]
    Path(name).write_text("\n".join(["level,density,patch,print", *rows]), encoding="utf-8")


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs `tonewright` in a folder that holds one good measurement, a.csv."""
    monkeypatch.chdir(tmp_path)
    table("a.csv")
    return lambda *arguments: CliRunner().invoke(main, arguments)


@pytest.fixture
def fitted(run):
    done = run("fit", "a.csv", "-o", "a.curve.json")
    assert done.exit_code == 0, done.output
    return Path("a.curve.json")


def refused(run, *arguments):
    """The one message of a command that must fail, having changed nothing."""
    message = commands.refused(run, *arguments)
    assert message.startswith("tonewright fit: ") and message.count("\n") == 1
    return message


def test_writes_a_curve_and_says_what_comes_next(run, fitted):
    curve = read_curve(fitted)
    assert curve.name == "a"
    np.testing.assert_array_equal(curve.readings.density, DENSITY)
    done = run("fit", "a.csv", "-o", "b.curve.json")
    assert "Written:  b.curve.json" in done.stdout
    assert "tonewright negative IMAGE.tif --curve b.curve.json" in done.stdout
    assert done.stderr == ""
    assert sorted(files()) == ["a.csv", "a.curve.json", "b.curve.json"]


def test_json_is_one_object_and_nothing_else(run):
    done = run("fit", "a.csv", "-o", "a.curve.json", "--json")
    assert done.exit_code == 0
    assert done.stderr == ""
    found = json.loads(done.stdout)
    assert set(found) >= PROMISED
    assert found["negative_density_range"] is None
    assert found["doubtful"] == []
    assert found["output"] == "a.curve.json"
    curve = read_curve("a.curve.json")
    for name in PROMISED - {"doubtful"}:
        assert found[name] == getattr(curve.summary, name)
    assert found["findings"] == found["warnings"] == []
    assert found["next"]["code"] == "make_negative"


def test_json_names_a_stain_that_can_be_left_out(run):
    target("s.csv", stains=1, noise_density_sd=0.01)
    first = json.loads(run("fit", "s.csv", "-o", "s.curve.json", "--json").stdout)
    (doubt,) = first["doubtful"]
    assert doubt["off_by_density"] == pytest.approx(0.15, abs=0.04)
    done = run("fit", "s.csv", "-o", "t.curve.json", "--json", "--leave-out", doubt["patch"])
    second = json.loads(done.stdout)
    assert second["doubtful"] == []
    assert second["noise_density_sd"] < 0.6 * first["noise_density_sd"]
    assert read_curve("t.curve.json").settings.left_out == (doubt["patch"],)
    assert "--leave-out" in run("fit", "s.csv", "-o", "u.curve.json").stdout


def test_several_files_are_read_as_one(run):
    table("b.csv", density=DENSITY + 0.01)
    done = run("fit", "a.csv", "b.csv", "-o", "ab.curve.json")
    assert "42 patches of 21 ink levels from a.csv, b.csv" in done.stdout
    curve = read_curve("ab.curve.json")
    assert [s.name for s in curve.readings.sources] == ["a.csv", "b.csv"]


def test_setup_from_a_file_and_from_options(run):
    Path("s.toml").write_text('paper = "Bütten"\nink = "black"\nprinting_time = 12\n', "utf-8")
    done = run("fit", "a.csv", "-o", "a.curve.json", "--setup", "s.toml", "--paper", "linen")
    assert done.exit_code == 0, done.output
    setup = read_curve("a.curve.json").setup
    assert (setup.paper, setup.ink, setup.printing_time) == ("linen", "black", "12")


def test_aims(run, fitted):
    Path("own.csv").write_text("image_lightness,print_lightness\n0,30\n100,80\n", "utf-8")
    for text, kind in (("density", "density"), ("like:a.curve.json", "like"),
                       ("points:own.csv", "points"), ("lightness", "lightness")):  # fmt: skip
        done = run("fit", "a.csv", "-o", f"{kind}.curve.json", "--aim", text)
        assert done.exit_code == 0, done.output
        assert read_curve(f"{kind}.curve.json").settings.aim.kind == kind
    own = read_curve("points.curve.json")
    np.testing.assert_allclose(own.print_lightness_at([0, 50, 100]), [30, 55, 80], atol=1e-6)


def test_a_plot_on_request(run):
    done = run("fit", "a.csv", "-o", "a.curve.json", "--plot", "a.png")
    assert done.exit_code == 0, done.output
    assert "Written:  a.curve.json\nWritten:  a.png\n" in done.stdout
    assert files()["a.png"].startswith(b"\x89PNG")


def test_readings_relative_to_the_paper(run):
    table("r.csv", density=DENSITY - DENSITY.min())
    done = run("fit", "r.csv", "-o", "r.curve.json", "--relative-to-paper")
    assert "counted from the bare paper" in done.stdout
    done = run("fit", "r.csv", "-o", "s.curve.json", "--relative-to-paper",
               "--paper-density", str(DENSITY.min()), "--json")  # fmt: skip
    absolute = json.loads(run("fit", "a.csv", "-o", "a.curve.json", "--json").stdout)
    assert json.loads(done.stdout)["white_lightness"] == pytest.approx(
        absolute["white_lightness"], abs=0.01
    )


def test_warnings_are_part_of_the_report(run):
    half = LEVELS <= 0.5
    table("h.csv", LEVELS[half], DENSITY[half])
    done = run("fit", "h.csv", "-o", "h.curve.json")
    assert done.exit_code == 0
    assert "The heaviest ink was not measured" in done.stdout
    assert "Paper white is not reached" in " ".join(done.stdout.split())
    found = json.loads(run("fit", "h.csv", "-o", "i.curve.json", "--json").stdout)
    assert [f["code"] for f in found["findings"]] == [
        "white_still_lightening", "heaviest_ink_not_measured"]
    assert found["findings"][1]["highest_level"] == 0.5
    assert len(found["warnings"]) == 2


# rebuild


@pytest.mark.fits_anew
def test_rebuilt_to_the_same_bytes(run, fitted):
    done = run("fit", "--rebuild", "a.curve.json", "-o", "again.curve.json")
    assert done.exit_code == 0
    assert "the same, byte for byte" in done.stdout
    assert files()["again.curve.json"] == fitted.read_bytes()
    found = json.loads(run("fit", "--rebuild", "a.curve.json", "--json").stdout)
    assert found["same_bytes"] is True
    assert found["output"] is None


def test_an_edited_curve_is_found_out(run, fitted):
    document = json.loads(fitted.read_text(encoding="utf-8"))
    document["summary"]["black_lightness"] += 1.0
    fitted.write_text(json.dumps(document), encoding="utf-8")
    done = run("fit", "--rebuild", "a.curve.json")
    assert done.exit_code == 1
    assert "DIFFERENT" in done.stdout
    found = json.loads(run("fit", "--rebuild", "a.curve.json", "--json").stdout)
    assert found["same_bytes"] is False


def test_a_rebuild_draws_too(run, fitted):
    assert run("fit", "--rebuild", "a.curve.json", "--plot", "a.png").exit_code == 0
    assert "a.png" in files()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["a.csv"], "readings"),
        (["--aim", "density"], "--aim"),
        (["--paper", "x"], "--paper"),
        (["--leave-out", "A1"], "--leave-out"),
        (["--relative-to-paper"], "--relative-to-paper"),
    ],
)
def test_a_rebuild_takes_nothing_else(run, fitted, more, said):
    assert said in refused(run, "fit", "--rebuild", "a.curve.json", *more)


# refusals


def test_without_anything(run):
    assert "(READINGS.csv, or --process PROCESS" in refused(run, "fit")
    assert "(READINGS.csv, or --process PROCESS" in refused(run, "fit", "-o", "a.curve.json")


def test_without_an_output_it_only_reports(run):
    before = {p.name for p in Path().iterdir()}
    done = run("fit", "a.csv")
    assert done.exit_code == 0
    assert "Written:" not in done.stdout
    assert "the same again with -o a.curve.json" in done.stdout
    assert json.loads(run("fit", "a.csv", "--json").stdout)["output"] is None
    assert {p.name for p in Path().iterdir()} == before


BAD = {
    "empty": ("", "is empty"),
    "blank": ("\n\n  \n", "is empty"),
    "head": ("level,density\n", "no rows"),
    "binary": ("\x00\x01\x02\x03", "control character"),
    "words": ("hello world\nthis is a letter\n", "hello world"),
    "unnamed": ("0,1.6\n1,0.1\n", "level"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_no_measurement(run, name):
    content, said = BAD[name]
    Path("bad.csv").write_text(content, encoding="utf-8")
    assert said in refused(run, "fit", "bad.csv", "-o", "o.curve.json")


def replaced(values, place, by):
    return [by if i == place else v for i, v in enumerate(values)]


WRONG = {
    "one level": (dict(level=[0.5] * 21), ["levels is 1"]),
    "five levels": (dict(level=LEVELS[::5], density=DENSITY[::5]), ["levels is 5", "at least 6"]),
    "NaN": (dict(density=replaced(DENSITY, 5, "NaN")), ["line 7", "'NaN'"]),
    "a word": (dict(density=replaced(DENSITY, 5, "dark")), ["line 7", "dark"]),
    "negative density": (dict(density=replaced(DENSITY, 5, -0.3)), ["line 7", "-0.3"]),
    "level 1.3": (dict(level=replaced(LEVELS, 20, 1.3)), ["line 22", "1.3", "ink_percent"]),
    "percent as level": (dict(level=100 * LEVELS), ["ink_percent"]),
    "level as percent": (dict(head="ink_percent,density"), ["name the column level"]),
    "swapped columns": (dict(head="density,level"), ["exchange"]),
    "levels the other way": (dict(level=1 - LEVELS), ["0 is clear film"]),
    "no tones": (dict(density=[0.8] * 21), ["within 0.0 L*"]),
    "lightness as density": (
        dict(density=np.round(Darkroom().print_lightness(LEVELS), 1)), ["lightness"]
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_measurements_that_cannot_be(run, name):
    columns, said = WRONG[name]
    table("bad.csv", **columns)
    message = refused(run, "fit", "bad.csv", "-o", "o.curve.json", "--plot", "o.png")
    for part in said:
        assert part in message


def test_wrong_files(run, fitted):
    assert "no file none.csv" in refused(run, "fit", "none.csv", "-o", "o.curve.json")
    assert "is a correction curve" in refused(run, "fit", "a.curve.json", "-o", "o.curve.json")
    assert "folder" in refused(run, "fit", ".", "-o", "o.curve.json")
    assert "byte for byte" in refused(run, "fit", "a.csv", "a.csv", "-o", "o.curve.json")
    assert "JSON" in refused(run, "fit", "--rebuild", "a.csv")


def test_unknown_aims(run):
    for aim in ("bright", "like:", "points:none.csv", "like:none.json", "like:a.csv"):
        message = refused(run, "fit", "a.csv", "-o", "o.curve.json", "--aim", aim)
        assert "aim" in message or "none" in message or "JSON" in message
    assert "image_lightness" in refused(
        run, "fit", "a.csv", "-o", "o.curve.json", "--aim", "points:a.csv"
    )


def test_bad_setups_and_patches(run):
    Path("s.toml").write_text('papr = "x"', encoding="utf-8")
    assert "papr" in refused(run, "fit", "a.csv", "-o", "o.curve.json", "--setup", "s.toml")
    assert "a.csv" in refused(run, "fit", "a.csv", "-o", "o.curve.json", "--setup", "a.csv")
    assert "Z99" in refused(run, "fit", "a.csv", "-o", "o.curve.json", "--leave-out", "Z99")


def test_outputs_that_cannot_be(run, fitted):
    assert "--force" in refused(run, "fit", "a.csv", "-o", "a.curve.json")
    assert "no folder none" in refused(run, "fit", "a.csv", "-o", "none/a.curve.json")
    assert "is a folder" in refused(run, "fit", "a.csv", "-o", ".")
    assert "no folder" in refused(run, "fit", "a.csv", "-o", "o.curve.json", "--plot", "none/a.png")
    Path("a.png").write_bytes(b"mine")
    assert "--force" in refused(run, "fit", "a.csv", "-o", "o.curve.json", "--plot", "a.png")
    assert "both" in refused(run, "fit", "a.csv", "-o", "o.png", "--plot", "o.png")


def test_force_replaces_a_curve_but_never_what_is_read(run, fitted):
    table("b.csv", density=DENSITY + 0.02)
    Path("s.toml").write_text('paper = "x"', encoding="utf-8")
    before = fitted.read_bytes()
    done = run("fit", "b.csv", "-o", "a.curve.json", "--force")
    assert done.exit_code == 0
    assert fitted.read_bytes() != before
    for output in ("b.csv", "./b.csv", "s.toml"):
        message = refused(run, "fit", "b.csv", "-o", output, "--force", "--setup", "s.toml")
        assert "is being read" in message
    assert "is being read" in refused(
        run, "fit", "a.csv", "-o", "a.curve.json", "--force", "--aim", "like:a.curve.json"
    )
    assert "is being read" in refused(
        run, "fit", "a.csv", "-o", "o.curve.json", "--force", "--plot", "a.csv"
    )


@pytest.mark.parametrize("damage", ["cut", "version", "falls", "levels"])
def test_a_damaged_curve_is_refused_in_a_rebuild(run, fitted, damage):
    text = fitted.read_text(encoding="utf-8")
    document = json.loads(text)
    if damage == "version":
        document["version"] = 1
    elif damage == "falls":
        document["correction"]["level"][500] = 0.99
    else:
        document["correction"]["level_high"][-1] = 1.3
    new = text[: len(text) // 2] if damage == "cut" else json.dumps(document)
    fitted.write_text(new, encoding="utf-8")
    assert refused(run, "fit", "--rebuild", "a.curve.json", "-o", "o.curve.json")


# In which ink


def coloured(name, colour="255,120,0", head="level,density,red,green,blue"):
    rows = [f"{u},{d},{colour}" for u, d in zip(LEVELS, DENSITY, strict=True)]
    Path(name).write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")


def ink_of(name):
    return read_curve(name).setup.ink_colour


def test_the_ink_colour_comes_from_option_target_setup_or_readings(run):
    assert run("target", "-o", "t.tif", "--ppi", "100", "--ink-colour", "255,120,0").exit_code == 0
    assert run("target", "-o", "g.tif", "--ppi", "100").exit_code == 0
    Path("s.toml").write_text('ink_colour = "255, 120, 0"\n', encoding="utf-8")
    coloured("c.csv")
    for number, options in enumerate([
        ("a.csv", "--ink-colour", " 255,120, 0"), ("a.csv", "--target", "t.target.json"),
        ("a.csv", "--setup", "s.toml"), ("c.csv",),
        ("c.csv", "--ink-colour", "255,120,0", "--target", "t.target.json", "--setup", "s.toml"),
    ]):  # fmt: skip
        done = run("fit", *options, "-o", f"{number}.curve.json")
        assert done.exit_code == 0, done.output
        assert ink_of(f"{number}.curve.json") == "255,120,0", options
    assert run("fit", "a.csv", "--target", "g.target.json", "-o", "g.curve.json").exit_code == 0
    assert ink_of("g.curve.json") is None
    assert run("fit", "--rebuild", "3.curve.json").exit_code == 0


@pytest.mark.parametrize("options", [
    ("a.csv", "--target", "t.target.json", "--ink-colour", "255,120,1"),
    ("a.csv", "--target", "g.target.json", "--ink-colour", "255,120,0"),
    ("a.csv", "--setup", "s.toml", "--ink-colour", "255,120,0"),
    ("a.csv", "--setup", "s.toml", "--target", "t.target.json"),
    ("c.csv", "--target", "g.target.json"), ("c.csv", "--ink-colour", "0,0,0"),
    ("c.csv", "d.csv"),
])  # fmt: skip
def test_two_ink_colours_are_refused(run, options):
    assert run("target", "-o", "t.tif", "--ppi", "100", "--ink-colour", "255,120,0").exit_code == 0
    assert run("target", "-o", "g.tif", "--ppi", "100").exit_code == 0
    Path("s.toml").write_text('ink_colour = "0,0,0"\n', encoding="utf-8")
    coloured("c.csv")
    coloured("d.csv", "255,120,9")
    said = refused(run, "fit", *options, "-o", "x.curve.json")
    assert "the ink colours differ" in said


def test_an_impossible_ink_colour_is_refused(run):
    assert "255,120,0" in refused(run, "fit", "a.csv", "-o", "x.curve.json", "--ink-colour", "red")
    Path("s.toml").write_text('ink_colour = "red"\n', encoding="utf-8")
    assert "'red'" in refused(run, "fit", "a.csv", "-o", "x.curve.json", "--setup", "s.toml")


def test_a_renewal_keeps_the_ink_or_takes_that_of_a_whole_new_target(run):
    coloured("c.csv")
    coloured("d.csv", "0,0,200")
    assert run("fit", "c.csv", "-o", "c.curve.json").exit_code == 0
    table("new.csv", density=DENSITY + 0.01)
    for readings, ink, said in (("new.csv", "255,120,0", ("--ink-colour", "255,120,0")),
                                ("d.csv", "0,0,200", ())):
        done = run("renew", "c.curve.json", "--readings", readings, *said, "--replace", "-o",
                   f"{readings}.curve.json")
        assert done.exit_code == 0, done.output
        assert ink_of(f"{readings}.curve.json") == ink


def test_a_strips_readings_are_sent_to_strip(run):
    Path("strip.csv").write_text("step,density\n1,1.5\n2,1.2\n", encoding="utf-8")
    said = refused(run, "fit", "strip.csv", "-o", "x.curve.json")
    assert "Evaluate a strip as a strip (tonewright strip strip.csv)" in said
    said = refused(run, "fit", "a.csv", "--process", "strip.csv", "-o", "x.curve.json")
    assert "one is made from a strip's readings" in said and "(tonewright strip)" in said
