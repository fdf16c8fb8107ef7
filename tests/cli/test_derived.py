"""Curves by way of a process response: `fit --process`, `renew --process` and their kin."""

from __future__ import annotations

import dataclasses
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

import commands
from tonewright.cli import main
from tonewright.curve.document import FORM
from tonewright.curve.findings import LightDiffers, PatchesSetAside, TooUnsure
from tonewright.files.documents import read_curve
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import CYANOTYPE, Darkroom, measure_strip, measure_target

OLD, NEW = Darkroom(), Darkroom(process=CYANOTYPE)
LIGHT = ("--lamp", "UV tubes", "--film", "clear")


def strip_file(path, room, stops, seed, unit="s"):
    seconds = round(room.base_time * 2.0**stops)
    read = measure_strip(room, nominal_tablet("31").density, seconds, seed=seed)
    rows = [f"{s},{d:.3f},{seconds}{unit}"
            for s, d in zip(read.step, read.density_film, strict=True)]
    path.write_text("\n".join(["# invented", "step,density,time", *rows]), encoding="utf-8")


def target_file(path, room, stops, levels, seed, repeats=1):
    printed = dataclasses.replace(room, printing_time=room.base_time * 2.0**stops)
    found = measure_target(printed, levels, repeats, seed=seed).readings
    rows = [f"{p.patch},{p.level:.4f},{p.density:.3f}" for p in found.patches]
    path.write_text("\n".join(["# invented", "patch,level,density", *rows]), encoding="utf-8")


def call(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def good(*arguments):
    done = call(*arguments)
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder as it is after a first paper and the strip of a second one."""
    folder = tmp_path_factory.mktemp("bench")
    strip_file(folder / "old-strip.csv", OLD, 0.5, 1)
    strip_file(folder / "new-strip.csv", NEW, 0.3, 2)
    target_file(folder / "target.csv", OLD, 0.5, np.linspace(0, 1, 26), 3)
    target_file(folder / "plain.csv", OLD, 0.0, np.linspace(0, 1, 21), 4)
    target_file(folder / "few.csv", NEW, 0.0, np.linspace(0.1, 0.7, 7), 5)
    target_file(folder / "whole.csv", NEW, 0.0, np.linspace(0, 1, 21), 6)
    for name in ("old", "new"):
        good("strip", folder / f"{name}-strip.csv", "--tablet", "31", "-o",
             folder / f"{name}.process.json", *LIGHT, "--paper", f"{name} paper")
    good("fit", folder / "target.csv", "--process", folder / "old.process.json", "-o",
         folder / "old.curve.json", "--ink", "black", "--printer", "inkjet")
    good("fit", folder / "plain.csv", "-o", folder / "plain.curve.json")
    good("renew", folder / "old.curve.json", "--process", folder / "new.process.json", "-o",
         folder / "new.curve.json")
    return folder


@pytest.fixture
def here(bench, tmp_path, monkeypatch):
    """A copy of the folder, to work in."""
    for file in bench.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(*arguments):
    return commands.said(call, *arguments)


def error(room, path, seconds=None):
    """RMS distance in L* of the print made through the curve from its aim."""
    tones = np.linspace(1.0, 99.0, 99)
    curve = read_curve(path)
    light = room.print_lightness(curve.level_at(tones), seconds)
    return float(np.sqrt(np.mean((light - curve.print_lightness_at(tones)) ** 2)))


def differing(path):
    """Entries of the setup that a curve says were not the same."""
    return [f.entry for f in read_curve(path).findings if isinstance(f, LightDiffers)]


FIT = ("fit", "target.csv", "--process", "old.process.json", "-o", "x.curve.json")


def test_one_sheet(here):
    done = good(*FIT)
    said = " ".join(done.stdout.split())
    for words in ("26 patches of 26 ink levels from target.csv, printed as old",
                  "the curve is for a printing time of", "negative it needs a density range of 1.",
                  "; the ink gives 2.",
                  "Written: x.curve.json"):
        assert words in said
    curve = read_curve("x.curve.json")
    assert curve.setup.paper == "old paper"
    assert curve.setup.printing_time == str(curve.recipe.printing_time.on_timer())
    seconds = curve.recipe.printing_time.value
    assert error(OLD, "x.curve.json", seconds) < 2.0
    # the target itself was printed half a stop longer, where this curve is not right
    assert error(OLD, "x.curve.json", curve.recipe.prints[0].time.value) > 2.5


def test_fit_json(here):
    done = good(*FIT, "--printing-time", "20min", "--json")
    assert done.stderr == ""
    data = json.loads(done.stdout)
    assert data["printing_time_s"] == 1200.0
    assert data["time_unit"] == "s"
    assert data["process"] == "old"
    assert data["negative_density_range"] == pytest.approx(2.3, abs=0.6)
    assert data["process_log_exposure_range"] == pytest.approx(1.45, abs=0.2)
    assert all(0.0 <= v <= 1.0 for v in data["plan_levels"])
    assert data["print_to_print_lightness_sd"] is None


def test_target_time_defaults_to_the_strips(here):
    good(*FIT)
    seconds = read_curve("x.curve.json").recipe.prints[0].time.value
    again = (*FIT[:-1], "y.curve.json")
    good(*again, "--target-time", f"{seconds:g}s")
    first, second = (FORM.encode(read_curve(f"{name}.curve.json")) for name in "xy")
    assert {**first, "name": "y"} == second


@pytest.mark.parametrize("name", ["old", "new"])
@pytest.mark.fits_anew
def test_rebuild_gives_the_same_bytes(here, name):
    done = good("fit", "--rebuild", f"{name}.curve.json", "-o", "again.curve.json")
    assert "byte for byte" in done.stdout
    assert Path("again.curve.json").read_bytes() == Path(f"{name}.curve.json").read_bytes()


def test_renewal_by_strip(here):
    done = good("renew", "old.curve.json", "--process", "new.process.json", "-o", "x.curve.json")
    said = " ".join(done.stdout.split())
    for words in ("Curve x, renewed from old", "paper: old paper → new paper",
                  "Surer: Print a few patches", "old curve for this print: up to",
                  "--levels-for x.curve.json --levels 7",
                  "tonewright refine x.curve.json FEW.csv -o"):
        assert words in said
    curve = read_curve("x.curve.json")
    assert (curve.setup.paper, curve.setup.ink) == ("new paper", "black")
    seconds = curve.recipe.printing_time.value
    assert error(NEW, "x.curve.json", seconds) < 2.5
    assert error(NEW, "old.curve.json", seconds) > 6.0


def test_a_few_patches_at_once_or_later_give_the_same_curve(here):
    good("renew", "old.curve.json", "--process", "new.process.json", "--readings", "few.csv", "-o",
         "once.curve.json")
    good("renew", "new.curve.json", "--readings", "few.csv", "-o", "later.curve.json")
    once, later = read_curve("once.curve.json"), read_curve("later.curve.json")
    assert np.array_equal(once.correction.level, later.correction.level)
    alone = read_curve("new.curve.json")
    assert once.summary.band_halfwidth_mean < alone.summary.band_halfwidth_mean
    said = refused("renew", "new.curve.json", "--readings", "few.csv", "-o", "x.curve.json",
                   "--paper", "a third paper")
    assert "--process" in said


def test_a_whole_target_replaces_the_derived_curve(here):
    way = ("renew", "new.curve.json", "--readings", "whole.csv", "-o", "x.curve.json")
    assert "--replace" in refused(*way)
    done = good(*way, "--replace")
    assert "cannot be renewed by a strip" in " ".join(done.stdout.split())
    curve = read_curve("x.curve.json")
    assert curve.recipe is None
    assert curve.setup.printing_time is None  # what the target was printed for was not said
    assert error(NEW, "x.curve.json") < 2.5


def test_renewal_for_another_time(here):
    good("renew", "old.curve.json", "--printing-time", "13min", "-o", "x.curve.json")
    curve = read_curve("x.curve.json")
    assert curve.recipe.printing_time.value == 780.0
    assert error(OLD, "x.curve.json", 780.0) < 2.0
    assert error(OLD, "old.curve.json", 780.0) > 4.0


def test_ink_from_other_curves(here):
    good("fit", "--ink-from", "old.curve.json", "--process", "new.process.json", "-o",
         "x.curve.json", "--paper", "new paper")
    made, renewed = read_curve("x.curve.json"), read_curve("new.curve.json")
    assert made.correction.level == pytest.approx(renewed.correction.level, abs=0.02)
    assert (made.setup.ink, made.setup.printer) == ("black", "inkjet")
    # the same print by three roads counts once
    good("fit", "target.csv", "--ink-from", "old.curve.json", "--ink-from", "new.curve.json",
         "--process", "old.process.json", "-o", "y.curve.json")
    recipe = read_curve("y.curve.json").recipe
    assert (len(recipe.prints), len(recipe.processes)) == (1, 2)


@pytest.mark.parametrize(("changes", "said"), [
    (("--lamp", "sun"), "lamp"), (("--film", "another"), "film")])
def test_another_lamp_or_film_needs_a_word(here, changes, said):
    message = refused(*FIT, *changes)
    assert said in message
    assert "--anyway" in message
    good(*FIT, *changes, "--anyway")
    assert differing("x.curve.json") == [said]
    good("strip", "new-strip.csv", "--tablet", "31", "-o", "other.process.json", *changes)
    renewal = ("renew", "old.curve.json", "--process", "other.process.json", "-o", "z.curve.json")
    assert "--anyway" in refused(*renewal)
    good(*renewal, "--anyway")
    assert differing("z.curve.json") == [said]
    assert "--anyway" in refused("fit", "--ink-from", "old.curve.json", "--process",
                                 "other.process.json", "-o", "v.curve.json")


@pytest.mark.parametrize(("changes", "entry"), [
    (("--printer", "another"), "printer"), (("--ink", "sepia"), "ink"),
    (("--lamp", "sun"), "lamp")])
def test_a_renewal_keeps_printer_ink_and_light(here, changes, entry):
    for way in (("--process", "new.process.json"), ("--printing-time", "20min")):
        renewal = ("renew", "old.curve.json", *way, "-o", "x.curve.json", *changes)
        assert f"the {entry} of" in refused(*renewal, "--force")
        good(*renewal, "--anyway", "--force")
        assert differing("x.curve.json") == [entry]


def test_an_option_does_not_overrule_what_the_strip_says(here):
    good("strip", "new-strip.csv", "--tablet", "31", "-o", "sun.process.json", "--lamp", "sun")
    assert "the lamp of the new print is 'UV tubes', that of the process sun 'sun'" in refused(
        "renew", "old.curve.json", "--process", "sun.process.json", "--lamp", "UV tubes", "-o",
        "x.curve.json")


def test_what_the_strip_does_not_say_is_said_to_be_taken_over(here):
    good("strip", "new-strip.csv", "--tablet", "31", "-o", "bare.process.json")
    done = good("renew", "old.curve.json", "--process", "bare.process.json", "-o", "x.curve.json",
                "--paper", "third")
    said = " ".join(done.stdout.split())
    assert "note The process bare does not name lamp, film: taken from the old curve." in said
    assert "does not name" not in good(
        "renew", "old.curve.json", "--process", "new.process.json", "-o", "y.curve.json").stdout


def test_several_strips_leave_open_what_the_target_was_printed_for(here):
    strip_file(Path("longer.csv"), OLD, 1.5, 8)
    done = good("strip", "old-strip.csv", "longer.csv", "--tablet", "31", "-o", "two.process.json")
    assert "--target-time TIME" in done.stdout
    fit = ("fit", "target.csv", "--process", "two.process.json", "-o", "x.curve.json")
    assert "(--target-time 3" in refused(*fit)
    time = read_curve("old.curve.json").recipe.prints[0].time.value
    good(*fit, "--target-time", f"{time:g}s")


def test_a_short_strip_asks_for_another_before_a_picture(here):
    strip_file(Path("short.csv"), OLD, -1.5, 8)
    done = good("strip", "short.csv", "--tablet", "31", "-o", "short.process.json")
    assert "print another strip for" in done.stdout
    target_file(Path("pale.csv"), OLD, -1.5, np.linspace(0, 1, 26), 3)
    made = good("fit", "pale.csv", "--process", "short.process.json", "-o", "x.curve.json")
    assert "Next:     the strip did not show black" in made.stdout
    assert "Safety:" in made.stdout
    assert "tonewright negative" not in made.stdout


def test_patches_that_are_none_of_the_paper_are_refused(here):
    few = Path("few.csv").read_text(encoding="utf-8").splitlines()
    few[-1] = few[-1].rpartition(",")[0] + ",3.9"
    Path("black.csv").write_text("\n".join(few), encoding="utf-8")
    name = few[-1].partition(",")[0]
    renewal = ("renew", "new.curve.json", "--readings", "black.csv", "-o", "x.curve.json")
    assert f"{name} (density 3.90) lies outside what new can print" in refused(*renewal)
    good(*renewal, "--leave-out", name)
    lines = Path("few.csv").read_text(encoding="utf-8").splitlines()
    dark = [line.rpartition(",")[0] + f",{1.3 - 0.01 * i:.2f}" for i, line in enumerate(lines[2:])]
    Path("dark.csv").write_text("\n".join([*lines[:2], *dark]), encoding="utf-8")
    assert "times more than reading noise explains" in refused(
        "renew", "new.curve.json", "--readings", "dark.csv", "-o", "y.curve.json")


def spoilt_few(by, row=-4):
    """The few patches with a slip in one of them, and that one's name."""
    lines = Path("few.csv").read_text(encoding="utf-8").splitlines()
    head, _, density = lines[row].rpartition(",")
    lines[row] = f"{head},{float(density) + by:.3f}"
    Path("spoilt.csv").write_text("\n".join(lines), encoding="utf-8")
    return head.partition(",")[0]


@pytest.mark.parametrize("by", [0.2, -0.2])
def test_one_misread_patch_among_few_is_named_and_does_not_count(here, by):
    name = spoilt_few(by)
    done = good("renew", "new.curve.json", "--readings", "spoilt.csv", "-o", "x.curve.json")
    said = " ".join(done.stdout.split())
    assert f"Set aside: {name}, which fits neither the strip nor the other patches" in said
    assert f"doubtful {name} (" in said
    assert PatchesSetAside((name,)) in read_curve("x.curve.json").findings
    good("renew", "new.curve.json", "--readings", "few.csv", "-o", "y.curve.json")
    good("renew", "new.curve.json", "--readings", "spoilt.csv", "--leave-out", name, "-o",
         "z.curve.json")
    x, z = read_curve("x.curve.json"), read_curve("z.curve.json")
    assert np.array_equal(x.correction.level, z.correction.level)
    assert not read_curve("y.curve.json").summary.doubtful


def test_patches_of_another_time_are_no_step_to_a_picture(here):
    time = read_curve("new.curve.json").recipe.printing_time.value
    done = good("renew", "new.curve.json", "--readings", "few.csv", "--target-time",
                f"{2.5 * time:g}s", "-o", "x.curve.json")
    assert "times more than reading noise explains" in " ".join(done.stdout.split())
    assert "Next:     strips and patches contradict each other" in done.stdout
    assert "Print a few patches" not in done.stdout


def test_a_strip_that_contradicts_itself_is_no_step_to_a_picture(here):
    lines = Path("old-strip.csv").read_text(encoding="utf-8").splitlines()
    other = [",".join([step, f"{0.3 + 0.6 * float(density):.3f}", time])
             for step, density, time in (line.split(",") for line in lines[2:])]
    Path("other.csv").write_text("\n".join([*lines[:2], *other]), encoding="utf-8")
    done = good("strip", "old-strip.csv", "other.csv", "--tablet", "31", "-o",
                "both.process.json")
    assert "Next:     look at the strip and the warnings" in done.stdout
    made = good("fit", "target.csv", "--process", "both.process.json", "-o", "x.curve.json")
    assert "Next:     the strip's readings contradict each other" in made.stdout


def test_an_unsure_curve_asks_for_patches_first(here):
    lines = Path("target.csv").read_text(encoding="utf-8").splitlines()
    dark = [line for line in lines[2:] if float(line.split(",")[1]) < 0.35]
    Path("dark.csv").write_text("\n".join([*lines[:2], *dark]), encoding="utf-8")
    done = good("fit", "dark.csv", "--process", "old.process.json", "-o", "x.curve.json")
    assert "Next:     the curve is too unsure for a picture. Print a few patches" in done.stdout
    found = read_curve("x.curve.json")
    assert found.findings[-1] == TooUnsure(found.summary.band_halfwidth_max,
                                           found.summary.least_sure_level)


def test_whites_that_were_printed_are_not_called_unseen(here):
    done = good(*FIT)
    assert "No print shows" not in " ".join(done.stdout.split())


def test_a_renewal_without_anything_new_says_so(here):
    done = good("renew", "old.curve.json", "--process", "old.process.json", "-o", "x.curve.json")
    assert "Nothing moved" in done.stdout
    assert "Nothing moved" not in good("renew", "old.curve.json", "--process",
                                        "old.process.json", "--printing-time", "20min", "-o",
                                        "y.curve.json").stdout
    old, same = read_curve("old.curve.json"), read_curve("x.curve.json")
    assert np.array_equal(old.correction.level, same.correction.level)


def test_another_ink_is_not_pooled_and_spelling_does_not_matter(here):
    ink = ("fit", "--ink-from", "old.curve.json", "--process", "old.process.json", "-o",
           "x.curve.json")
    assert "the ink of the curve old is 'black'" in refused(*ink, "--ink", "sepia")
    assert "--anyway" in refused("renew", "old.curve.json", "--printing-time", "20min", "--lamp",
                                 "sun", "-o", "x.curve.json")
    good(*ink, "--ink", "Black", "--lamp", "uv TUBES")


@pytest.mark.parametrize(("arguments", "said"), [
    (("fit", "target.csv", "--process", "old-strip.csv"), "is not a process response"),
    (("fit", "target.csv", "--process", "old.curve.json"), "A process response is needed"),
    (("fit", "old-strip.csv", "--process", "old.process.json"), "level"),
    (("fit", "target.csv", "--process", "none.json"), "no file"),
    (("fit", "target.csv", "--process", "old.process.json", "--relative-to-paper"),
     "--paper-density"),
    (("fit", "target.csv", "--process", "old.process.json", "--target-time", "0min"), "longer"),
    (("fit", "target.csv", "--process", "old.process.json", "--target-time", "9s"), "32 times"),
    (("fit", "target.csv", "--process", "old.process.json", "--target-time", "90units"),
     "same unit"),
    (("fit", "target.csv", "--process", "old.process.json", "--printing-time", "soon"), "soon"),
    (("fit", "target.csv", "--process", "old.process.json", "--leave-out", "Z99"), "Z99"),
    (("fit", "target.csv", "--target-time", "9min"), "(--process PROCESS, from tonewright strip)"),
    (("fit", "target.csv", "--ink-from", "old.curve.json"),
     "(--process PROCESS, from tonewright strip)"),
    (("fit", "--ink-from", "plain.curve.json", "--process", "old.process.json"),
     "without a process response"),
    (("fit", "--ink-from", "old.curve.json", "--process", "old.process.json", "--target-time",
      "9min"), "without readings"),
    (("fit", "--process", "old.process.json"), "no readings"),
    (("renew", "plain.curve.json", "--process", "new.process.json"), "fit --process"),
    (("renew", "plain.curve.json", "--printing-time", "9min"), "without a process response"),
    (("renew", "old.process.json", "--process", "new.process.json"), "correction curve is needed"),
    (("renew", "old.curve.json", "--process", "new.curve.json"), "A process response is needed"),
    (("renew", "old.curve.json"), "(--process PROCESS, --readings"),
    (("renew", "old.curve.json", "--printing-time", "3s"), "32 times"),
    (("renew", "old.curve.json", "--printing-time", "90units"), "same unit"),
    (("renew", "old.curve.json", "--printing-time", "9min", "--target-time", "8min"),
     "(--readings READINGS)"),
    (("renew", "old.curve.json", "--readings", "whole.csv", "--replace", "--target-time",
      "8min"),
     "(--process PROCESS, from tonewright strip)"),
])
def test_wrong_files_and_wrong_use(here, arguments, said):
    assert said in refused(*arguments, "-o", "x.curve.json")


def test_inputs_are_never_written_over(here):
    for name in ("target.csv", "old.process.json"):
        assert "being read" in refused(*FIT[:-1], name, "--force")
    for name in ("old.curve.json", "new.process.json"):
        assert "being read" in refused("renew", "old.curve.json", "--process", "new.process.json",
                                       "-o", name, "--force")
    assert "--force" in refused(*FIT[:-1], "plain.curve.json")


def test_a_process_cut_short_is_refused(here):
    text = Path("old.process.json").read_text(encoding="utf-8")
    Path("cut.process.json").write_text(text[: len(text) // 2], encoding="utf-8")
    assert "cut short" in refused("fit", "target.csv", "--process", "cut.process.json", "-o",
                                  "x.curve.json")


def test_strips_in_integrator_units(here):
    strip_file(Path("units.csv"), NEW, 0.3, 2, unit="units")
    good("strip", "units.csv", "--tablet", "31", "-o", "units.process.json")
    done = good("renew", "old.curve.json", "--process", "units.process.json", "-o", "u.curve.json")
    assert "units" in done.stdout
    minutes, units = read_curve("new.curve.json"), read_curve("u.curve.json")
    assert units.recipe.printing_time.unit == "unit"
    assert np.array_equal(units.correction.level, minutes.correction.level)


LIST_MODULES = """
import json, sys
from pathlib import Path
from tonewright.cli import main
code = 0
try:
    main()
except SystemExit as stop:
    code = stop.code or 0
print(json.dumps(sorted(sys.modules)), file=sys.stderr)
sys.exit(code)
"""


def test_a_negative_from_a_derived_curve_loads_no_scipy(here):
    ramp = np.linspace(0, 65535, 64).astype(np.uint16)
    tifffile.imwrite("image.tif", np.tile(ramp, (48, 1)), photometric="minisblack", metadata=None)
    done = subprocess.run(
        [sys.executable, "-c", LIST_MODULES, "negative", "image.tif", "--curve", "new.curve.json",
         "--encoding", "lightness", "-o", "negative.tif"],
        capture_output=True, text=True, encoding="utf-8", timeout=120, check=True)
    loaded = {name.split(".")[0] for name in json.loads(done.stderr.splitlines()[-1])}
    assert Path("negative.tif").is_file()
    assert "numpy" in loaded
    assert not loaded & {"scipy", "colour", "matplotlib"}


def test_a_renewal_by_strip_or_time_keeps_the_ink_colour(here):
    for way in (("--process", "new.process.json"), ("--printing-time", "20min")):
        said = refused("renew", "old.curve.json", *way, "--ink-colour", "255,120,0", "-o",
                       "x.curve.json")
        assert "the ink colours differ (the curve old: gray; the new print: 255,120,0)" in said


def test_inks_of_two_colours_are_not_pooled(here):
    good(*FIT[:-1], "red.curve.json", "--ink-colour", "255,0,0")
    said = refused(*FIT, "--ink-from", "red.curve.json")
    assert "(this target: gray; the curve red: 255,0,0)" in said
    assert "the ink colours differ" in refused(
        "fit", "--process", "new.process.json", "--ink-from", "red.curve.json", "--ink-from",
        "old.curve.json", "-o", "x.curve.json")
    good("fit", "--process", "new.process.json", "--ink-from", "red.curve.json", "-o",
         "x.curve.json")
    assert read_curve("x.curve.json").setup.ink_colour == "255,0,0"
