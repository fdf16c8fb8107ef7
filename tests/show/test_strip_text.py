"""What a strip says, in plain words and under the promised names."""

from __future__ import annotations

import json
import re

import pytest

from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime, parse_time
from tonewright.show.strip_text import (
    exposing_text,
    eye_json,
    eye_text,
    next_words,
    process_json,
    process_text,
)
from tonewright.show.words import WIDTH
from tonewright.strip.exposure import EyeStrip, judge_by_eye
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, measure_strip

TABLET = nominal_tablet("31")
# issue B, "--json on strip"
PROMISED = (
    "base_printing_time_s", "base_printing_time_low_s", "base_printing_time_high_s",
    "strict_printing_time_s", "reached_black", "next_time_s", "log_exposure_range", "iso_range",
    "film_density", "max_black_density", "paper_white_density", "just_visible_lightness",
)  # fmt: skip


def eye(*strips):
    seen = [EyeStrip(parse_time(t), k) for t, k in strips]
    return judge_by_eye(TABLET, seen), seen


def process(stops=0.3, halves=("film", "bare"), unit="s"):
    room = Darkroom()
    seconds = round(room.base_time * 2.0**stops)
    read = measure_strip(room, TABLET.density, seconds, seed=4)
    density = {"film": read.density_film, "bare": read.density_bare}
    return make_process(Strip(tuple(
        StripPatch(int(s), float(d), None, half, PrintingTime(float(seconds), unit), None)
        for half in halves for s, d in zip(read.step, density[half], strict=True)),
        "visual-density", ()), TABLET, Setup(), "invented")


@pytest.fixture(scope="module")
def good():
    return process()


@pytest.fixture(scope="module")
def short():
    return process(-1.5, ("film",), "unit")


def test_eye_json_has_every_promised_key_and_null_where_unknown():
    data = eye_json(eye(("10min", 2))[0])
    assert set(PROMISED) | {"time_unit"} == set(data)
    assert data["base_printing_time_s"] == 600.0
    assert data["base_printing_time_high_s"] == 600.0
    assert data["base_printing_time_low_s"] == pytest.approx(476.6, abs=0.1)
    assert data["reached_black"] is True
    assert data["next_time_s"] is None
    assert data["time_unit"] == "s"
    for name in PROMISED[6:]:
        assert data[name] is None


def test_eye_json_of_a_lower_bound():
    data = eye_json(eye(("120units", 1))[0])
    assert data["reached_black"] is False
    assert data["base_printing_time_low_s"] == 120.0
    assert data["next_time_s"] == 170.0
    assert data["time_unit"] == "unit"
    for name in ("base_printing_time_s", "base_printing_time_high_s", "strict_printing_time_s"):
        assert data[name] is None


def test_process_json(good, short):
    for made in (good, short):
        data = process_json(made)
        assert set(PROMISED) <= set(data)
        json.dumps(data, allow_nan=False)
    data = process_json(good)
    assert data["reached_black"] is True
    assert data["next_time_s"] is None
    assert data["film_density"] == pytest.approx(0.06, abs=0.03)
    assert data["just_visible_lightness"] == 1.0
    data = process_json(short)
    assert data["reached_black"] is False
    assert data["next_time_s"] > short.reference_time.value
    assert data["film_density"] is None
    assert data["time_unit"] == "unit"


@pytest.mark.parametrize(("strips", "said"), [
    ([("10min", 1)], ["no steps merge", "lower bound", "try 14 min 15 s", "half a stop longer"]),
    ([("10min", 2)], ["10 min is right", "strict 8 min", "over 8 min and at most 10 min"]),
    ([("15min", 3)], ["print for 12 min", "0.33 stop shorter than 15 min", "steps 1 to 3 merge"]),
    ([("10min", 1), ("15min", 2)], ["15 min is right", "over 12 min and at most 15 min"]),
    ([("100units", 5)], ["print for 50 units"]),
])
def test_eye_text(strips, said):
    result, seen = eye(*strips)
    text = " ".join(eye_text(result, TABLET, seen).split())
    for words in [*said, "care"]:
        assert words in text


def test_process_text_says_every_fact(good):
    text = " ".join(process_text(good).split())
    found = good.summary
    for words in ("62 steps (film and bare) of the tablet 31",
                  f"density {found.max_black_density:.2f}", "nine times in ten",
                  f"(ISO range {found.iso_range})",
                  f"density range of {found.log_exposure_range:.2f}",
                  f"takes {found.film_density:.2f} of density", "one step shorter"):
        assert words in text
    assert "NOT reached" not in text
    assert "None" not in text


def test_a_short_strip_says_what_to_do(short):
    text = " ".join(process_text(short).split())
    assert "NOT reached on this strip" in text
    assert "Maximum black was not reached" in text
    assert " units" in text
    assert not re.search(r"\bmin\b", text)
    assert re.match(r"print another strip for \d+ units: ", next_words(short))


def test_the_next_step_names_the_file(good):
    assert "--process mine.process.json" in next_words(good, "mine.process.json")
    assert "print the target for" in next_words(good)


def test_text_is_no_wider_than_a_screen_and_warns_of_the_lamp(good, short):
    result, seen = eye(("10min", 1))
    texts = [process_text(good), process_text(short), eye_text(result, TABLET, seen),
             exposing_text()]
    for line in "\n".join(texts).splitlines():
        assert len(line) <= WIDTH
    assert all(word in exposing_text() for word in ("UV", "gloves", "safety data"))
