"""``tonewright worksheet``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli.options import PATH, printing_time, result_options, say


@click.command("worksheet")
@click.argument("curve", type=PATH)
@click.argument("negatives", nargs=-1, type=PATH, metavar="[NEGATIVE]...")
@click.option("-o", "--output", type=PATH, required=True, help="The page, SHEET.html.")
@click.option("--time", metavar="TIME", help="What to print for; without it, the curve's time.")
@click.option("--coating-margin", metavar="LENGTH", default="0",
              help="How far to coat beyond the negative on every side: 10mm.")
@click.option("--sensitiser", type=float, metavar="ML",
              help="Millilitres that you coat the size of --coats with; without them the amounts"
              " stay blank.")
@click.option("--coats", metavar="SIZE", help="What that amount coats: 8x10, 200x250mm.")
@result_options
def command(
    curve: Path, negatives: tuple[Path, ...], output: Path, force: bool, as_json: bool,
    **choices: Any,
) -> None:
    """A page to take into the darkroom and write on.

    The exposures around the CURVE's printing time in thirds of a stop and, for each NEGATIVE, its
    time, the area to coat, the amount of sensitiser, and boxes to tick from coating to checking.
    NEGATIVEs are files made by tonewright negative; without any the page has blank sheets.

    \b
    Examples:
      tonewright worksheet kallitype.curve.json -o today.html
      tonewright worksheet kallitype.curve.json negatives/*.tif --coating-margin 10mm \\
          --sensitiser 2.2 --coats 8x10 -o today.html
    """
    from tonewright.files.pages import WorksheetFiles, gather_worksheet
    from tonewright.files.safe import write_text

    sheet = gather_worksheet(WorksheetFiles(curve, negatives, output,
                                            printing_time(choices["time"]), _coating(choices),
                                            force))
    from tonewright.show.pages.worksheet import worksheet_json, worksheet_page, worksheet_text

    write_text(output, worksheet_page(sheet), force=force)
    say(as_json, lambda: {**worksheet_json(sheet), "output": output},
        lambda: worksheet_text(sheet, output))


def _coating(choices: dict[str, Any]) -> Any:
    from tonewright.negative.coating import Coating
    from tonewright.negative.size import parse_margin
    from tonewright.target.layout import parse_named_size

    size = choices["coats"]
    return Coating(parse_margin(choices["coating_margin"], "--coating-margin"),
                   choices["sensitiser"], None if size is None else parse_named_size(size))
