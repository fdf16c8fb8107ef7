"""What has drifted: strips and checks of known history, and everything that is no history."""

from __future__ import annotations

import dataclasses
import json
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import commands
import shelves
from reports import check_report
from tonewright.cli import main
from tonewright.cli.options import json_text
from tonewright.errors import OptionError
from tonewright.files.shelf import FoundDrift, read_drift
from tonewright.record.times import PrintingTime
from tonewright.shelf.drift import Dated, find_drift
from tonewright.shelf.findings import (
    CountedOnce,
    DatesMissing,
    DatesToCome,
    Drifted,
    FewForLimits,
    PrintStrays,
    StripsContradicted,
    TimeDrifted,
    TimeUnitsMixed,
)
from tonewright.show.drift_text import drift_json, drift_text
from tonewright.show.findings import sentence
from tonewright.show.shelf_findings import stops_words
from tonewright.show.shelf_plots import plot_drift
from tonewright.strip.findings import LighterAgain, StepPlace

TODAY = shelves.TODAY


def invoke(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def dated(documents):
    return [Dated(f"{i}.json", f"{i:064x}", one) for i, one in enumerate(documents)]


def found(documents, kind):
    return [f for f in find_drift(dated(documents), TODAY).findings if isinstance(f, kind)]


def checks(n, drift_from=99, stops=1 / 3, seed=0, sd=0.05, **more):
    rng = np.random.default_rng(seed)
    return [shelves.check(shelves.day(week), -stops * (week >= drift_from) + rng.normal(0, sd),
                          **more) for week in range(n)]


@pytest.fixture(scope="module")
def year(tmp_path_factory):
    """Ten months: strips and checks, a third of a stop slower from the 24th week on."""
    folder = tmp_path_factory.mktemp("year")
    shelves.checks_over_time(folder, 34, 24, 1 / 3, seed=2)
    for week in range(0, 34, 4):
        slower = 1 / 3 if week >= 24 else 0.0
        shelves.write(folder, f"strip-{week:02d}",
                      shelves.process(shelves.day(week), slower, seed=week))
    return folder


def test_the_report(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shelves.checks_over_time(tmp_path, 34, 24, 1 / 3, seed=2)
    check_report("drift.txt", drift_text(read_drift([Path()], today=TODAY), "drift.png"))


def test_a_third_of_a_stop_since_june(year):
    """By strips and by checks alike: its date, its size, and what to print for now."""
    result = read_drift([year], today=TODAY).drift
    drifted = [f for f in result.findings if isinstance(f, TimeDrifted)]
    assert [f.of for f in drifted] == ["kallitype", "cotton (invented)"] or \
        [f.of for f in drifted] == ["cotton (invented)", "kallitype"]
    for one in drifted:
        assert abs((date.fromisoformat(one.moving_since) - shelves.day(24)).days) <= 14
        assert one.slower_stops == pytest.approx(1 / 3, abs=3 * one.slower_stops_sd)
        assert one.slower_stops_sd < 0.1
        assert "since June 2026 a third of a stop slower" in sentence(one)
    assert drifted[0].print_for is not None
    by_curve = {f.of: f.print_for.value for f in drifted}
    assert np.log2(by_curve["kallitype"] / 480.0) == pytest.approx(1 / 3, abs=0.1)
    assert not [f for f in result.findings if isinstance(f, Drifted)]


def test_json_names(year):
    data = json.loads(json_text(drift_json(read_drift([year], today=TODAY))))
    assert {"series", "limits", "out_since", "drift_stops_per_month", "findings"} <= set(data)
    assert data["moving_since"][:7] in ("2026-06", "2026-05")
    lead = data["series"][data["leading"]]
    assert (lead["moving_since"], lead["out_since"]) == (data["moving_since"], data["out_since"])
    average = np.array(lead["ewma"], float)
    beyond = (average < lead["limits"]["ewma_low"]) | (average > lead["limits"]["ewma_high"])
    assert lead["date"][int(np.flatnonzero(~beyond)[-1]) + 1] == data["out_since"]
    assert 0.0 < data["drift_stops_per_month"] < 0.12
    for one in data["series"]:
        assert len(one["date"]) == len(one["values"]) == len(one["ewma"])
        assert one["date"] == sorted(one["date"])
    times = next(s for s in data["series"]
                 if s["quantity"] == "printing_time" and s["of"] == "checks")
    assert times["unit"] == "s"
    assert times["values"][0] == pytest.approx(480.0, rel=0.1)
    assert times["limits"]["low"] < 480.0 < times["limits"]["high"]
    assert {f["code"] for f in data["findings"]} >= {"time_drifted"}


def test_the_picture_is_drawn(year):
    found = read_drift([year], today=TODAY).drift
    times = tuple(s for s in found.series if s.quantity.endswith("_time"))
    assert {s.curve is None for s in times if s.moving_since} == {True, False}
    assert plot_drift(dataclasses.replace(found, series=times)).startswith(b"\x89PNG")


def test_steady_prints_are_no_alarm():
    """At most one false alarm in fifty checks, over all charts of a check together."""
    alarms = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        history = [shelves.check(
            shelves.day(week), rng.normal(0, 0.05), black_lightness=18 + rng.normal(0, 0.5),
            white_lightness=93 + rng.normal(0, 0.3),
            difference_lightness_mean=rng.normal(0, 0.6)) for week in range(16)]
        was = False
        for n in range(2, 17):
            now = any(s.out_since for s in find_drift(dated(history[:n]), TODAY).series)
            alarms += now and not was
            was = now
    assert alarms <= 12 * 16 / 50


@pytest.mark.parametrize("sign", [1, -1])
def test_a_sixth_of_a_stop_is_called_within_five_checks(sign):
    called = 0
    for seed in range(30):
        history = checks(13, 8, sign / 6, seed)
        called += any(
            any(isinstance(f, TimeDrifted) and (f.slower_stops > 0) == (sign > 0)
                for f in find_drift(dated(history[:n]), TODAY).findings)
            for n in range(9, 14))
    assert called >= 27


def test_strips_alone_show_a_sixth_of_a_stop():
    """Their middle tone does; where their black begins is told five times less surely."""
    history = [shelves.process(shelves.day(4 * i), 1 / 6 if i >= 7 else 0.0, seed=100 + i)
               for i in range(11)]
    one = found(history, TimeDrifted)[0]
    assert one.slower_stops == pytest.approx(1 / 6, abs=0.08)
    assert one.print_for is not None
    usual = np.mean([np.log2(p.summary.base_printing_time) for p in history[:7]])
    assert np.log2(one.print_for.value) - usual == pytest.approx(1 / 6, abs=0.25)


def test_black_white_and_mean_difference_are_followed():
    rng = np.random.default_rng(3)
    history = [shelves.check(shelves.day(i), rng.normal(0, 0.05),
                             white_lightness=93.0 + rng.normal(0, 0.3) - 3.0 * (i > 9))
               for i in range(16)]
    one = found(history, Drifted)
    assert [f.quantity for f in one] == ["white_lightness"]
    assert one[0].change == pytest.approx(-3.0, abs=0.5)
    assert "clear longer" in sentence(one[0])


def test_one_stray_print_is_named_and_no_drift():
    history = checks(16)
    history[12] = shelves.check(shelves.day(12), 0.5)
    assert not found(history, TimeDrifted)
    assert [f.file for f in found(history, PrintStrays)] == ["12.json"]


def test_minutes_and_integrator_units_are_never_mixed():
    minutes = [shelves.process(shelves.day(i), seed=i) for i in range(3)]
    units = [shelves.process(shelves.day(i), 0.0, "unit", seed=i + 5) for i in range(3, 5)]
    result = find_drift(dated([*minutes, *units]), TODAY)
    times = [s for s in result.series if s.quantity == "printing_time"]
    assert sorted((s.time_unit, len(s.points)) for s in times) == [("s", 3), ("unit", 2)]
    assert [type(f) for f in result.findings if isinstance(f, TimeUnitsMixed)] == [TimeUnitsMixed]


def test_densities_weighted_differently_are_followed_apart():
    mixed = [*checks(3), *checks(3, seed=1, scale="luminance")]
    result = find_drift(dated(mixed), TODAY)
    times = [s for s in result.series if s.quantity == "printing_time"]
    assert sorted((s.scale, len(s.points)) for s in times) == [("luminance", 3),
                                                               ("visual-density", 3)]
    assert "3 checks, visual density of the curve" in drift_text_of(result)
    zeros = [*checks(3), *checks(3, seed=1, relative_to_paper=True)]
    assert len([s for s in find_drift(dated(zeros), TODAY).series
                if s.quantity == "white_lightness"]) == 2


def test_setups_are_told_apart_but_not_by_capitals():
    one, other = checks(3), checks(3, seed=1)
    strips = [shelves.process(shelves.day(i), seed=i) for i in range(4)]
    strips[1] = dataclasses.replace(strips[1], setup=dataclasses.replace(
        strips[1].setup, paper="Cotton  (invented)"))
    strips[3] = dataclasses.replace(strips[3], setup=dataclasses.replace(
        strips[3].setup, lamp="sun"))
    other = [dataclasses.replace(c, curve=dataclasses.replace(c.curve, sha256="cd" * 32))
             for c in other]
    series = find_drift(dated([*one, *other, *strips]), TODAY).series
    assert sorted(len(s.points) for s in series if s.quantity == "printing_time") == [3, 3, 3]


def test_days_that_cannot_be_used_are_named():
    history = [*checks(4), shelves.check(None), shelves.check(TODAY + timedelta(1)),
               shelves.check(None)]
    for place, said in ((4, "spring"), (6, "0202-03-01")):
        history[place] = dataclasses.replace(
            history[place], setup=dataclasses.replace(history[place].setup, date=said))
    result = find_drift([*dated(history), Dated("copy.json", f"{0:064x}", history[0])], TODAY)
    kinds = {type(f): f for f in result.findings}
    assert kinds[DatesMissing].files == ("4.json", "6.json")
    assert kinds[DatesToCome].files == ("5.json",)
    assert kinds[CountedOnce].files == ("copy.json",)
    assert len(result.series[0].points) == 4


def test_the_same_readings_in_two_documents_count_once():
    """Kept twice under two names, they are not byte for byte the same; another day is another."""
    history = checks(5)
    again = dataclasses.replace(history[4], name="again", tones=tuple(
        dataclasses.replace(t, print_name="again") for t in history[4].tones))
    assert found([*history, again], CountedOnce) == [CountedOnce(("5.json",))]
    other_day = shelves.check(shelves.day(9))
    other_reading = dataclasses.replace(again, tones=(
        dataclasses.replace(again.tones[0], lightness=94.9), *again.tones[1:]))
    assert not found([*history, other_day, other_reading], CountedOnce)
    strips = [shelves.process(shelves.day(i), seed=i) for i in range(3)]
    assert found([*strips, dataclasses.replace(strips[1], name="again")], CountedOnce) == [
        CountedOnce(("3.json",))]


def test_contradicted_strips_and_unreached_blacks_do_not_count():
    strips = [shelves.process(shelves.day(i), seed=i) for i in range(4)]
    strips[0] = dataclasses.replace(strips[0], findings=(LighterAgain((StepPlace(2, "film",
                                                                                 None),)),))
    strips[1] = dataclasses.replace(strips[1], summary=dataclasses.replace(
        strips[1].summary, reached_black=False))
    result = find_drift(dated(strips), TODAY)
    count = {s.quantity: len(s.points) for s in result.series}
    assert count["middle_tone_time"] == 3
    assert count["printing_time"] == count["black_lightness"] == 2
    assert [f.files for f in result.findings if isinstance(f, StripsContradicted)] == [("0.json",)]
    few = next(f for f in result.findings if isinstance(f, FewForLimits))
    assert few.needed > few.prints


def test_a_check_that_says_no_light_or_no_time():
    """Unknown stays unknown: light is followed in stops, or not at all."""
    stops = checks(5, printing_time=None)
    result = find_drift(dated(stops), TODAY)
    one = next(s for s in result.series if s.quantity == "printing_time")
    assert one.time(0.0) is None
    assert "stop of light" in drift_text_of(result)
    none = [dataclasses.replace(c, exposure_off_stops=None, exposure_off_stops_sd=None,
                                black_lightness=None) for c in stops]
    quantities = {s.quantity for s in find_drift(dated(none), TODAY).series}
    assert quantities == {"white_lightness", "difference_lightness_mean"}


def drift_text_of(result):
    return drift_text(FoundDrift(result, ()), None)


def test_few_prints_that_scatter_widely_have_limits_beyond_any_timer():
    history = [shelves.check(shelves.day(i), off, exposure_off_stops_sd=None)
               for i, off in enumerate((0.0, 1.5, -1.0, 0.5))]
    history[3] = shelves.check(shelves.day(3), 60.0)
    result = find_drift(dated(history), TODAY)
    assert "no limit" in drift_text_of(result)
    data = drift_json(FoundDrift(result, ()))
    assert data["limits"]["low"] is data["limits"]["high"] is None
    assert data["series"][0]["values"][3] is None
    assert plot_drift(result)


def test_a_series_is_of_two_prints_at_least():
    with pytest.raises(OptionError, match="only one strip or check"):
        find_drift(dated(checks(1)), TODAY)
    with pytest.raises(OptionError, match="2 prints were found, no two of one paper"):
        find_drift(dated([shelves.check(shelves.day(0)), shelves.process(shelves.day(1))]), TODAY)
    with pytest.raises(OptionError, match="no strip and no check"):
        find_drift([], TODAY)
    with pytest.raises(OptionError, match="0 of 2 prints have a date"):
        find_drift(dated([shelves.check(None), dataclasses.replace(shelves.check(None), name="b")]),
                   TODAY)


@pytest.mark.parametrize(("stops", "said"), [
    (0.05, "0.05 stop"), (0.17, "a sixth of a stop"), (-0.34, "a third of a stop"),
    (0.48, "half a stop"), (1.02, "a stop"), (1.5, "1.5 stops")])
def test_stops_as_they_are_said(stops, said):
    assert stops_words(stops) == said


def test_every_finding_has_its_sentence():
    every = (
        TimeDrifted("cotton", "2026-03-14", "2026-03-28", 0.34, 0.03, False, PrintingTime(555.0)),
        TimeDrifted("", "2026-01-14", "2026-03-28", -0.2, 0.03, True, None),
        Drifted("cotton", "black_lightness", "2026-03-14", "2026-03-28", 2.1, 0.3),
        Drifted("cotton", "white_lightness", "2026-01-14", "2026-03-28", 0.6, 0.2),
        Drifted("cotton", "log_exposure_range", "2026-03-14", "2026-03-28", -0.12, 0.03),
        Drifted("kallitype", "difference_lightness_mean", "2026-03-14", "2026-03-28", 1.1, 0.3),
        PrintStrays("kallitype", "printing_time", "a/may.check.json", 0.5),
        FewForLimits("kallitype", 3, 4), DatesMissing(("a.json", "b.json")),
        DatesToCome(tuple(f"{i}.json" for i in range(8))), TimeUnitsMixed("cotton"),
        StripsContradicted(("a.json",)), CountedOnce(("copy.json",)))
    check_report("shelf_findings.txt", "\n".join(
        line for f in every for line in _wrapped(f"{f.code}: {sentence(f)}")))


def _wrapped(text):
    import textwrap

    return textwrap.wrap(text, 88, subsequent_indent="  ", break_on_hyphens=False)


def test_bad_input(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("empty").mkdir()
    shelves.write(Path("one"), "a", shelves.check(date(2026, 3, 1)))
    shelves.write(Path("curves"), "c", shelves.curve("c", None))
    shelves.write(Path("dates"), "a", shelves.check(None))
    shelves.write(Path("dates"), "b", shelves.check(date(2126, 3, 1)))
    Path("spoilt.check.json").write_text('{"format": "tonewright-check"', encoding="utf-8")
    for arguments, said in (
        ((), "no strip, check or folder is named"), (("empty",), "no document in empty"),
        (("nowhere",), "nowhere"), (("one",), "nly one strip or check"),
        (("curves",), "no strip and no check"), (("curves/c.curve.json",), "correction curve"),
        (("dates",), "0 of 2 prints have a date"), (("spoilt.check.json",), "whole JSON"),
        (("one", "--since", "March"), "2026-03-31"),
        (("one", "--since", "2026-10-01"), "no strip and no check since 2026-10-01"),
        (("one", "--plot", "no/x.png"), "folder"),
        (("one/a.check.json", "--plot", "one/a.check.json"), "a.check.json"),
    ):
        assert said in commands.said(invoke, "drift", *arguments), arguments


def test_the_command_reads_files_and_folders_and_draws(year, tmp_path):
    files = sorted(year.glob("*.check.json"))[:20]
    (tmp_path / "x.process.json").write_text("no", encoding="utf-8")
    done = invoke("drift", *files, tmp_path, "--plot", tmp_path / "d.png", "--json")
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert data["out_since"] is None
    assert len(data["series"][0]["date"]) == 20
    assert data["left_out"][0]["file"].endswith("x.process.json")
    assert (tmp_path / "d.png").read_bytes().startswith(b"\x89PNG")
    later = json.loads(invoke("drift", year, "--since", "2026-07-01", "--json").stdout)
    assert min(later["series"][0]["date"]) >= "2026-07-01"
    text = invoke("drift", year).output
    assert "renew, or print" in " ".join(text.split())
