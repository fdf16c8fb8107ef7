"""`tonewright strip`: by eye, from readings, and with everything that can be wrong."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from commands import files
from commands import said as refused
from prints import rebuilt
from tonewright.cli import main
from tonewright.files.documents import read_process
from tonewright.record.codec import encode
from tonewright.show import report
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, measure_strip

REFERENCE = Path(__file__).parents[1] / "reference"
# the entries of strip --json that other programs may rely on
PROMISED = {
    "base_printing_time_s", "base_printing_time_low_s", "base_printing_time_high_s",
    "strict_printing_time_s", "reached_black", "next_time_s", "log_exposure_range", "iso_range",
    "film_density", "max_black_density", "paper_white_density", "just_visible_lightness",
}  # fmt: skip
HEADER = ("step", "density", "through", "time")


def rows(stops=0.3, tablet="31", seed=4):
    room = Darkroom()
    seconds = round(room.base_time * 2.0**stops)
    read = measure_strip(room, nominal_tablet(tablet).density, seconds, seed=seed)
    return [[str(s), f"{d:.3f}", half, f"{seconds}s"]
            for half, density in (("film", read.density_film), ("bare", read.density_bare))
            for s, d in zip(read.step, density, strict=True)]


def write(name, body, header=HEADER, note="# invented"):
    lines = [note, ",".join(header), *(",".join(r) for r in body)]
    Path(name).write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Runs `tonewright` in a folder with one good strip."""
    monkeypatch.chdir(tmp_path)
    write("strip.csv", rows())

    def call(*arguments):
        return CliRunner().invoke(main, arguments)

    return call


@pytest.mark.parametrize(("density", "way_out"), [
    (lambda s: 0.2 - 0.005 * s, "far too short"), (lambda s: 1.6 - 0.001 * s, "far too long"),
    (lambda s: 1.6 - 0.05 * s if s < 21 else 6.5, None)])
def test_care_is_told_where_only_another_print_leads_out(run, density, way_out):
    write("odd.csv", [[str(s), f"{density(s):.3f}"] for s in range(1, 22)], ("step", "density"))
    said = refused(run, "strip", "odd.csv", "--tablet", "21", "--time", "10min")
    assert ("wear eye protection" in said) == (way_out is not None)
    assert way_out is None or way_out in said


def test_care_is_told_where_every_step_merges(run):
    for merged, print_again in (("31", True), ("1.5", False)):
        said = refused(run, "strip", "--tablet", "31", "--time", "10min", "--merged", merged)
        assert ("wear eye protection" in said) == print_again


def found(run, *arguments):
    done = run(*arguments, "--json")
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    return json.loads(done.stdout)


def codes(data):
    return [f["code"] for f in data["findings"]]


READ = ("strip", "strip.csv", "--tablet", "31")


def test_from_readings(run):
    done = run(*READ, "-o", "mine.process.json", "--paper", "cotton")
    assert done.exit_code == 0, done.output
    said = " ".join(done.stdout.split())
    for words in ("Process mine", "62 steps (film and bare)", "base printing time", "ISO range",
                  "Written: mine.process.json", "--process mine.process.json"):
        assert words in said
    assert "UV light harms" not in said, "what comes next is measuring: nothing is exposed"
    process = read_process("mine.process.json")
    assert (process.name, process.setup.paper) == ("mine", "cotton")
    base = Darkroom().base_time
    low, high = process.summary.base_printing_time_low, process.summary.base_printing_time_high
    assert 0.9 * low <= base <= 1.1 * high


def test_json_keys_as_promised(run):
    data = found(run, *READ)
    assert set(data) >= PROMISED
    assert data["output"] is None
    assert data["time_unit"] == "s"
    assert data["reached_black"] is True
    assert data["next_time_s"] is None
    assert data["film_density"] == pytest.approx(0.06, abs=0.03)
    assert 100 <= data["iso_range"] <= 180


def test_without_output_nothing_is_written(run):
    before = files()
    done = run(*READ)
    assert done.exit_code == 0
    assert "Written:  no process (add -o" in done.stdout
    assert files() == before


def test_film_alone_and_integrator_units(run):
    write("film.csv", [r[:2] for r in rows()[:31]], HEADER[:2])
    seconds = found(run, "strip", "film.csv", "--tablet", "31", "--time", "120s")
    units = found(run, "strip", "film.csv", "--tablet", "31", "--time", "120units")
    assert units["time_unit"] == "unit"
    assert units["film_density"] is None
    assert {k: v for k, v in units.items() if k != "time_unit"} == {
        k: v for k, v in seconds.items() if k != "time_unit"}


def test_a_short_strip_names_the_next_time(run):
    write("short.csv", rows(-1.5))
    data = found(run, "strip", "short.csv", "--tablet", "31")
    assert data["reached_black"] is False
    assert data["next_time_s"] > 1.3 * Darkroom().base_time * 2.0**-1.5
    assert codes(data) == ["strip_too_short"]
    text = run("strip", "short.csv", "--tablet", "31").stdout
    assert "Next:     print another strip for" in text


def test_several_strips_each_with_its_time(run):
    for name, stops, seed in (("a.csv", 0.0, 1), ("b.csv", 1.5, 2)):
        write(name, [r[:3] for r in rows(stops, seed=seed)], HEADER[:3])
    times = [f"{Darkroom().base_time * f:.0f}s" for f in (1.0, 2.0**1.5)]
    data = found(run, "strip", "a.csv", "b.csv", "--tablet", "31", "--time", times[0],
                 "--time", times[1])
    assert data["reciprocity"] == 1.0
    assert "2 printing times are given for 1 file" in refused(
        run, "strip", "a.csv", "--tablet", "31", "--time", times[0], "--time", times[1])
    assert "same unit" in refused(run, "strip", "a.csv", "b.csv", "--tablet", "31", "--time",
                                  "10min", "--time", "120units")


def test_a_measured_tablet_moves_the_answer(run):  # published.json: tablet_21_measured
    measured = json.loads((REFERENCE / "tablet_21_measured.json").read_text(encoding="utf-8"))
    write("tablet.csv", [[str(k), str(d)] for k, d in enumerate(measured["density"], 1)],
          ("step", "density"))
    write("strip21.csv", rows(tablet="21"))
    nominal = found(run, "strip", "strip21.csv", "--tablet", "21")
    real = found(run, "strip", "strip21.csv", "--tablet", "tablet.csv")
    assert real["base_printing_time_s"] != pytest.approx(nominal["base_printing_time_s"], rel=0.01)
    assert real["log_exposure_range"] < nominal["log_exposure_range"]


def test_read_from_the_other_end_or_with_steps_left_out(run):
    right = found(run, *READ)
    body = rows()
    write("back.csv", [[str(32 - int(r[0])), *r[1:]] for r in body])
    assert "flip it (--flip)" in refused(run, "strip", "back.csv", "--tablet", "31", "-o", "x.json")
    assert found(run, "strip", "back.csv", "--tablet", "31", "--flip") == right
    assert "(leave out --flip)" in refused(run, *READ, "--flip")
    write("gap.csv", [r for r in body if r[0] != "7"])
    assert "is missing step 7" in refused(run, "strip", "gap.csv", "--tablet", "31")
    assert found(run, "strip", "gap.csv", "--tablet", "31", "--skip", "7")["iso_range"]


def change(column, value, step=None):
    def edit(body):
        at = HEADER.index(column)
        return [[*r[:at], value, *r[at + 1:]] if step in (None, r[0]) else r for r in body]
    return edit


@pytest.mark.parametrize(("edit", "said"), [
    (lambda b: [*b, b[3]], "step 4 more than once.*column print"),
    (change("time", "0s"), "longer than 0"), (change("time", "12"), "a time has a unit"),
    (change("time", "120units", "9"), "same unit"), (change("time", ""), "no printing time"),
    (lambda b: [[*r[:2], "bare" if r[2] == "film" else "film", r[3]] for r in b],
     "swap film and bare"),
    (lambda b: [r for r in b if r[2] == "bare"], "all steps are bare"),
    (change("through", "glass"), "'glass'.*film.*bare"),
    (change("density", "0.10"), "coated and developed.*print another for 2 h"),
    (change("density", "abc", "5"), "'abc'"),
    (change("density", "nan", "5"), "'nan'"), (change("density", "-0.4", "5"), "own white"),
    (lambda b: [[r[0], f"{100 * 10 ** -float(r[1]):.2f}", *r[2:]] for r in b], "column luminance"),
    (change("step", "1.5", "2"), "step 1.5"), (change("step", "32", "31"), "steps 1 to 31"),
    (lambda b: [r for r in b if int(r[0]) < 22], "missing steps 22, 23.* and 31"),
    (lambda b: [], "no rows"),
])
def test_strips_that_cannot_be(run, edit, said):
    write("bad.csv", edit(rows()))
    message = refused(run, "strip", "bad.csv", "--tablet", "31", "-o", "x.process.json")
    assert re.search(said, message, re.IGNORECASE), message


@pytest.mark.parametrize("step", ["0", "32", "-1"])
def test_a_step_to_skip_that_the_tablet_does_not_have(run, step):
    assert f"step {step} is to be left out" in refused(run, *READ, "--skip", step)


def test_wet_readings_are_warned_of(run):
    write("wet.csv", [[*r, "wet"] for r in rows()], (*HEADER, "state"))
    write("note.csv", rows(), note="# measured while damp")
    for name in ("wet.csv", "note.csv"):
        data = found(run, "strip", name, "--tablet", "31")
        assert data["findings"] == [{"code": "readings_wet", "file": name}]
        assert len(data["warnings"]) == 1
    assert not found(run, *READ)["warnings"]


@pytest.mark.parametrize(("tablet", "said"), [
    ("21", "steps 1 to 21"), ("nope", "31 (steps of 0.10)"), ("nope.csv", "no file"),
    ("strip.csv", "without a gap"), ("3x0.5", "6 at least"), ("31x0", "denser"),
    ("31x0.5", "between 0 and 6")])
def test_tablets_that_do_not_fit(run, tablet, said):
    assert said in refused(run, "strip", "strip.csv", "--tablet", tablet)


def test_nothing_is_written_over(run):
    write("tablet.csv", [[str(k), str(k / 10)] for k in range(1, 32)], ("step", "density"))
    Path("there.process.json").write_text("mine", encoding="utf-8")
    assert "--force" in refused(run, *READ, "-o", "there.process.json")
    for source in ("strip.csv", "tablet.csv"):
        assert "being read" in refused(run, "strip", "strip.csv", "--tablet", "tablet.csv", "-o",
                                       source, "--force")
    assert run(*READ, "-o", "there.process.json", "--force").exit_code == 0


@pytest.mark.parametrize(("arguments", "said"), [
    (("--tablet", "31"), "--merged"), (("--tablet", "31", "--time", "10min"), "--merged"),
    (("--tablet", "31", "--merged", "2"), "0 printing times and 1 count of merged steps"),
    (("strip.csv", "--tablet", "31", "--merged", "2"), "or measured"),
    (("strip.csv",), "--tablet"), (("none.csv", "--tablet", "31"), "no file"),
    (("strip.csv", "--tablet", "31", "--just-visible", "0"), "0.1 and 10"),
    (("--tablet", "31", "--time", "10", "--merged", "2"), "has a unit"),
    (("--tablet", "31", "--time", "0min", "--merged", "2"), "longer than 0"),
    (("--tablet", "31", "--time", "9min", "--merged", "31"), "told apart) and 30"),
    (("--tablet", "31", "--time", "9min", "--merged", "0"), "between 1 (all steps"),
    (("--tablet", "31", "--time", "10min", "--time", "90units", "--merged", "1", "--merged", "2"),
     "one time is 90 units, another 10 min"),
    (("--tablet", "31", "--time", "15min", "--time", "10min", "--merged", "1", "--merged", "3"),
     "more than 15 min, by another at most 8 min"),
    (("--tablet", "31", "--time", "9min", "--merged", "2", "-o", "x.json"), "and x.json"),
    (("--tablet", "31", "--time", "9min", "--merged", "2", "--plot", "x.png"), "and x.png"),
    (("strip.csv", "--tablet", "31", "--channel", "red"), "a channel is asked for"),
    (("strip.csv", "--tablet", "31", "--halves", "1"), "the order of halves is asked for"),
])
def test_wrong_use(run, arguments, said):
    assert said in refused(run, "strip", *arguments)


def test_a_targets_file_is_sent_to_fit(run):
    write("target.csv", [["0", "1.6"], ["1", "0.1"]], ("level", "density"))
    assert "tonewright fit" in refused(run, "strip", "target.csv", "--tablet", "31", "--time",
                                       "9min")


def test_by_eye(run):
    data = found(run, "strip", "--tablet", "31", "--time", "10min", "--merged", "1")
    assert set(data) >= PROMISED
    assert data["base_printing_time_s"] is None
    assert data["base_printing_time_low_s"] == 600.0
    assert 14 * 60 <= data["next_time_s"] <= 15 * 60  # common practice, no source
    data = found(run, "strip", "--tablet", "31", "--time", "10min", "--merged", "1", "--time",
                 "15min", "--merged", "2")
    assert data["base_printing_time_s"] == 900.0
    assert 600.0 <= data["base_printing_time_low_s"] < 900.0
    assert data["strict_printing_time_s"] == pytest.approx(720.0, abs=15.0)  # as above
    text = run("strip", "--tablet", "31", "--time", "15min", "--merged", "3").stdout
    assert "print for 12 min" in text
    assert "UV light harms" in text


def without(body, step, half, change):
    """One cell of the readings mistyped or stained."""
    return [[r[0], f"{float(r[1]) + change:.3f}", *r[2:]] if r[:1] == [step] and r[2] == half
            else r for r in body]


def test_a_slip_of_the_pen_does_not_move_the_time(run):
    right = found(run, *READ)
    write("slip.csv", without(rows(), "2", "film", -0.5))
    slipped = found(run, "strip", "slip.csv", "--tablet", "31")
    assert slipped["base_printing_time_s"] == pytest.approx(right["base_printing_time_s"],
                                                            rel=0.06)
    (said,), (data,) = slipped["warnings"], slipped["findings"]
    (step,) = data["steps"]
    assert (data["code"], step["step"], step["through"]) == ("steps_set_aside", 2, "film")
    assert step["off_density"] == pytest.approx(-0.5, abs=0.06)
    assert "--count-all" in said
    counted = found(run, "strip", "slip.csv", "--tablet", "31", "--count-all")
    assert "steps_set_aside" not in codes(counted)
    assert counted["base_printing_time_s"] != pytest.approx(right["base_printing_time_s"],
                                                            rel=0.06)
    done = run("strip", "slip.csv", "--tablet", "31", "-o", "slip.process.json")
    assert done.exit_code == 0
    process = read_process("slip.process.json")
    assert process.summary.set_aside == (1,)
    assert slipped["set_aside"] == [{"step": 2, "through": "film", "print": None,
                                     "density": process.strip.patches[1].density}]
    assert len(process.strip.patches) == 62  # nothing measured is lost


def test_two_papers_in_one_call_are_warned_of(run):
    write("one.csv", [r for r in rows() if r[2] == "film"])
    write("two.csv", [[r[0], f"{0.3 + 0.6 * float(r[1]):.3f}", *r[2:]] for r in rows(seed=9)
                      if r[2] == "film"])
    write("same.csv", [r for r in rows(seed=9) if r[2] == "film"])
    apart = found(run, "strip", "one.csv", "two.csv", "--tablet", "31")
    assert "strips_disagree" in codes(apart)
    assert apart["contradicted"]
    same = found(run, "strip", "one.csv", "same.csv", "--tablet", "31")
    assert not codes(same)
    assert not same["contradicted"]
    assert "same readings" in refused(run, "strip", "one.csv", "one.csv", "--tablet", "31")
    # a copy stays a copy when a table program wrote it anew, under another time
    lines = Path("one.csv").read_bytes().splitlines()
    Path("copy.csv").write_bytes(b"\r\n".join(lines).replace(b"10min", b"20min") + b"\r\n")
    assert "same readings" in refused(run, "strip", "one.csv", "copy.csv", "--tablet", "31")


def test_readings_zeroed_on_the_paper(run):
    right = found(run, *READ)
    white = right["paper_white_density"]
    write("zeroed.csv", [[r[0], f"{float(r[1]) - white:.3f}", *r[2:]] for r in rows()])
    assert codes(found(run, "strip", "zeroed.csv", "--tablet", "31")) == ["zeroed_on_paper"]
    mended = found(run, "strip", "zeroed.csv", "--tablet", "31", "--relative-to-paper",
                   "--paper-density", f"{white:.3f}")
    assert mended["base_printing_time_s"] == pytest.approx(right["base_printing_time_s"],
                                                           rel=0.01)
    assert "(--paper-density DENSITY)" in refused(run, "strip", "zeroed.csv", "--tablet", "31",
                                            "--relative-to-paper")
    assert "--relative-to-paper" in refused(run, *READ, "--paper-density", "0.1")


def test_paper_white_that_was_not_reached_is_said(run):
    body = [r for r in rows(1.5) if int(r[0]) <= 16]
    write("half.csv", body)
    white = "strip_white_not_reached"
    assert white in codes(found(run, "strip", "half.csv", "--tablet", "16x0.10"))
    assert white not in codes(found(run, *READ))


def test_after_a_short_strip_no_time_is_called_the_base_printing_time(run):
    write("short.csv", rows(-1.5))
    text = " ".join(run("strip", "short.csv", "--tablet", "31").stdout.split())
    assert "base printing time: not known yet; nine times in ten it lies between" in text
    assert "one step less" not in text


def test_the_response_is_drawn_and_not_over_another_file(run):
    done = run("strip", "strip.csv", "--tablet", "31", "--time", "12min", "-o", "p.process.json",
               "--plot", "p.png")
    assert done.exit_code == 0, done.output
    assert Path("p.png").read_bytes().startswith(b"\x89PNG")
    assert "Written:  p.png\n" in done.stdout
    assert "p.png is there already" in refused(
        run, "strip", "strip.csv", "--tablet", "31", "--time", "12min", "--plot", "p.png")


def test_rewording_changes_no_document(run, monkeypatch):
    """Every sentence of show/ replaced by "x": the same document, byte for byte."""
    write("slip.csv", [[*r, "wet"] for r in without(rows(-1.5), "4", "film", -0.5)],
          (*HEADER, "state"))

    def made(name, *more):
        done = run("strip", "slip.csv", "--tablet", "31", "-o", name, *more)
        assert done.exit_code == 0, done.output
        return done.stdout, Path(name).read_bytes()

    before, document = made("a.process.json")
    monkeypatch.setattr(report, "sentence", lambda _found: "x")
    after, again = made("a.process.json", "--force")
    assert again == document
    assert before.count("warning") == after.count("warning   x") == 3
    process = read_process("a.process.json")
    assert encode(rebuilt(process)) == encode(process)
