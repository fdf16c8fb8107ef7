"""A strip as it is typed, scanned or counted, and the process it gives."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tonewright.bench.tasks.views import View, view
from tonewright.errors import OptionError
from tonewright.files.blank import strip_table
from tonewright.files.curves import SetupFiles
from tonewright.files.documents import read_tablet, write_process
from tonewright.files.safe import together, write_text
from tonewright.files.strips import StripSettings, read_strip
from tonewright.files.tables import STRIPS, parse_table
from tonewright.record.setup import Setup
from tonewright.record.times import parse_time
from tonewright.scales import STOP
from tonewright.show.charts import strip_chart, strip_sketch
from tonewright.show.commands import StripCommand
from tonewright.show.strip_text import eye_advice, eye_facts, process_advice, process_facts
from tonewright.strip.exposure import eye_strips, judge_by_eye
from tonewright.strip.fit import make_process
from tonewright.strip.places import start
from tonewright.strip.process import Process, ProcessSettings, process_name
from tonewright.strip.readings import Strip, StripOptions, combine_strips, strip_from_table
from tonewright.strip.tablet import Tablet

HALVES = ("film", "bare")


@dataclass(frozen=True)
class TypedStrip:
    """What stands in the fields of the page."""

    tablet: str = "31"
    time: str = ""
    film: tuple[str, ...] = ()
    """Density of each step under the film, as typed; blank where none is."""
    bare: tuple[str, ...] = ()
    skip: tuple[int, ...] = ()
    """Steps that are left out."""
    merged: str = ""
    """By eye: how many steps cannot be told apart."""

    def densities(self, tablet: Tablet) -> dict[str, list[str]]:
        """The halves of which anything was typed, a text for each step."""
        count = len(tablet.densities)
        halves = {half: [*getattr(self, half)][:count] for half in HALVES}
        return {half: [*(c.strip() for c in cells), *[""] * (count - len(cells))]
                for half, cells in halves.items() if any(c.strip() for c in cells)}


def steps_of(tablet: str) -> int:
    """How many steps a tablet has."""
    return len(read_tablet(tablet).densities)


def try_strip(typed: TypedStrip, setup: Path | None, name: str) -> View:
    """What a strip says as it is typed so far; nothing is written."""
    tablet = read_tablet(typed.tablet)
    strip = _typed_strip(typed, tablet, f"{name}-strip.csv")
    made_with = SetupFiles(Setup(), setup).read()
    return _view(make_process(strip, tablet, made_with, name, ProcessSettings()))


def sketch_strip(typed: TypedStrip, before: View | None) -> dict[str, Any]:
    """The picture of a strip in a moment: on the axis of the last fit, if there was one."""
    tablet = read_tablet(typed.tablet)
    strip = _typed_strip(typed, tablet, "strip")
    film, start = (None, 0.0) if before is None else before.axis
    return strip_sketch(strip, tablet, film, start)


def keep_strip(typed: TypedStrip, asked: StripCommand) -> View:
    """Write the table that was typed and the process it gives, both or neither."""
    tablet = read_tablet(typed.tablet)
    with together():
        write_text(asked.readings, _table(typed, tablet))
        process = _made(_typed_strip(typed, tablet, asked.readings.name), tablet, asked)
        write_process(asked.process, process)
    return _view(process, str(asked))


def read_scanned(asked: StripCommand, *, keep: bool) -> View:
    """The same from the scan of a strip."""
    tablet, times = read_tablet(asked.tablet), (parse_time(asked.time),)
    process = _made(read_strip([asked.readings], tablet, StripSettings(
        times, skip=asked.skip, scanner=asked.scanner)), tablet, asked)
    if keep:
        write_process(asked.process, process)
    return _view(process, str(asked) if keep else None)


def by_eye(typed: TypedStrip) -> View:
    """What a strip says whose merged steps were counted."""
    tablet, count = read_tablet(typed.tablet), typed.merged.strip()
    if not count.isdecimal():
        raise OptionError(f"{count} is typed for the merged steps", "it is a whole number",
                          "count them through the film, step 1 too", code="merged_unclear")
    strips = eye_strips((parse_time(typed.time),), (int(count),))
    result = judge_by_eye(tablet, strips)
    return view(eye_facts(result, tablet, strips), result.findings, eye_advice(result, tablet))


def _typed_strip(typed: TypedStrip, tablet: Tablet, name: str) -> Strip:
    """What was typed, read as the file of that name would be."""
    table = parse_table(_table(typed, tablet).encode(), name, "step", STRIPS)
    return combine_strips([strip_from_table(table, tablet, StripOptions(skip=typed.skip))])


def _table(typed: TypedStrip, tablet: Tablet) -> str:
    time = parse_time(typed.time) if typed.time.strip() else None
    return strip_table(tablet, typed.densities(tablet) or {"film": [""] * len(tablet.densities)},
                       time)


def _made(strip: Strip, tablet: Tablet, asked: StripCommand) -> Process:
    made_with = SetupFiles(Setup(), asked.setup).read()
    return make_process(strip, tablet, made_with, process_name(asked.process.name))


def _view(process: Process, command: str | None = None) -> View:
    found = process.summary
    return view(process_facts(process), process.findings, process_advice(process),
                chart=strip_chart(process),
                result=None if found.next_time is not None else str(process.base_time.on_timer()),
                axis=(found.film_density, (start(process) - process.shift(
                    process.strip.times()[-1])) / STOP),
                aside=tuple(process.strip.patches[i].step for i in found.set_aside),
                command=command)
