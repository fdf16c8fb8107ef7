"""`tonewright target`: draws a target to print as a negative, and its layout."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.options import PATH, ink_colour, result_options, say
from tonewright.errors import OptionError

if TYPE_CHECKING:
    from tonewright.files.targets import ChartRequest


@click.command("target")
@click.option("-o", "--output", required=True, type=PATH,
              help="The negative to print, T.tif; beside it go the layout, T.target.json, and a"
              " table to fill in, T.csv.")
@click.option("--levels", type=int, metavar="N",
              help="How many ink levels, evenly spaced.  [default: 21]")
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
@result_options
def command(
    output: Path, levels: int | None, levels_file: Path | None, levels_for: Path | None,
    through: Path | None, ink_colour: str | None, force: bool, as_json: bool, **how: Any,
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
    from tonewright.files.targets import TargetRequest, draw_target
    from tonewright.show.target_text import target_json, target_text
    from tonewright.target.layout import LayoutSettings, sheet_size

    width, height = sheet_size(how["size"], how["paper_size"], landscape=how["landscape"])
    drawn = draw_target(
        output, TargetRequest(levels, levels_file, levels_for, through, _chart(how)),
        LayoutSettings(
            name=how["name"] or output.stem, date=how["date"], seed=how["seed"], width_mm=width,
            height_mm=height, ppi=how["ppi"], repeats=how["repeats"], patch_mm=how["patch_mm"],
            mirrored=not how["no_mirror"], ink_colour=ink_colour), force=force)
    say(as_json, lambda: target_json(drawn), lambda: target_text(drawn))


def _chart(how: dict[str, Any]) -> ChartRequest | None:
    """A chart of inks, if one is asked for; its options would not count without it."""
    from tonewright.files.targets import ChartRequest
    from tonewright.inks.chart import parse_levels
    from tonewright.record.setup import parse_colour

    colours, file, levels = (how[n] for n in ("chart_colours", "chart_file", "ink_levels"))
    if how["chart"]:
        more = {} if levels is None else {"levels": parse_levels(levels)}
        return ChartRequest(tuple(map(parse_colour, colours)), file, **more)
    if colours or file or levels:
        option = "--chart-colour" if colours else "--chart-file" if file else "--ink-levels"
        raise OptionError(f"{option} is given without --ink-colours",
                          "it says what a chart of inks holds", "add --ink-colours, or name the one"
                          " colour of a target with --ink-colour R,G,B")
    return None
