"""`tonewright read`: densities of a printed target from a scan or an instrument's file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli import options
from tonewright.cli.options import PATH, say
from tonewright.errors import OptionError


@click.command("read")
@click.argument("source", type=PATH, metavar="SCAN")
@click.option("--target", "target_file", required=True, type=PATH,
              help="The target's layout, T.target.json.")
@click.option("-o", "--output", required=True, type=PATH, help="The readings to write, a CSV.")
@click.option("--scanner", "scanner_file", type=PATH,
              help="Scan: the scanner's response, S.scanner.json, from `tonewright scanner`.")
@click.option("--densities", "densities_file", type=PATH, metavar="CSV",
              help="Scan: known densities of a gray scale that lies beside the print in the same"
              " scan, in the order of its steps, column density; instead of --scanner.")
@options.flat
@click.option("--known", multiple=True, metavar="PATCH=DENSITY",
              help="Scan: density of a patch, or of white or black, that you know; may be given"
              " several times.")
@click.option("--corners", metavar="X0,Y0,...",
              help="Scan: centres of the marks with 1, 2, 3 and 4 spots by hand, eight pixel"
              " numbers.")
@click.option("--gray-scale-corners", metavar="X0,Y0,...",
              help="Scan: corners of the gray scale beside the print by hand, eight pixel numbers"
              " clockwise from the top left, step 1 at the left edge.")
@click.option("--overlay", "overlay_file", type=PATH, metavar="PNG",
              help="Scan: also draw what was read where.")
@options.channel
@options.allow_jpeg
@options.order_options
@click.option("--scale", type=click.Choice(["luminance", "visual-density"]),
              help="Instrument's file: which weighting to use where it holds both.")
@options.zero_options
@click.option("--print", "print_name", metavar="NAME",
              help="Which sheet this is, to tell several prints of one target apart.")
@click.option("--force", is_flag=True,
              help="Replace existing output files, and read a JPEG all the same.")
@options.as_json
def command(
    source: Path, target_file: Path, output: Path, force: bool, as_json: bool, **choices: Any
) -> None:
    """Densities of a printed target from its SCAN, or from an instrument's file.

    The scan is a TIFF or PNG from a flatbed, best 16-bit gray at 300 pixels to the inch, with
    every automatic correction switched off; it may lie turned or mirrored. An instrument's file
    is CSV or CGATS text, with the patches by name or in reading order. The readings are written
    as a CSV with patch, level, density and density_sd, which `tonewright fit` takes as it is.

    \b
    Examples:
      tonewright read scan.tif --target T.target.json --scanner S.scanner.json -o T.csv
      tonewright read scan.tif --target T.target.json --densities gray-scale.csv \\
          --flat plain.tif -o T.csv
      tonewright read scan.tif --target T.target.json --known white=0.07 --known black=1.62 \\
          -o T.csv --overlay T.png
      tonewright read instrument.txt --target T.target.json --order rows --snake -o T.csv
    """
    from tonewright.files.scan.read import ReadRequest, read_print
    from tonewright.scan.rectify import parse_corners
    from tonewright.show.scan_text import reading_json, reading_text

    result = read_print(source, target_file, output, ReadRequest(
        choices["scanner_file"], choices["densities_file"], _known(choices["known"]),
        choices["overlay_file"], options.list_order(choices), options.reading_choices(choices),
        choices["print_name"], beside_corners=parse_corners(
            choices["gray_scale_corners"], "gray_scale_corners"),
        corners=parse_corners(choices["corners"]), channel=choices["channel"],
        allow_jpeg=choices["allow_jpeg"], flat=choices["flat_file"]), force=force)
    say(as_json, lambda: reading_json(result), lambda: reading_text(result))


def _known(entries: tuple[str, ...]) -> dict[str, float]:
    """``PATCH=DENSITY`` entries as numbers by name."""
    known: dict[str, float] = {}
    for entry in entries:
        name, sign, number = entry.partition("=")
        name = name.strip()
        try:
            density = float(number.replace(",", "."))
        except ValueError:
            density = float("nan")
        if not sign or not name or not -0.05 <= density <= 6.0:
            raise OptionError(f"--known is {entry!r}",
                              "it is PATCH=DENSITY with a density from 0 to 6",
                              "write it as --known white=0.07 or --known B3=1.62")
        if name.lower() in map(str.lower, known):
            raise OptionError(f"--known names {name} twice", "a patch has one density",
                              "leave one out")
        known[name] = density
    return known
