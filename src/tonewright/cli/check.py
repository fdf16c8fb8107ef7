"""``tonewright check``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.echo import echo
from tonewright.cli.options import PATH, Said, print_files, print_options

if TYPE_CHECKING:
    from tonewright.check.document import Check


@click.command("check")
@click.argument("curve", type=PATH)
@click.argument("readings", nargs=-1, type=PATH, required=True)
@click.option("-o", "--output", type=PATH,
              help="Keep the check, NAME.check.json; needs --date.")
@print_options
def command(
    curve: Path, readings: tuple[Path, ...], output: Path | None, as_json: bool, **choices: Any,
) -> None:
    """Whether a print is what its CURVE promises; if not, why, and what to do.

    READINGS are of anything printed through the curve: the tone scale beside a negative or a
    sheet drawn with tonewright target --through, in the table that was written with it, or a plain
    table with the columns image_lightness and density (or lightness). Several files, or a column
    named print, are several prints.

    The exit code is 0 if the print passes and 1 if it does not.

    \b
    Examples:
      tonewright check kallitype.curve.json negative.csv
      tonewright read scan.tif --target negative.target.json --scanner S.scanner.json -o print.csv
      tonewright check kallitype.curve.json print.csv --plot print.png
      tonewright check kallitype.curve.json print.csv --date 2026-03-31 -o march.check.json
    """
    from tonewright.files.checks import check_files
    from tonewright.show.check_text import check_json, check_text

    said = Said(as_json, lambda check: {**check_json(check), "output": output},
                lambda check: check_text(check, output, choices["plot"]),
                _picture if choices["plot"] else None)
    check = check_files(print_files(curve, readings, output, choices), said)
    echo(said.words)
    if not check.passes:
        click.get_current_context().exit(1)


def _picture(check: Check) -> bytes:
    from tonewright.show.plots import plot_check

    return plot_check(check)
