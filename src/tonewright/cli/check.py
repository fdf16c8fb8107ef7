"""``tonewright check``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.echo import echo
from tonewright.cli.options import (
    PATH,
    as_json,
    force,
    json_text,
    leave_out,
    plot,
    printing_time,
    reading_files,
    reading_options,
    setup_files,
    setup_options_but,
)

if TYPE_CHECKING:
    from tonewright.check.document import Check


@click.command("check")
@click.argument("curve", type=PATH)
@click.argument("readings", nargs=-1, type=PATH, required=True)
@click.option("-o", "--output", type=PATH,
              help="Keep the check, NAME.check.json; needs --date.")
@click.option("--target", type=PATH, metavar="TARGET",
              help="Layout of the tone scale or sheet, NAME.target.json, for a list of patches"
              " without their tones.")
@click.option("--time", metavar="TIME",
              help="What the print was made for; without it, the curve's time.")
@leave_out
@plot
@reading_options
@setup_options_but("printing_time")
@force
@as_json
def command(
    curve: Path, readings: tuple[Path, ...], output: Path | None, plot: Path | None, force: bool,
    as_json: bool, **choices: Any,
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
    from tonewright.files.checks import CheckFiles, check_files
    from tonewright.show.check_text import check_json, check_text

    said: list[str] = []

    def before_writing(check: Check) -> bytes | None:
        name = None if output is None else str(output)
        said.append(json_text({**check_json(check), "output": name}) if as_json
                    else check_text(check, name))
        if plot is None:
            return None
        from tonewright.show.check_plot import plot_check

        return plot_check(check)

    check = check_files(CheckFiles(
        curve, reading_files(readings, choices), output, plot, choices["target"],
        setup_files({**choices, "printing_time": None}), printing_time(choices["time"]),
        choices["leave_out"], force), before_writing)
    echo(said[0])
    if not check.passes:
        click.get_current_context().exit(1)
