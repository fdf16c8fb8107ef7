"""Inks ranked from files: every file that is named is opened once."""

from __future__ import annotations

from dataclasses import field
from pathlib import Path

from tonewright.errors import OptionError
from tonewright.files.documents import read_process
from tonewright.files.tables import read_table
from tonewright.files.targets import read_target
from tonewright.frozen import dataclass
from tonewright.inks.chart import chart_readings
from tonewright.inks.rank import InkRanking, InkSettings, rank_inks
from tonewright.measured.readings import ReadingOptions


@dataclass(frozen=True)
class InkFiles:
    """A printed chart of inks as it was measured, and the paper that it was printed on."""

    readings: tuple[Path, ...]
    process: Path | None
    """The process response of that paper."""
    chart: Path | None = None
    """The chart's layout; not needed where the readings tell the colours."""
    options: ReadingOptions = field(default_factory=ReadingOptions)


def rank_ink_files(files: InkFiles, settings: InkSettings | None = None) -> InkRanking:
    """Rank the colours of a chart and pick the one to print in.

    Raises `FileError`, `DocumentError`: a file cannot be read, or is of another kind.
    `OptionError`: readings or process are not named, and as `chart_readings` and `rank_inks`.
    `ReadingsError`, `FitError` as `chart_readings` and `rank_inks`.
    """
    if not files.readings:
        raise OptionError("no readings were named", "inks are compared by a printed chart of them",
                          "draw a chart, print and measure it, and name its readings",
                          code="no_chart_readings")
    if files.process is None:
        raise OptionError("no process is named",
                          "the process response tells what a print density says of the ink",
                          "name the process response of this paper, from a strip",
                          code="no_chart_process")
    process = read_process(files.process)
    target = None if files.chart is None else read_target(files.chart)
    chart = chart_readings([read_table(path) for path in files.readings], target, files.options)
    return rank_inks(chart, process, settings)
