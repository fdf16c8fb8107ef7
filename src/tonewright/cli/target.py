"""`tonewright target`: draws a target to print as a negative, and its layout."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tonewright.cli.options import PATH, as_json, force, print_json
from tonewright.errors import OptionError

if TYPE_CHECKING:
    from tonewright.layout import Tone

DEFAULT_LEVELS = 21


@click.command("target")
@click.option("-o", "--output", required=True, type=PATH,
              help="The negative to print, T.tif; the layout goes beside it as T.target.json.")
@click.option("--levels", type=int, metavar="N",
              help=f"How many ink levels, evenly spaced.  [default: {DEFAULT_LEVELS}]")
@click.option("--levels-file", type=PATH, metavar="CSV",
              help="Ink levels from a table with a column level or ink_percent.")
@click.option("--levels-for", type=PATH, metavar="CURVE",
              help="Place the levels where this curve is least sure.")
@click.option("--through", type=PATH, metavar="CURVE",
              help="Print even steps of tone through this curve, to check it.")
@click.option("--repeat", "repeats", type=int, default=2, show_default=True, metavar="R",
              help="Patches of each level; repeats show unevenness and noise.")
@click.option("--seed", type=int, default=1, show_default=True,
              help="Another seed scatters the patches in another order.")
@click.option("--size", metavar="WxH", help="Sheet size, as 130x180mm or 5x7in.")
@click.option("--paper-size", metavar="NAME",
              help="Sheet size by name: letter, legal, a6 to a3, 4x5, 5x7, 8x10, 11x14, 16x20."
              "  [default: 5x7]")
@click.option("--landscape", is_flag=True, help="Lay the sheet on its side.")
@click.option("--ppi", type=float, default=360.0, show_default=True,
              help="The printer's native resolution, pixels to the inch.")
@click.option("--patch-mm", type=float, metavar="MM",
              help="Side of a patch; without it as large as the sheet allows, up to 20.")
@click.option("--name", help="What to call it on the sheet; without it the file's name.")
@click.option("--date", default="", help="Date to print on the sheet.")
@click.option("--no-mirror", is_flag=True,
              help="Keep left and right, for printing through the film's back.")
@force
@as_json
def command(
    output: Path, levels: int | None, levels_file: Path | None, levels_for: Path | None,
    through: Path | None, repeats: int, seed: int, size: str | None, paper_size: str | None,
    landscape: bool, ppi: float, patch_mm: float | None, name: str | None, date: str,
    no_mirror: bool, force: bool, as_json: bool,
) -> None:
    """Draw a target: ink levels to print as a negative, contact-print and read back.

    The sheet carries the levels in scattered order, reference patches of clear film and of full
    ink, four marks and a dotted border by which a scan is read, a line that says which target it
    is, and room to write.

    \b
    Examples:
      tonewright target -o first.tif
      tonewright target -o fine.tif --levels 31 --paper-size letter --name "cotton, kallitype"
      tonewright target -o sure.tif --levels-for kallitype.curve.json
      tonewright target -o verify.tif --through kallitype.curve.json
    """
    from tonewright.files.targets import target_paths, write_target
    from tonewright.layout import LayoutSettings, make_target
    from tonewright.show.target_text import target_json, target_text

    picture, document = target_paths(output)
    width, height = _sheet(size, paper_size, landscape)
    tones, curve_name = _tones(levels, levels_file, levels_for, through)
    target = make_target(tones, LayoutSettings(
        name=name or output.stem, date=date, seed=seed, width_mm=width, height_mm=height, ppi=ppi,
        repeats=repeats, patch_mm=patch_mm, mirrored=not no_mirror, through=curve_name))
    write_target(output, target, force=force)
    if as_json:
        print_json(target_json(target, picture, document))
    else:
        click.echo(target_text(target, picture, document))


def _sheet(size: str | None, paper_size: str | None, landscape: bool) -> tuple[float, float]:
    from tonewright.layout import DEFAULT_PAPER, parse_paper, parse_size

    if size is not None and paper_size is not None:
        raise OptionError(f"--size {size} and --paper-size {paper_size}", "one size is enough",
                          "leave one out")
    width, height = parse_size(size) if size else parse_paper(paper_size or DEFAULT_PAPER)
    return (height, width) if landscape else (width, height)


def _tones(
    levels: int | None, levels_file: Path | None, levels_for: Path | None, through: Path | None
) -> tuple[tuple[Tone, ...], str | None]:
    """What to print, and the name of the curve it goes through."""
    from tonewright.files.documents import read_curve
    from tonewright.files.targets import read_levels
    from tonewright.layout import even_aims, even_levels
    from tonewright.layout import levels_for as placed

    ways = {"--levels-file": levels_file, "--levels-for": levels_for, "--through": through}
    given = [option for option, value in ways.items() if value is not None]
    if len(given) > 1:
        raise OptionError(" and ".join(given) + " are given", "the levels come from one place",
                          "leave one out")
    if levels_file is not None and levels is not None:
        raise OptionError("--levels and --levels-file are given",
                          "a file says itself how many levels there are", "leave one out")
    count = DEFAULT_LEVELS if levels is None else levels
    if levels_file is not None:
        return read_levels(levels_file), None
    if levels_for is not None:
        return placed(read_curve(levels_for), count), None
    if through is not None:
        curve = read_curve(through)
        return even_aims(curve, count), curve.name
    return even_levels(count), None
