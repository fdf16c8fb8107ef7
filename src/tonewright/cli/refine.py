"""``tonewright refine``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli.echo import echo
from tonewright.cli.options import PATH, Said, picture_beside, print_files, print_options


@click.command("refine")
@click.argument("old", type=PATH)
@click.argument("readings", nargs=-1, type=PATH, required=True)
@click.option("-o", "--output", type=PATH, required=True, help="The new curve to write.")
@print_options
def command(
    old: Path, readings: tuple[Path, ...], output: Path, as_json: bool, **choices: Any,
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
    from tonewright.files.checks import refine_files
    from tonewright.show.check_text import why_refused
    from tonewright.show.curve_text import refine_text, renew_json

    said = Said(as_json, lambda made: {**renew_json(made), "output": output},
                lambda made: refine_text(made, output, choices["plot"]),
                picture_beside if choices["plot"] else None)
    try:
        refine_files(print_files(old, readings, output, choices), said)
    except FitError as error:
        raise why_refused(error) from error
    echo(said.words)
