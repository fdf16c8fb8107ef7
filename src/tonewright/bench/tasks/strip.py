"""A strip as it is typed, scanned or counted, and the process it gives."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tonewright.bench.tasks.views import View, view
from tonewright.errors import OptionError
from tonewright.files.blank import strip_table
from tonewright.files.curves import SetupFiles
from tonewright.files.documents import read_tablet, write_process
from tonewright.files.safe import together, write_text
from tonewright.files.strips import StripSettings, read_strip
from tonewright.files.tables import STRIPS, parse_table, read_table
from tonewright.measured.columns import Table
from tonewright.record.provenance import document_name
from tonewright.record.setup import Setup
from tonewright.record.times import parse_time
from tonewright.scales import STOP
from tonewright.show.charts import strip_chart, strip_sketch
from tonewright.show.commands import EyeCommand, StripCommand
from tonewright.show.strip_text import (
    eye_advice,
    eye_facts,
    eye_figure,
    process_advice,
    process_facts,
)
from tonewright.strip.exposure import eye_strips, judge_by_eye
from tonewright.strip.findings import Through
from tonewright.strip.fit import make_process
from tonewright.strip.places import start
from tonewright.strip.process import Process
from tonewright.strip.readings import StripCells, StripOptions, strip_cells, strip_from_table
from tonewright.strip.tablet import Tablet

HALVES: tuple[Through, ...] = ("film", "bare")


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

    def densities(self, tablet: Tablet) -> dict[str, list[str]]:
        """The halves of which anything was typed, a text for each step."""
        count = len(tablet.densities)
        halves = {half: [*getattr(self, half)][:count] for half in HALVES}
        return {half: [*(c.strip() for c in cells), *[""] * (count - len(cells))]
                for half, cells in halves.items() if any(c.strip() for c in cells)}

    @property
    def is_empty(self) -> bool:
        """Nothing is typed into the grid."""
        return not any(map(str.strip, (*self.film, *self.bare)))


def open_strip(path: Path, tablet: str) -> StripCells | None:
    """A strip's table to go on with; None for one that holds more than densities of one strip."""
    return strip_cells(read_table(path, "step", STRIPS), read_tablet(tablet))


def try_strip(typed: TypedStrip | None, asked: StripCommand) -> View:
    """What strips say so far, the first of them typed unless that is None; nothing is written."""
    return _view(_process(typed, asked))


def sketch_strip(typed: TypedStrip, before: View | None) -> dict[str, Any]:
    """The picture of a strip in a moment: on the axis of the last fit, if there was one."""
    tablet = read_tablet(typed.tablet)
    strip = strip_from_table(_typed(typed, tablet, "strip"), tablet, StripOptions(skip=typed.skip))
    film, start = (None, 0.0) if before is None else before.axis
    return strip_sketch(strip, tablet, film, start)


def keep_strip(typed: TypedStrip | None, asked: StripCommand) -> View:
    """Write the table that was typed and the process that the strips give, both or neither."""
    process = _process(typed, asked)
    with together():
        if typed is not None:
            write_text(asked.readings[0], _table(typed, read_tablet(typed.tablet)))
        write_process(asked.process, process)
    return _view(process, str(asked))


def by_eye(asked: EyeCommand) -> View:
    """What strips say whose merged steps were counted."""
    tablet = read_tablet(asked.tablet)
    for _, count in asked.strips:
        if not count.strip().isdecimal():
            raise OptionError(f"{count or 'nothing'} is typed for the merged steps",
                              "it is a whole number", "count them through the film, step 1 too",
                              code="merged_unclear")
    strips = eye_strips(tuple(parse_time(time) for time, _ in asked.strips),
                        tuple(int(count) for _, count in asked.strips))
    result = judge_by_eye(tablet, strips)
    return view(eye_facts(result, tablet, strips), result.findings, eye_advice(result, tablet),
                result=eye_figure(result), command=str(asked))


def _process(typed: TypedStrip | None, asked: StripCommand) -> Process:
    """The strips read from their files; what is typed, as the file of its name would be."""
    tablet = read_tablet(asked.tablet)
    first, *others = asked.readings
    strip = read_strip([first if typed is None else _typed(typed, tablet, first.name), *others],
                       tablet, StripSettings(
        tuple(map(parse_time, asked.times)), skip=asked.skip, scanner=asked.scanner,
        corners=None if asked.corners is None else np.reshape(asked.corners, (4, 2)),
        halves=asked.halves, flat=asked.flat))
    made_with = SetupFiles(Setup(date=asked.date or None), asked.setup).read()
    return make_process(strip, tablet, made_with, document_name(asked.process.name))


def _typed(typed: TypedStrip, tablet: Tablet, name: str) -> Table:
    return parse_table(_table(typed, tablet).encode(), name, "step", STRIPS)


def _table(typed: TypedStrip, tablet: Tablet) -> str:
    time = parse_time(typed.time) if typed.time.strip() else None
    return strip_table(tablet, typed.densities(tablet) or {"film": [""] * len(tablet.densities)},
                       time)


def _view(process: Process, command: str | None = None) -> View:
    found = process.summary
    return view(process_facts(process), process.findings, process_advice(process),
                chart=strip_chart(process),
                result=None if found.next_time is not None else str(process.base_time.on_timer()),
                axis=(found.film_density, (start(process) - process.shift(
                    process.strip.times()[-1])) / STOP),
                aside=tuple(process.strip.patches[i].step for i in found.set_aside),
                command=command)
