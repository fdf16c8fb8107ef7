"""A print checked against its curve, and the curve refined by it."""

from __future__ import annotations

from pathlib import Path

from tonewright.bench.tasks.views import View, view
from tonewright.curve.renew import Renewed
from tonewright.errors import OptionError
from tonewright.files.blank import csv_text
from tonewright.files.checks import PrintFiles, check_files, refine_files
from tonewright.files.curves import ReadingFiles, RenewFiles, SetupFiles, renew_files
from tonewright.files.safe import write_text
from tonewright.record.setup import Setup
from tonewright.show import commands
from tonewright.show.advice import Advice
from tonewright.show.charts import check_chart, curve_charts
from tonewright.show.check_text import check_facts, verdict, what_to_do
from tonewright.show.curve_text import curve_advice, curve_facts, doubtful_words, found_in


def check(asked: commands.Check) -> View:
    """The verdict; written if an output is named."""
    found = check_files(_files(asked))
    return view(check_facts(found), found.findings,
                Advice(what_to_do(found), exposes=not found.passes), chart=check_chart(found),
                result="As promised" if found.passes else "Off", command=str(asked),
                label=verdict(found))


def refine(asked: commands.Refine) -> View:
    """A curve refined by the print, and written."""
    return _renewed(refine_files(_files(asked)), str(asked))


def renew(asked: commands.Renew) -> View:
    """A curve renewed by a strip of the new paper or chemistry, and written."""
    return _renewed(renew_files(RenewFiles(asked.old, asked.output, process=asked.process)),
                    str(asked))


def keep_tones(rows: tuple[tuple[str, str], ...], output: Path) -> None:
    """Write tones that were typed: lightness of the picture, density of the print."""
    filled = [row for row in rows if row[1].strip()]
    if not filled:
        raise OptionError("no density is typed", "a print is checked by the tones that were"
                          " measured on it", "type the densities beside their tones")
    tones, densities = zip(*filled, strict=True)
    write_text(output, csv_text({"image_lightness": tones, "density": densities}))


def _files(asked: commands.Check) -> PrintFiles:
    return PrintFiles(asked.curve, ReadingFiles(asked.readings), asked.output, target=asked.target,
                      changes=SetupFiles(Setup(date=asked.date or None)))


def _renewed(made: Renewed, command: str) -> View:
    facts = (*curve_facts(made.curve), ("doubtful", doubtful_words(made.curve)))
    return view(facts, (*found_in(made.curve), *made.findings),
                curve_advice(made.curve), chart=curve_charts(made.curve)[0], command=command)
