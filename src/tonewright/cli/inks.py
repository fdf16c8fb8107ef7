"""`tonewright inks`: which colour of ink to make negatives in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli import options
from tonewright.cli.options import PATH, say


@click.command("inks")
@click.argument("readings", nargs=-1, type=PATH)
@click.option("--process", "process_file", type=PATH, metavar="PROCESS",
              help="Process response of the paper, NAME.process.json, from tonewright strip.")
@click.option("--target", "target_file", type=PATH, metavar="CHART",
              help="The chart's layout, CHART.target.json; not needed for readings that carry the"
              " colours, as those from tonewright read do.")
@click.option("--time", "time_text", metavar="TIME",
              help="What the chart was printed for, as 40min; without it the base printing time.")
@click.option("--range", "needed", type=float, metavar="D",
              help="Printing density to ask for; without it what the process needs.")
@options.leave_out
@options.scale
@options.zero_options
@options.as_json
def command(
    readings: tuple[Path, ...], process_file: Path | None, target_file: Path | None,
    time_text: str | None, needed: float | None, leave_out: tuple[str, ...], as_json: bool,
    **how: Any,
) -> None:
    """Rank colours of ink by what the coating sees of them, and pick one for the negatives.

    READINGS are those of a printed chart of inks (tonewright target --ink-colours): from
    tonewright read, or a CSV with density and either the columns red, green, blue (and level) or
    a column patch, which --target explains. How dense a colour is to the eye says nothing of
    how much UV it holds back; the printed chart does, by way of the process response.

    The pick is the gentlest colour that still has the range the process needs. A patch that
    printed paper white says only how dense its ink is at least.

    \b
    Examples:
      tonewright inks inks.csv --process kallitype.process.json
      tonewright inks list.csv --target inks.target.json --process kallitype.process.json
      tonewright inks inks.csv --process kallitype.process.json --time 94min --json
    """
    from tonewright.files.inks import InkFiles, rank_ink_files
    from tonewright.inks.rank import InkSettings
    from tonewright.show.inks_text import inks_json, inks_text

    time = options.printing_time(time_text)
    ranking = rank_ink_files(
        InkFiles(readings, process_file, target_file, options.reading_choices(how)),
        InkSettings(time, needed, leave_out))
    say(as_json, lambda: inks_json(ranking), lambda: inks_text(ranking))
