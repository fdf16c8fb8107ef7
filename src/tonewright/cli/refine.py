"""``tonewright refine``."""

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
    picture,
    plot,
    printing_time,
    reading_files,
    reading_options,
    setup_files,
    setup_options_but,
)

if TYPE_CHECKING:
    from tonewright.curve.renew import Renewed


@click.command("refine")
@click.argument("old", type=PATH)
@click.argument("readings", nargs=-1, type=PATH, required=True)
@click.option("-o", "--output", type=PATH, required=True, help="The new curve to write.")
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
    old: Path, readings: tuple[Path, ...], output: Path, plot: Path | None, force: bool,
    as_json: bool, **choices: Any,
) -> None:
    """A curve made surer by more READINGS of its own paper and chemistry.

    READINGS are of a print made through the OLD curve, as tonewright check takes them, or of more
    patches (columns level and density). They are added to what the curve knows; its strip, time,
    setup and earlier readings are kept. A print that is not what the curve promises is
    refused, and its cause named.

    \b
    Examples:
      tonewright refine kallitype.curve.json print.csv -o surer.curve.json
      tonewright refine kallitype.curve.json more.csv --plot surer.png -o surer.curve.json
    """
    from tonewright.errors import FitError
    from tonewright.files.checks import RefineFiles, refine_files
    from tonewright.show.check_text import why_refused
    from tonewright.show.curve_text import refine_text, renew_json

    said: list[str] = []

    def before_writing(refined: Renewed) -> bytes | None:
        said.append(json_text({**renew_json(refined), "output": str(output)}) if as_json
                    else refine_text(refined, str(output)))
        return picture(refined.curve, refined.old) if plot is not None else None

    wanted = RefineFiles(
        old, output, reading_files(readings, choices), plot, choices["target"],
        setup_files({**choices, "printing_time": None}), printing_time(choices["time"]),
        choices["leave_out"], force)
    try:
        refine_files(wanted, before_writing)
    except FitError as error:
        raise why_refused(error) from error
    echo(said[0])
