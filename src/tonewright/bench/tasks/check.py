"""A print checked against its curve, and the curve refined by it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tonewright.bench.tasks.views import View, view
from tonewright.check.document import Check
from tonewright.errors import OptionError
from tonewright.files.blank import csv_text
from tonewright.files.checks import PrintFiles, check_files, refine_files
from tonewright.files.curves import ReadingFiles, SetupFiles
from tonewright.files.safe import write_text
from tonewright.record.setup import Setup
from tonewright.show.advice import Advice
from tonewright.show.charts import check_chart, curve_charts
from tonewright.show.check_text import check_facts, verdict, what_to_do
from tonewright.show.commands import PrintCommand
from tonewright.show.curve_text import curve_advice, curve_facts, found_in


@dataclass(frozen=True)
class AskedCheck:
    """What stands in the fields of the page; paths count from the bench's folder."""

    curve: Path
    readings: tuple[Path, ...]
    date: str = ""
    output: Path | None = None
    target: Path | None = None
    """Layout of the tone scale, for a list without tones."""

    def files(self) -> PrintFiles:
        """As the library takes them."""
        return PrintFiles(self.curve, ReadingFiles(self.readings), self.output,
                          target=self.target, changes=SetupFiles(Setup(date=self.date or None)))

    def command(self, name: str) -> str:
        """The command that does the same."""
        return str(PrintCommand(name=name, curve=self.curve, readings=self.readings,
                                output=self.output, date=self.date or None,
                                target=self.target))


def check(asked: AskedCheck) -> View:
    """The verdict; written if an output is named."""
    return _view(check_files(asked.files()), asked.command("check"))


def refine(asked: AskedCheck) -> View:
    """A curve refined by the print, and written."""
    made = refine_files(asked.files())
    curve = made.curve
    return view(curve_facts(curve), (*found_in(curve), *made.findings), curve_advice(curve),
                chart=curve_charts(curve)[0], command=asked.command("refine"))


def keep_tones(rows: tuple[tuple[str, str], ...], output: Path) -> None:
    """Write tones that were typed: lightness of the picture, density of the print."""
    filled = [row for row in rows if row[1].strip()]
    if not filled:
        raise OptionError("no density is typed", "a print is checked by the tones that were"
                          " measured on it", "type the densities beside their tones")
    tones, densities = zip(*filled, strict=True)
    write_text(output, csv_text({"image_lightness": tones, "density": densities}))


def _view(found: Check, command: str) -> View:
    return view(check_facts(found), found.findings, Advice(what_to_do(found)),
                exposes=not found.passes, chart=check_chart(found),
                result="As promised" if found.passes else "Off", command=command,
                label=verdict(found))
