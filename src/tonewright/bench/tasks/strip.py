"""A strip as it is typed, scanned or counted, and the process it gives."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tonewright.bench.tasks.views import View, four_places, view
from tonewright.errors import OptionError, ReadingsError
from tonewright.files.blank import strip_table
from tonewright.files.curves import SetupFiles
from tonewright.files.documents import read_tablet, write_document
from tonewright.files.safe import together, write_text
from tonewright.files.strips import StripSettings, read_strip
from tonewright.files.tables import STRIPS, parse_table, read_table
from tonewright.measured import columns
from tonewright.measured.columns import Table
from tonewright.record.provenance import document_name
from tonewright.record.setup import Setup
from tonewright.record.times import parse_time
from tonewright.scales import STOP
from tonewright.show import commands
from tonewright.show.charts import strip_chart, strip_sketch
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
from tonewright.strip.process import Process
from tonewright.strip.readings import StripCells, StripOptions, strip_cells, strip_from_table
from tonewright.strip.tablet import Tablet

HALVES: tuple[Through, ...] = ("film", "bare")
TYPED = "the typed strip"
"""Stands for the name of a table that is not written yet."""


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
        """The halves of which anything was typed, a text for each step; a comma at the end is one
        whose digits are still to be typed."""
        count = len(tablet.densities)
        halves = {half: [*getattr(self, half)][:count] for half in HALVES}
        return {half: [*(c.strip().rstrip(",") for c in cells), *[""] * (count - len(cells))]
                for half, cells in halves.items() if any(c.strip() for c in cells)}

    @property
    def is_empty(self) -> bool:
        """Nothing is typed into the grid."""
        return not any(map(str.strip, (*self.film, *self.bare)))


def open_strip(path: Path, tablet: str) -> StripCells | None:
    """A strip's table to go on with; None for one that holds more than densities of one strip."""
    return strip_cells(read_table(path, "step", STRIPS), read_tablet(tablet))


def paste_strip(text: str, tablet: str) -> StripCells:
    """The same of a table that is pasted; one without step numbers has a row for each step, in
    order.  `ReadingsError` for one that holds more."""
    table = parse_table(text.encode(), "the pasted table", "step", STRIPS)
    names = table.named
    if columns.find(table, "step") is None:
        steps = {line: str(n) for n, line in enumerate(dict.fromkeys(table.line_numbers), 1)}
        table = replace(table, columns=("step", *table.columns), rows=tuple(
            (steps[line], *row) for line, row in zip(table.line_numbers, table.rows, strict=True)))
    found = strip_cells(table, read_tablet(tablet))
    if found is None:
        raise ReadingsError(f"the pasted table has the columns {names}",
                            "a strip has the columns film and bare, and may have step numbers",
                            "paste these columns alone, or drop the file itself on this page")
    return found


def try_strip(typed: TypedStrip | None, asked: commands.Strip) -> View:
    """What strips say so far, the first of them typed unless that is None; nothing is written."""
    return _view(_process(typed, asked, TYPED))


def sketch_strip(typed: TypedStrip, before: View | None) -> dict[str, Any]:
    """The picture of a strip in a moment: on the axis of the last fit, if there was one."""
    tablet = read_tablet(typed.tablet)
    strip = strip_from_table(_typed(typed, tablet, TYPED), tablet, StripOptions(skip=typed.skip))
    film, start = (None, 0.0) if before is None else before.axis
    return strip_sketch(strip, tablet, film, start)


def keep_strip(typed: TypedStrip | None, asked: commands.Strip) -> View:
    """Write the table that was typed and the process that the strips give, both or neither."""
    process = _process(typed, asked, asked.readings[0].name)
    with together():
        if typed is not None:
            write_text(asked.readings[0], _table(typed, read_tablet(typed.tablet)))
        write_document(asked.output, process)
    return _view(process, str(asked))


def by_eye(asked: commands.Eye) -> View:
    """What strips say whose merged steps were counted."""
    tablet = read_tablet(asked.tablet)
    for _, count in asked.strips:
        if not count.strip().isdecimal():
            typed = repr(count) if count.strip() else "missing"
            raise OptionError(f"the number of merged steps is {typed}",
                              "it must be a whole number, 1 or more",
                              "count the steps through the film, including step 1",
                              code="merged_unclear")
    strips = eye_strips(tuple(parse_time(time) for time, _ in asked.strips),
                        tuple(int(count) for _, count in asked.strips))
    result = judge_by_eye(tablet, strips)
    return view(eye_facts(result, tablet, strips), result.findings, eye_advice(result, tablet),
                result=eye_figure(result), command=str(asked))


def _process(typed: TypedStrip | None, asked: commands.Strip, name: str) -> Process:
    """The strips read from their files; what is typed, as the file of that name would be."""
    tablet = read_tablet(asked.tablet)
    first, *others = asked.readings
    strip = read_strip([first if typed is None else _typed(typed, tablet, name), *others],
                       tablet, StripSettings(
        tuple(map(parse_time, asked.time)), skip=asked.skip, scanner=asked.scanner,
        corners=four_places(asked.corners), halves=asked.halves, flat=asked.flat))
    made_with = SetupFiles(Setup(date=asked.date or None), asked.setup).read()
    return make_process(strip, tablet, made_with, document_name(asked.output.name))


def _typed(typed: TypedStrip, tablet: Tablet, name: str) -> Table:
    table = parse_table(_table(typed, tablet).encode(), name, "step", STRIPS)
    # a line here is one of the grid, which has no heading in it
    return replace(table, line_numbers=tuple(line - 1 for line in table.line_numbers))


def _table(typed: TypedStrip, tablet: Tablet) -> str:
    time = parse_time(typed.time) if typed.time.strip() else None
    return strip_table(tablet, typed.densities(tablet) or {"film": [""] * len(tablet.densities)},
                       time)


def _view(process: Process, command: str | None = None) -> View:
    found = process.summary
    return view(process_facts(process), process.findings, process_advice(process),
                chart=strip_chart(process),
                result=None if found.next_time is not None else str(process.base_time.on_timer()),
                axis=(found.film_density, (process.start - process.shift(
                    process.strip.times()[-1])) / STOP),
                aside=tuple(process.strip.patches[i].step for i in found.set_aside),
                command=command)
