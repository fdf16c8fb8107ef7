"""`tonewright check` and `tonewright refine`, as they are typed."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from commands import files, opened, said
from prints import ROOM, curve_of, gone_wrong, tones_of
from tonewright.check.document import Check
from tonewright.cli import main
from tonewright.files.documents import open_document, read_curve, write_document
from tonewright.files.targets import draw_target, read_target


def call(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def write_print(name, curve, room, column="image_lightness", more="", **print_of):
    tones = tones_of(curve, room, **print_of)
    rows = zip(tones.readings.patches, tones.image if column == "image_lightness" else tones.aim,
               strict=True)
    Path(name).write_text("\n".join([
        *([more] if more else []), f"patch,{column},density,print",
        *(f"{p.patch},{tone:.3f},{p.density:.4f},{p.print_name}" for p, tone in rows)]) + "\n",
        encoding="utf-8")


@pytest.fixture(scope="module")
def curve():
    return curve_of()


@pytest.fixture
def bench(curve, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_document("k.curve.json", curve)
    write_print("good.csv", curve, gone_wrong())
    write_print("over.csv", curve, gone_wrong(stops=0.4))
    return tmp_path


def test_a_good_print_ends_with_0_and_a_bad_one_with_1(bench):
    done = call("check", "k.curve.json", "good.csv")
    assert done.exit_code == 0, done.output
    assert "this print is what the curve promises" in done.stdout
    done = call("check", "k.curve.json", "over.csv")
    assert done.exit_code == 1
    text = " ".join(done.stdout.split())
    for words in ("not what the curve promises", "too much light, by 0.", "Next: print for",
                  "instead of", "wear eye protection"):
        assert words in text


def test_json(bench):
    done = call("check", "k.curve.json", "over.csv", "--json")
    found = json.loads(done.stdout)
    assert done.exit_code == 1 and done.stderr == ""
    assert (found["passes"], found["cause"]) == (False, "exposure")
    assert found["exposure_off_stops"] == pytest.approx(0.4, abs=1 / 6)
    assert np.log2(found["next_time_s"] / ROOM.base_time) == pytest.approx(-0.4, abs=1 / 6)
    assert {f["code"] for f in found["findings"]} == {"sheets_assumed", "unevenness_untold"}
    off = [t["difference_lightness"] for t in found["tones"]]
    assert found["difference_lightness_rms"] == pytest.approx(np.sqrt(np.mean(np.square(off))),
                                                              abs=2e-3)
    worst = int(np.argmax(np.abs(off)))
    assert found["worst_image_lightness"] == found["tones"][worst]["image_lightness"]


def test_the_check_is_kept_with_its_date_and_picture(bench):
    done = call("check", "k.curve.json", "over.csv", "-o", "o.check.json", "--plot", "o.png",
                "--date", "2026-03-31", "--lamp", "tubes", "--time", f"{round(ROOM.base_time)}s")
    assert done.exit_code == 1 and "Written:  o.check.json\nWritten:  o.png\n" in done.stdout
    check = open_document("o.check.json", Check).document
    assert (check.name, check.date, check.setup.lamp) == ("o", "2026-03-31", "tubes")
    assert check.curve.sha256 == hashlib.sha256(Path("k.curve.json").read_bytes()).hexdigest()
    assert Path("o.png").read_bytes().startswith(b"\x89PNG")
    assert "(--force)" in said(call, "check", "k.curve.json", "good.csv", "-o", "o.check.json",
                            "--date", "2026-04-01")


def test_each_file_is_opened_once(bench, monkeypatch):
    count = opened(monkeypatch)
    assert call("check", "k.curve.json", "good.csv").exit_code == 0
    assert (count["k.curve.json"], count["good.csv"]) == (1, 1)


def test_several_files_are_several_prints(bench, curve):
    text = Path("good.csv").read_text(encoding="utf-8")
    for name, seed in (("a.csv", 21), ("b.csv", 22)):
        write_print(name, curve, gone_wrong(), seed=seed)
        text = Path(name).read_text(encoding="utf-8").replace(",print", "").replace(",sheet 1", "")
        Path(name).write_text(text, encoding="utf-8")
    found = json.loads(call("check", "k.curve.json", "a.csv", "b.csv", "--json").stdout)
    assert {t["print_name"] for t in found["tones"]} == {"a", "b"}
    assert [p["name"] for p in found["prints"]] == ["a", "b"]
    for each in found["prints"]:
        off = [t["difference_lightness"] for t in found["tones"] if t["print_name"] == each["name"]]
        assert each["difference_lightness_mean"] == pytest.approx(np.mean(off), abs=1e-3)
        assert each["difference_lightness_rms"] == pytest.approx(
            np.sqrt(np.mean(np.square(off))), abs=1e-3)
    (line,) = (line for line in call("check", "k.curve.json", "a.csv", "b.csv").stdout.splitlines()
               if line.startswith("  prints"))
    assert "L* (a), " in line and "L* (b)" in line
    Path("other").mkdir()
    Path("b.csv").rename("other/a.csv")
    found = json.loads(call("check", "k.curve.json", "a.csv", "other/a.csv", "--json").stdout)
    assert [p["name"] for p in found["prints"]] == ["a.csv", "other/a.csv"]


def test_a_sheet_drawn_through_the_curve(bench, curve):
    from tonewright.files.targets import TargetRequest

    drawn = draw_target("t.tif", TargetRequest(levels=16, through=Path("k.curve.json"))).target
    room = gone_wrong(stops=0.4)
    density = room.print_density(drawn.level)
    rows = [f"{p.name},{d:.4f}" for p, d in zip(drawn.patches, density, strict=True)]
    Path("list.csv").write_text("\n".join(["patch,density", *rows]), encoding="utf-8")
    direct = call("check", "k.curve.json", "list.csv", "--target", "t.target.json", "--json")
    assert direct.exit_code == 1, direct.output
    assert call("read", "list.csv", "--target", "t.target.json", "-o", "read.csv").exit_code == 0
    Path("levels.csv").write_text("\n".join(["patch,level,density", *(
        f"{p.name},{p.level!r},{d:.4f}" for p, d in zip(drawn.patches, density, strict=True))]),
        encoding="utf-8")
    beside = call("check", "k.curve.json", "levels.csv", "--target", "t.target.json", "--json")
    assert json.loads(beside.stdout)["tones"] == json.loads(direct.stdout)["tones"]
    read = call("check", "k.curve.json", "read.csv", "--json")
    ours, theirs = json.loads(direct.stdout), json.loads(read.stdout)
    assert ours["cause"] == theirs["cause"] == "exposure"
    assert len(theirs["tones"]) == len(read_target("t.target.json").patches)
    assert ours["exposure_off_stops"] == pytest.approx(theirs["exposure_off_stops"], abs=0.01)
    # an instrument that only counts what it reads, from the last patch on
    Path("bare.txt").write_text("\n".join(f"{d:.4f}" for d in density[::-1]), encoding="utf-8")
    bare = ("check", "k.curve.json", "bare.txt", "--target", "t.target.json")
    assert "(--order rows --reverse)" in said(call, *bare)
    upwards = call(*bare, "--order", "rows", "--reverse", "--json")
    assert json.loads(upwards.stdout)["tones"] == ours["tones"]


WET = "# state: not yet dry"


@pytest.mark.parametrize(("change", "words"), [
    (lambda text: WET + "\n" + text, "wet or not yet dry"),
    (lambda text: "\n".join(text.splitlines()[:2]), "only one tone"),
    (lambda text: text.replace("density", "lightness").replace(",0.", ",9.").replace(",1.", ",8."),
     "weighted as visual-density"),
    (lambda text: "\n".join([text.splitlines()[0], *(
        ",".join([a, str(100.0 - float(b)), *c]) for a, b, *c in (
            line.split(",") for line in text.splitlines()[1:]))]), "run against their aims"),
    (lambda text: text.replace("image_lightness", "colour"),
     "column image_lightness, or name the layout of the tone scale (--target NAME.target.json)"),
    (lambda text: text.replace(",50.000,", ",150.000,"), "0 to 100"),
    (lambda text: text.replace(",50.000,", ",half,"), "half"),
    (lambda text: "", "empty"),
])
def test_readings_that_are_none_of_the_print(bench, change, words):
    text = Path("good.csv").read_text(encoding="utf-8")
    Path("bad.csv").write_text(change(text), encoding="utf-8")
    for command in (("check", "k.curve.json", "bad.csv", "-o", "x.check.json", "--date",
                     "2026-03-31"), ("refine", "k.curve.json", "bad.csv", "-o", "x.curve.json")):
        assert words in said(call, *command)


def test_the_readings_that_the_curve_was_made_from(bench, curve):
    own = curve.recipe.prints[0].readings.patches
    for name, shown in (("own.csv", own), ("seven.csv", own[3:24:3])):
        Path(name).write_text("\n".join(["patch,level,density", *(
            f"{p.patch},{p.level!r},{p.density!r}" for p in shown)]), encoding="utf-8")
        for command in (("check",), ("refine", "-o", "x.curve.json")):
            words = said(call, command[0], "k.curve.json", name, *command[1:])
            assert "the curve's own: kallitype was made from them" in words
            assert "measure a print made through the curve" in words.lower()


def test_a_plain_target_is_no_print_made_through_the_curve(bench):
    from tonewright.files.targets import TargetRequest

    drawn = draw_target("t.tif", TargetRequest(levels=16)).target
    density = gone_wrong().print_density(drawn.level)
    Path("plain.csv").write_text("\n".join(["patch,level,density", *(
        f"{p.name},{p.level!r},{d:.4f}" for p, d in zip(drawn.patches, density, strict=True))]),
        encoding="utf-8")
    for more in ((), ("--target", "t.target.json")):
        words = said(call, "check", "k.curve.json", "plain.csv", *more)
        assert "not the tone that the curve aimed at" in words
        assert "(--target NAME.target.json)" in words


@pytest.mark.parametrize(("arguments", "words"), [
    (("k.curve.json",), "READINGS"),
    (("none.curve.json", "good.csv"), "no file"),
    (("good.csv", "k.curve.json"), "JSON"),
    (("k.curve.json", "none.csv"), "no file"),
    (("k.curve.json", "good.csv", "-o", "x.check.json"), "(--date 2026-03-31)"),
    (("k.curve.json", "good.csv", "-o", "x.check.json", "--date", "2999-01-01"), "2999-01-01"),
    (("k.curve.json", "good.csv", "--date", "31.3."), "31.3."),
    (("k.curve.json", "good.csv", "--time", "soon"), "soon"),
    (("k.curve.json", "good.csv", "--time", "18units"), "18 units, another"),
    (("k.curve.json", "good.csv", "--paper", "linen"), "(tonewright renew)"),
    (("k.curve.json", "good.csv", "--leave-out", "Z9"), "Z9"),
    (("k.curve.json", "good.csv", "--relative-to-paper"), "bare paper"),
    (("k.curve.json", "good.csv", "--ink-colour", "255,0,0"), "ink colours differ"),
    (("k.curve.json", "good.csv", "good.csv"), "byte for byte"),
    (("k.curve.json", "good.csv", "-o", "good.csv", "--date", "2026-03-31"), "good.csv"),
    (("k.curve.json", "good.csv", "--target", "k.curve.json"), "target is needed"),
    (("k.curve.json", "good.csv", "-o", "x.csv", "--date", "2026-03-31"), "Call it x.check.json"),
    (("good.csv", "good.csv"), "good.csv is not a correction curve, but a table"),
])
def test_wrong_use(bench, arguments, words):
    assert words in said(call, "check", *arguments)


@pytest.mark.parametrize(("table", "words"), [
    ("image_lightness,density\n50,0.8\n50,0.81", "there is only one tone, L* "),
    ("image_lightness,density\n0,1.5\n0.3,1.1\n0.6,0.6\n1,0.1",
     "image_lightness runs from 0 to 1. A tone is a CIE L* from 0 to 100"),
    ("image_lightness,density,lightness\n0,1.5,\n30,,40\n60,0.5,\n100,0.1,",
     "line 3: lightness is 40. Other rows have a density"),
])
def test_tones_that_cannot_be_compared(bench, table, words):
    Path("odd.csv").write_text(table, encoding="utf-8")
    assert words in said(call, "check", "k.curve.json", "odd.csv")


def test_readings_of_another_curve_s_print(bench, curve):
    other = curve_of(dataclasses.replace(ROOM, ink=dataclasses.replace(ROOM.ink, max_density=3.0)))
    write_document("other.curve.json", other)
    from tonewright.files.targets import TargetRequest

    drawn = draw_target("t.tif", TargetRequest(levels=16, through=Path("other.curve.json"))).target
    rows = [f"{p.name},{d:.4f}" for p, d in zip(drawn.patches, ROOM.print_density(drawn.level),
                                                strict=True)]
    Path("list.csv").write_text("\n".join(["patch,density", *rows]), encoding="utf-8")
    way = ("k.curve.json", "list.csv", "--target", "t.target.json")
    assert "the curve it was made through" in said(call, "check", *way)
    assert "the curve it was made through" in said(call, "refine", *way, "-o", "x.curve.json")


def test_refine_keeps_what_is_known_and_names_the_old_curve(bench, curve):
    done = call("refine", "k.curve.json", "good.csv", "-o", "s.curve.json", "--plot", "s.png")
    assert done.exit_code == 0, done.output
    text = " ".join(done.stdout.split())
    assert "Curve s, refined from kallitype" in text and "Written: s.png" in text
    new = read_curve("s.curve.json")
    assert new.ancestor.name == "kallitype"
    assert new.recipe.printing_time == curve.recipe.printing_time
    assert "the curve's own" in said(call, "check", "s.curve.json", "good.csv")
    write_print("next.csv", new, gone_wrong(), seed=31)
    assert call("check", "s.curve.json", "next.csv").exit_code == 0
    found = json.loads(call("refine", "k.curve.json", "good.csv", "-o", "t.curve.json",
                            "--json").stdout)
    assert found["ancestor"] == "kallitype" and found["setup_changes"] == []


def test_refine_takes_more_patches(bench):
    levels = np.linspace(0.15, 0.85, 6)
    density = gone_wrong().print_density(levels)
    rows = [f"{u:.4f},{d:.4f}" for u, d in zip(levels, density, strict=True)]
    Path("few.csv").write_text("\n".join(["level,density", *rows]), encoding="utf-8")
    assert call("refine", "k.curve.json", "few.csv", "-o", "s.curve.json").exit_code == 0


def test_refine_refuses_a_print_off_the_promise_as_its_check_does(bench):
    words = said(call, "refine", "k.curve.json", "over.csv", "-o", "x.curve.json")
    advice = json.loads(call("check", "k.curve.json", "over.csv", "--json").stdout)["what_to_do"]
    assert "The cause: too much light, by 0." in words
    assert advice.startswith("print for") and words.lower().endswith(advice)


def test_renew_sends_a_print_to_refine(bench):
    before = files()
    words = said(call, "renew", "k.curve.json", "--readings", "good.csv", "-o", "x.curve.json")
    assert "tonewright refine CURVE good.csv" in words
    assert files() == before
