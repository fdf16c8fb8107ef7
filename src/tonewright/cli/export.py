"""``tonewright export``."""

from __future__ import annotations

from pathlib import Path

import click

from tonewright.cli.echo import echo
from tonewright.cli.options import PATH, as_json, check_outputs, force, print_json

KINDS = ("curve-csv", "response-csv")


@click.command("export")
@click.argument("curve", type=PATH)
@click.option("--as", "kind", type=click.Choice(KINDS), required=True,
              help="curve-csv: image tone to ink level; response-csv: ink level to print tone.")
@click.option("--rows", type=int, default=101, show_default=True, help="Rows of the table.")
@click.option("-o", "--output", type=PATH, help="File to write; without it the table is printed.")
@force
@as_json
def command(
    curve: Path, kind: str, rows: int, output: Path | None, force: bool, as_json: bool
) -> None:
    """A CURVE as a table of comma-separated numbers.

    \b
    curve-csv     image_lightness, print_lightness, level, level_low, level_high, code
    response-csv  level, lightness, lightness_low, lightness_high, density

    Lightness is CIE L*, 0 to 100; level 0 is clear film, 1 the heaviest ink; code is the 16-bit
    value in the negative, 65535 for clear film. The low and high columns hold the true value 95
    times in 100. With --json and without -o the object holds the table itself.
    """
    from tonewright.curve.export import csv_text, curve_rows, response_rows, rounded
    from tonewright.files.documents import read_curve
    from tonewright.files.safe import write_text

    check_outputs(output, None, [curve], force)
    document = read_curve(curve)
    columns = (curve_rows if kind == "curve-csv" else response_rows)(document, rows)
    # a table for another program starts with its header row: no notes
    text = csv_text(columns, [])
    if output is not None:
        write_text(output, text, force=force)
    if as_json:
        print_json({"curve": document.name, "as": kind, "rows": rows, "columns": list(columns),
                    "output": None if output is None else str(output),
                    **({"table": rounded(columns)} if output is None else {})})
    elif output is None:
        echo(text, nl=False)
    else:
        from tonewright.show.words import headed

        echo(headed("Written:", f"{output} ({rows} rows: {', '.join(columns)})"))
