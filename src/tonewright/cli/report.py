"""``tonewright report``."""

from __future__ import annotations

from pathlib import Path

import click

from tonewright.cli.options import PATH, result_options, say


@click.command("report")
@click.argument("curve", type=PATH)
@click.argument("others", nargs=-1, type=PATH, metavar="[PROCESS] [CHECK]...")
@click.option("-o", "--output", type=PATH, required=True, help="The page, REPORT.html.")
@result_options
def command(
    curve: Path, others: tuple[Path, ...], output: Path, force: bool, as_json: bool
) -> None:
    """A CURVE on one page to pin up over the bench.

    Printing time and one step less, the curve with its readings, black, white and range, eleven
    densities to hold a densitometer or a gray scale against, setup, doubts, what to do next, and
    room for notes. PROCESS is the strip's, where the curve was made without; CHECKs are of prints
    through this curve, of which the newest is shown.

    The page needs no network and no script, and prints on one sheet of A4 or US letter.

    \b
    Examples:
      tonewright report kallitype.curve.json -o kallitype.html
      tonewright report kallitype.curve.json march.check.json -o kallitype.html --force
    """
    from tonewright.files.pages import ReportFiles, gather_report

    report = gather_report(ReportFiles(curve, others, output, force))
    from tonewright.files.safe import write_text
    from tonewright.show.pages.report import report_json, report_page, report_text

    write_text(output, report_page(report), force=force)
    say(as_json, lambda: {**report_json(report), "output": output},
        lambda: report_text(report, output))
