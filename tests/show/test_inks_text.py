"""What `inks` says: whole reports as golden files, the other cases by their words."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import chart
from materials import even_ink, flattening
from reports import check_report
from rooms import ColouredInks
from tonewright.cli.options import json_text
from tonewright.inks.findings import ClearFilmOff, InkPatchesDiffer
from tonewright.inks.rank import InkSettings, rank_inks
from tonewright.record.setup import parse_colour
from tonewright.record.times import PrintingTime
from tonewright.show.inks_text import inks_json, inks_text, next_step, why
from tonewright.show.words import WIDTH
from tonewright.virtual.darkroom import Darkroom, Ink

ROOM = Darkroom()
HEAVY = ColouredInks(even_ink(2.4), Ink(1.1, flattening, 1.0), even_ink(0.4))
LIGHT = ColouredInks(even_ink(0.6), even_ink(0.5), even_ink(0.2))
SOME = [parse_colour(c) for c in ("0,0,0", "0,255,255", "255,0,0", "128,0,255", "255,255,0")]


@pytest.fixture(scope="module")
def process():
    return chart.process_of(ROOM)


def ranked(process, inks, stops=0.0, levels=(1.0, 0.5)):
    target = chart.chart_target(levels, colours=SOME)
    read = chart.printed(ROOM, inks, target, stops, seed=3, noise=0.005)
    time = None if stops == 0.0 else PrintingTime(round(ROOM.base_time * 2.0**stops))
    return rank_inks(read, process, InkSettings(time))


def words(ranking):
    return " ".join(inks_text(ranking).split())


@pytest.mark.parametrize(("name", "inks", "levels"), [
    ("inks.txt", HEAVY, (1.0, 0.5)), ("inks_longer.txt", HEAVY, (1.0,)),
    ("inks_none.txt", LIGHT, (1.0,)),
])
def test_golden_reports(process, name, inks, levels):
    check_report(name, inks_text(ranked(process, inks, levels=levels)))


@pytest.mark.parametrize(("inks", "stops", "levels"), [
    (HEAVY, 0.0, (1.0, 0.5)), (HEAVY, 2.0, (1.0,)), (LIGHT, 0.0, (1.0,)), (HEAVY, -3.0, (1.0,)),
])  # fmt: skip
def test_json_holds_every_promised_key_and_null_where_unknown(process, inks, stops, levels):
    ranking = ranked(process, inks, stops, levels)
    data = json.loads(json_text(inks_json(ranking)))
    assert {"process", "printing_time_s", "needed_density_range", "inks", "pick", "pick_sure",
            "why", "shortfall", "next_time_s", "next", "warnings", "findings",
            "doubtful"} <= set(data)
    assert [i["rank"] for i in data["inks"]] == list(range(1, len(SOME) + 1))
    for ink, shown in zip(ranking.inks, data["inks"], strict=True):
        assert (shown["printing_density"] is None) == (ink.full.density is None)
        assert (shown["printing_density_high"] is None) == (ink.full.high is None)
        assert 0.0 not in (shown["printing_density"], shown["slope"])
    assert max(map(len, inks_text(ranking).splitlines())) <= WIDTH


def test_the_heavy_chart_says_bounds_pick_and_next_time(process):
    said = words(ranked(process, HEAVY, levels=(1.0,)))
    for part in ("the base printing time (--time, if it was another)", "at least", "<- pick",
                 "paper white at full ink", "stops longer), and say so (--time", "Wear gloves"):
        assert part in said


def test_a_chart_of_full_ink_alone_says_what_else_to_print(process):
    said = words(ranked(process, HEAVY, levels=(1.0,)))
    assert "the gentlest cannot be told" in said
    assert "tonewright target --ink-colours --ink-levels 1,0.5" in said


def test_a_long_print_needs_no_further_one_and_no_cautions(process):
    said = words(ranked(process, HEAVY, 2.0))
    assert "tonewright target --ink-colour" in said and "Safety" not in said


def test_too_light_inks_say_by_how_much(process):
    ranking = ranked(process, LIGHT)
    said = why(ranking)
    assert f"{ranking.shortfall:.2f} (" in said and "stops) less than" in said
    assert "0,0,0, blocks about 1.2" in said and "higher contrast" in said
    assert "accept grayer whites" in next_step(ranking)
    assert inks_json(ranking)["pick_sure"] is None


def test_a_wrong_time_and_many_stains_are_said(process):
    ranking = ranked(process, HEAVY)
    ranking = replace(ranking, findings=(
        ClearFilmOff(0.6, process.name, ranking.time_as_set),
        *(InkPatchesDiffer((f"A{i}", f"B{i}"), 0.2) for i in range(9))))
    said = words(ranking)
    assert "Clear film printed 2.0 stops lighter than the strip" in said
    assert "Patches A0, B0 are of one ink and differ by 0.20" in said
    assert "3 more pairs of one ink differ too much" in said
