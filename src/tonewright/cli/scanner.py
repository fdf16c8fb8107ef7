"""``tonewright scanner``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.options import PATH, as_json, check_outputs, force, print_json
from tonewright.errors import OptionError

if TYPE_CHECKING:
    from tonewright.scan.scanner import ScannerResponse
    from tonewright.scan.steps import StepRow


@click.command("scanner")
@click.argument("scale", type=PATH, metavar="SCALE")
@click.option("--densities", "densities_file", required=True, type=PATH, metavar="CSV",
              help="Known densities of the steps, in their order, column density.")
@click.option("-o", "--output", required=True, type=PATH,
              help="The response to write, NAME.scanner.json.")
@click.option("--corners", metavar="X0,Y0,...",
              help="Corners of the row by hand: eight pixel numbers, clockwise from the top left,"
              " step 1 at the left edge.")
@click.option("--channel", type=click.Choice(["red", "green", "blue", "luminance"]),
              help="Which channel of an RGB scan to read; without it the luminance.")
@click.option("--date", default="", help="Date of the scan.")
@click.option("--allow-jpeg", is_flag=True,
              help="Read a JPEG all the same; its blacks are not to be trusted.")
@force
@as_json
def command(
    scale: Path, densities_file: Path, output: Path, corners: str | None, channel: str | None,
    date: str, allow_jpeg: bool, force: bool, as_json: bool,
) -> None:
    """What densities a scanner's values stand for, from a scan of a gray scale (SCALE).

    The scale is a row of equal steps of known density: a reflection gray scale, or a strip of
    your own prints measured elsewhere; 12 steps or more, from paper white to the densest black
    you print. Scan it as 16-bit gray with every automatic correction switched off, and with the
    settings that the prints are scanned with. The row is found at any turn.

    \b
    Example:
      tonewright scanner scale.tif --densities scale.csv -o flatbed.scanner.json
    where scale.csv has a column density, one step a row:
      density
      0.05
      0.20
      ...
    """
    check_outputs(output, None, [scale, densities_file], force)
    row, response = _response(scale, densities_file, corners,
                              (channel, allow_jpeg or force, output, date))
    from tonewright.files.scanners import write_scanner
    from tonewright.show.scanner_text import scanner_json, scanner_text

    write_scanner(output, response, force=force)
    if as_json:
        print_json({**scanner_json(response, row), "output": str(output)})
        return
    click.echo(scanner_text(response, row))
    click.echo(f"\nWritten: {output}")
    click.echo(f"Next:    tonewright read SCAN.tif --target T.target.json --scanner {output}"
               " -o READINGS.csv")


def _response(
    scale: Path, densities_file: Path, corners: str | None,
    how: tuple[Any, bool, Path, str],
) -> tuple[StepRow, ScannerResponse]:
    """The row as sampled, and the response fitted to it."""
    from tonewright.files.documents import fingerprint
    from tonewright.files.raster.open import is_picture
    from tonewright.files.raster.scans import read_scan
    from tonewright.files.scanners import read_densities
    from tonewright.scan.response import response_of_row
    from tonewright.scan.steps import parse_corners, read_step_row

    channel, allow_jpeg, output, date = how
    if is_picture(densities_file):
        raise OptionError(f"--densities {densities_file} is a picture",
                          "the known densities are a CSV file", "exchange the two")
    density = read_densities(densities_file)
    place = None if corners is None else parse_corners(corners)
    scan = read_scan(scale, allow_jpeg=allow_jpeg, channel=channel, fingerprint=True)
    row = read_step_row(scan, density.size, place, dark_first=bool(density[0] > density[-1]))
    name = output.name.removesuffix(".json").removesuffix(".scanner")
    sources = (f"{scan.name} sha256 {scan.sha256}",
               f"{densities_file.name} sha256 {fingerprint(densities_file)}")
    return row, response_of_row(row, density, scan, name=name, date=date, sources=sources)
