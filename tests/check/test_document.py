"""The document of a check: written and read back, and what it refuses."""

from __future__ import annotations

import dataclasses
from datetime import date

import pytest

from tonewright.check.document import FORM, Cause, Check, Checked, CheckedTone
from tonewright.errors import DocumentError, OptionError
from tonewright.files.documents import open_document, write_document
from tonewright.record.dates import parse_date
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime

TONES = tuple(CheckedTone(f"A{i}", "first", 0.1 * i, 100.0 - 10.0 * i, 95.0 - 8.0 * i,
                          93.0 - 8.0 * i, -2.0, 0.7) for i in range(11))
CHECK = Check(
    made_by="tonewright", name="march", setup=Setup(paper="cotton", date="2026-03-31"),
    date="2026-03-31", curve=Checked("kallitype", "ab" * 32), printing_time=PrintingTime(480.0),
    scale="luminance", relative_to_paper=False, tones=TONES, passes=False, probability=0.001,
    difference_lightness_rms=2.0, difference_lightness_mean=-2.0, worst_image_lightness=50.0,
    worst_difference_lightness=-2.5, black_lightness=13.0, white_lightness=93.0,
    cause=Cause("exposure", None, "ink", 40.0, 0.34, 0.05), exposure_off_stops=0.34,
    exposure_off_stops_sd=0.05, next_time=PrintingTime(380.0))


def test_it_is_read_back_as_it_was_written(tmp_path):
    path = tmp_path / "march.check.json"
    write_document(path, CHECK)
    assert open_document(path, Check).document == CHECK
    assert CHECK.curve.short_id == "abababab"


@pytest.mark.parametrize(("entry", "value", "said"), [
    ("date", "31.3.2026", "31.3.2026"), ("date", "2026-02-30", "2026-02-30"),
    ("passes", True, "cause is exposure"), ("probability", 1.5, "1.5"),
    ("scale", "eye", "eye"), ("black_lightness", "dark", "dark")])
def test_an_entry_that_cannot_be_is_refused(entry, value, said):
    with pytest.raises(DocumentError, match=said):
        FORM.decode(Check, {**FORM.encode(CHECK), entry: value})


def test_there_is_a_tone():
    with pytest.raises(OptionError, match="no tone"):
        dataclasses.replace(CHECK, tones=())


def test_a_day_is_written_in_one_way_and_has_been():
    assert parse_date("2026-03-31", date(2026, 3, 31)) == date(2026, 3, 31)
    for text in ("20260331", "2026-W14-2", "tomorrow", "2026-3-31"):
        with pytest.raises(OptionError, match="2026-03-31"):
            parse_date(text)
    with pytest.raises(OptionError, match="has been made"):
        parse_date("2026-04-01", date(2026, 3, 31))
