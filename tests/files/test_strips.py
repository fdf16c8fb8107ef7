"""From files to a process, from Python: each file is read once, and nothing silently ignored."""

from __future__ import annotations

from pathlib import Path

import pytest

from tonewright.errors import TonewrightError
from tonewright.files import strips
from tonewright.files.strips import StripSettings, read_strip
from tonewright.measured.readings import ReadingOptions
from tonewright.record.setup import Setup
from tonewright.record.times import parse_time
from tonewright.strip.fit import make_process
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, measure_strip

TABLET = nominal_tablet("31")
TIMES = (parse_time("30min"), parse_time("45min"))


@pytest.fixture
def paths(tmp_path):
    """Two tables of readings and two pictures."""
    made = []
    for name, time, seed in zip("ab", TIMES, (1, 2), strict=True):
        read = measure_strip(Darkroom(), TABLET.density, time.value, seed=seed)
        rows = [f"{s},{d:.3f}" for s, d in zip(read.step, read.density_film, strict=True)]
        made.append(tmp_path / f"{name}.csv")
        made[-1].write_text("\n".join(["step,density", *rows]) + "\n", encoding="utf-8")
    for name in "cd":
        made.append(tmp_path / f"{name}.png")
        made[-1].write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(32))
    return made


def test_from_files_to_a_process(paths, monkeypatch):
    read = []
    real = strips.ScanOrTable
    monkeypatch.setattr(strips, "ScanOrTable", lambda p: (read.append(p), real(p))[1])
    strip = read_strip(paths[:2], TABLET, StripSettings(TIMES))
    assert read == paths[:2]
    assert strip.times() == [*TIMES]
    assert [s.name for s in strip.sources] == ["a.csv", "b.csv"]
    process = make_process(strip, TABLET, Setup(), "kallitype")
    found = process.summary
    assert found.base_printing_time_low < Darkroom().base_time < found.base_printing_time_high


def test_one_time_holds_for_all_files(paths):
    assert read_strip(paths[:2], TABLET, StripSettings(TIMES[:1])).times() == [TIMES[0]]


@pytest.mark.parametrize(("files", "settings", "code"), [
    ((0,), StripSettings(TIMES), "strip_times_uneven"),
    ((0, 1, 1), StripSettings(TIMES), "strip_times_uneven"),
    ((0,), StripSettings(), "strip_time_unknown"),
    ((0,), StripSettings(TIMES[:1], scanner=Path("x.scanner.json")), "for_scans_alone"),
    ((0, 1), StripSettings(TIMES, corners=nominal_tablet("31").density), "for_scans_alone"),
    ((0,), StripSettings(TIMES[:1], halves="film"), "for_scans_alone"),
    ((0,), StripSettings(TIMES[:1], channel="red"), "for_scans_alone"),
    ((0,), StripSettings(TIMES[:1], allow_jpeg=True), "for_scans_alone"),
    ((2, 3), StripSettings(TIMES, corners=nominal_tablet("31").density), "corners_of_several"),
    ((0, 2), StripSettings(TIMES, flip=True), "scan_flipped"),
    ((0, 2), StripSettings(TIMES, ReadingOptions(None, None, True, 0.1)), "scan_relative"),
])
def test_what_would_not_count_is_refused(paths, files, settings, code):
    with pytest.raises(TonewrightError) as caught:
        read_strip([paths[i] for i in files], TABLET, settings)
    assert caught.value.code == code
