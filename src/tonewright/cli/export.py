"""``tonewright export``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli.echo import echo
from tonewright.cli.options import PATH, encoding, plot, result_options, say

KINDS = ("curve-csv", "response-csv", "table", "points", "lut", "icc-output", "icc-link",
         "readings", "aim")


@click.command("export")
@click.argument("curve", type=PATH)
@click.option("--as", "kind", type=click.Choice(KINDS), required=True,
              help="What the curve is handed over as.")
@click.option("--rows", type=int, help="Rows of curve-csv and response-csv.  [default: 101]")
@encoding(help="What the picture's values mean: lightness, srgb, linear or gamma:2.2."
          "  [default: gamma:2.2]")
@click.option("--depth", type=click.Choice(["16", "8"]),
              help="Bits of the picture's values, for table.  [default: 16]")
@click.option("--points", type=int, metavar="N", help="How many points, 10 to 20.  [default: 14]")
@click.option("--separator", type=click.Choice(["comma", "semicolon", "tab"]),
              help="What stands between the cells of a table.")
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal sign of a table.")
@click.option("-o", "--output", type=PATH,
              help="File to write; without it text is printed.")
@plot
@result_options
def command(
    curve: Path, kind: str, output: Path | None, plot: Path | None, force: bool, as_json: bool,
    **how: Any,
) -> None:
    """Hand a CURVE over to another program.

    \b
    curve-csv     image_lightness, print_lightness, level, level_low, level_high, code
    response-csv  level, lightness, lightness_low, lightness_high, density
    table         the negative's value for every 8- or 16-bit value of a picture
    points        10 to 20 rounded points to type into a curve dialogue (--plot draws them)
    lut           1D look-up table in the Common LUT Format, NAME.clf
    icc-output    ICC gray output profile, for soft proofs and conversion
    icc-link      ICC device link from a gray picture to the negative
    readings      what was measured, as CGATS.17 / ISO 28178 text
    aim           what the curve aims at, as CGATS.17 / ISO 28178 text

    Lightness is CIE L*, 0 to 100; level 0 is clear film, 1 the heaviest ink; code is the 16-bit
    value in the negative, 65535 for clear film. The low and high columns hold the true value 95
    times in 100. Every file is read back by another reader before it is put in place, and what that
    found is printed. With --json and without -o the object holds the table itself.

    \b
    Examples:
      tonewright export kallitype.curve.json --as table --depth 8 --decimal comma -o k.csv
      tonewright export kallitype.curve.json --as points -o points.csv --plot points.png
      tonewright export kallitype.curve.json --as icc-link --encoding srgb -o k.icc
    """
    from tonewright.curve.export import Dialect
    from tonewright.files.export.make import ExportRequest, export_curve
    from tonewright.files.safe import together, write_bytes
    from tonewright.show.export_text import export_json, export_text

    separator, decimal = how["separator"], how["decimal"]
    dialect = Dialect(separator, decimal or "point") if separator or decimal else None
    request = ExportRequest(kind, how["rows"], how["encoding"],
                            None if how["depth"] is None else int(how["depth"]), how["points"],
                            dialect)
    with together():
        made = export_curve(curve, request, output, plot, force=force)
        if plot is not None:
            from tonewright.show.plots import plot_points

            write_bytes(plot, plot_points(made), force=force)
    if output is None and made.text is not None and not as_json:
        echo(made.text, raw=True)
    else:
        say(as_json, lambda: export_json(made), lambda: export_text(made))
