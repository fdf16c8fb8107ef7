"""``tonewright scanner``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tonewright.cli.options import PATH, channel, flat, result_options, say

if TYPE_CHECKING:
    from tonewright.files.raster.scans import Channel


@click.command("scanner")
@click.argument("scan", type=PATH, metavar="SCAN")
@click.option("--densities", "densities_file", required=True, type=PATH, metavar="CSV",
              help="Known densities of the gray scale's steps, in their order, column density.")
@click.option("-o", "--output", required=True, type=PATH,
              help="The response to write, NAME.scanner.json.")
@click.option("--corners", metavar="X0,Y0,...",
              help="Corners of the gray scale by hand: eight pixel numbers, clockwise from the top"
              " left, step 1 at the left edge.")
@flat
@channel
@click.option("--date", default="", help="Date of the scan.")
@click.option("--allow-jpeg", is_flag=True,
              help="Read a JPEG all the same; its blacks are not reliable.")
@result_options
def command(
    scan: Path, densities_file: Path, output: Path, corners: str | None, channel: Channel | None,
    date: str, allow_jpeg: bool, flat_file: Path | None, force: bool, as_json: bool,
) -> None:
    """Calibrate a scanner from the SCAN of a gray scale: what densities its values stand for.

    A gray scale is a row of equal steps of known density: a reflection gray scale, or a strip of
    your own prints measured elsewhere; 12 steps or more, from paper white to the densest black
    you print. Scan it as 16-bit gray with every automatic correction switched off, and with the
    settings that the prints are scanned with. The row is found at any turn.

    \b
    Example:
      tonewright scanner gray-scale.tif --densities gray-scale.csv -o flatbed.scanner.json
    where gray-scale.csv has a column density, one step a row:
      density
      0.05
      0.20
      ...
    """
    from tonewright.files.scanners import ScannerRequest, learn_scanner
    from tonewright.scan.rectify import parse_corners
    from tonewright.show.scanner_text import scanner_json, scanner_text

    learned = learn_scanner(scan, densities_file, output, ScannerRequest(
        None, date, corners=parse_corners(corners), channel=channel, allow_jpeg=allow_jpeg,
        flat=flat_file), force=force)
    say(as_json, lambda: scanner_json(learned), lambda: scanner_text(learned))
