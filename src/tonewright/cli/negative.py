"""`tonewright negative`: printable negatives from finished images."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import click

from tonewright.cli.options import PATH, as_json, force, print_json


@click.command("negative")
@click.argument("images", nargs=-1, required=True, type=PATH, metavar="IMAGE...")
@click.option("--curve", "curve_file", required=True, type=PATH, help="The correction curve.")
@click.option("-o", "--output", required=True, type=PATH,
              help="The negative, a .tif; with several images, a folder.")
@click.option("--no-mirror", is_flag=True,
              help="Keep left and right, for printing through the film's back.")
@click.option("--encoding", metavar="NAME",
              help="What the image's values mean: lightness, srgb, linear, gamma:2.2. Without"
              " it the embedded ICC profile says so; without one, gamma:2.2 is assumed.")
@force
@as_json
def command(
    images: tuple[Path, ...], curve_file: Path, output: Path, no_mirror: bool,
    encoding: str | None, force: bool, as_json: bool,
) -> None:
    """Make a negative to print on film from each finished IMAGE.

    An IMAGE is a 16-bit gray TIFF. Each comes out corrected by the curve, inverted, mirrored
    and at the same resolution, as a 16-bit gray TIFF. With several, -o names a folder, and each
    negative is called NAME-negative.tif there.

    \b
    Examples:
      tonewright negative portrait.tif --curve kallitype.curve.json -o portrait-negative.tif
      tonewright negative *.tif --curve kallitype.curve.json -o negatives
    """
    from tonewright.files.documents import read_curve
    from tonewright.files.negatives import NegativeSettings, make_negatives, output_names
    from tonewright.show.negative_text import negative_json, negative_text, next_step

    settings = NegativeSettings(mirror=not no_mirror, encoding=encoding, force=force)
    pairs = output_names(images, output)
    reports = make_negatives(pairs, read_curve(curve_file), settings, _progress())
    if as_json:
        found = [negative_json(report) for report in reports]
        print_json(found[0] if len(images) == 1 else {"outputs": found})
        return
    for report in reports:
        click.echo(negative_text(report))
    click.echo("\n" + next_step(settings.mirror))


def _progress() -> Callable[[int, int], None] | None:
    """A line that counts up, on a terminal only."""
    if not sys.stderr.isatty():
        return None
    shown = [-1]

    def show(rows: int, of: int) -> None:
        percent = 100 * rows // of
        if percent != shown[0]:
            shown[0] = percent
            click.echo(f"\r{percent:3d} %" if rows < of else "\r     \r", err=True, nl=False)

    return show
