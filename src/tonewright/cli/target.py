"""`tonewright target`: draws a target to print as a negative, and its layout."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.options import PATH, as_json, force, ink_colour, print_json
from tonewright.errors import OptionError

if TYPE_CHECKING:
    from tonewright.curve.document import Curve
    from tonewright.target.layout import Tone

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
@click.option("--ink-colour", metavar="R,G,B", callback=ink_colour,
              help="Print the levels in this colour of ink, which the curve made from it and its"
              " negatives share.")
@click.option("--ink-colours", "chart", is_flag=True,
              help="Print a chart of colours of ink instead, to find the one for your negatives:"
              " every mixture of none, half and full red, green and blue.")
@click.option("--chart-colour", "chart_colours", multiple=True, metavar="R,G,B",
              help="With --ink-colours: a colour of your own; may be given several times.")
@click.option("--chart-file", type=PATH, metavar="CSV",
              help="With --ink-colours: colours from a table with columns red, green, blue.")
@click.option("--ink-levels", metavar="U,U,...",
              help="With --ink-colours: ink levels at which each colour is printed.  [default:"
              " 1,0.5]")
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
    no_mirror: bool, force: bool, as_json: bool, **inks: Any,
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
      tonewright target --ink-colours -o inks.tif
      tonewright target --ink-colour 255,120,0 -o orange.tif
    """
    from tonewright.files.targets import target_paths, write_target
    from tonewright.show.target_text import target_json, target_text
    from tonewright.target.layout import LayoutSettings, make_target

    picture, document = target_paths(output)
    width, height = _sheet(size, paper_size, landscape)
    if inks["chart"]:
        _refuse_beside_chart(
            {"--levels": levels, "--levels-file": levels_file, "--levels-for": levels_for,
             "--through": through, "--ink-colour": inks["ink_colour"]})
        tones, curve_name, colour = _chart(inks), None, None
    else:
        _refuse_without_chart(inks)
        tones, curve_name, colour = _tones(levels, levels_file, (levels_for, through),
                                           inks["ink_colour"])
    target = make_target(tones, LayoutSettings(
        name=name or output.stem, date=date, seed=seed, width_mm=width, height_mm=height, ppi=ppi,
        repeats=repeats, patch_mm=patch_mm, mirrored=not no_mirror, through=curve_name,
        ink_colour=colour))
    write_target(output, target, force=force)
    if as_json:
        print_json(target_json(target, picture, document))
    else:
        click.echo(target_text(target, picture, document))


def _sheet(size: str | None, paper_size: str | None, landscape: bool) -> tuple[float, float]:
    from tonewright.target.layout import DEFAULT_PAPER, parse_paper, parse_size

    if size is not None and paper_size is not None:
        raise OptionError(f"--size {size} and --paper-size {paper_size}", "one size is enough",
                          "leave one out")
    width, height = parse_size(size) if size else parse_paper(paper_size or DEFAULT_PAPER)
    return (height, width) if landscape else (width, height)


def _refuse_beside_chart(options: dict[str, Any]) -> None:
    """A chart of inks has colours where a target has levels."""
    given = [option for option, value in options.items() if value is not None]
    if given:
        raise OptionError(f"--ink-colours and {given[0]} are given",
                          "a chart of inks compares colours, a target has the tones of one",
                          "leave one out; --ink-levels says at which levels the colours are"
                          " printed")


def _refuse_without_chart(inks: dict[str, Any]) -> None:
    names = {"chart_colours": "--chart-colour", "chart_file": "--chart-file",
             "ink_levels": "--ink-levels"}
    for name, option in names.items():
        if inks[name]:
            raise OptionError(f"{option} is given without --ink-colours",
                              "it says what a chart of inks holds", "add --ink-colours, or name"
                              " the one colour of a target with --ink-colour R,G,B")


def _chart(inks: dict[str, Any]) -> tuple[Tone, ...]:
    """The colours of a chart at their levels."""
    from tonewright.files.tables import read_table
    from tonewright.inks.chart import (
        USUAL_LEVELS,
        chart_tones,
        colours_from_table,
        parse_levels,
        usual_colours,
    )
    from tonewright.record.setup import parse_colour

    if inks["chart_colours"] and inks["chart_file"]:
        raise OptionError("--chart-colour and --chart-file are given",
                          "the colours come from one place", "leave one out")
    colours = usual_colours()
    if inks["chart_colours"]:
        colours = tuple(parse_colour(text) for text in inks["chart_colours"])
    elif inks["chart_file"]:
        colours = colours_from_table(read_table(inks["chart_file"]))
    asked = inks["ink_levels"]
    return chart_tones(colours, USUAL_LEVELS if asked is None else parse_levels(asked))


def _tones(
    levels: int | None, levels_file: Path | None, curves: tuple[Path | None, Path | None],
    asked: str | None,
) -> tuple[tuple[Tone, ...], str | None, str | None]:
    """What to print, the name of the curve it goes through, and the colour of ink.

    ``curves``: what levels are placed for, and what they go through.
    """
    from tonewright.files.documents import read_curve
    from tonewright.files.targets import read_levels
    from tonewright.target.layout import even_aims, even_levels
    from tonewright.target.layout import levels_for as placed

    levels_for, through = curves
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
        return read_levels(levels_file), None, asked
    if levels_for is not None:
        curve = read_curve(levels_for)
        return placed(curve, count), None, _shared_ink(asked, curve)
    if through is not None:
        curve = read_curve(through)
        return even_aims(curve, count), curve.name, _shared_ink(asked, curve)
    return even_levels(count), None, asked


def _shared_ink(asked: str | None, curve: Curve) -> str | None:
    """The ink colour of a curve, which its targets share as its negatives do."""
    from tonewright.negative.ink import agreed_colour
    from tonewright.record.setup import ink_colour_text

    colour = agreed_colour(asked, curve.setup.ink_colour, curve.name)
    return None if colour is None else ink_colour_text(colour)
