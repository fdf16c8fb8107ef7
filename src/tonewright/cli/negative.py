"""`tonewright negative`: printable negatives from finished images."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.options import PATH, encoding, flatten, page, result_options, say_batch
from tonewright.errors import OptionError, visible

if TYPE_CHECKING:
    from tonewright.files.negative.batch import Step
    from tonewright.files.negative.second import Second
    from tonewright.files.negative.settings import NegativeSettings


def _parsed(module: str, parse: str) -> Callable[[click.Context, click.Parameter, Any], Any]:
    """A callback that parses what is typed; the module is loaded only if something is."""
    def callback(_context: click.Context, option: click.Parameter, text: str | None) -> Any:
        if text is None:
            return None
        return getattr(import_module(f"tonewright.negative.{module}"), parse)(text, option.opts[0])

    return callback


_length = _parsed("size", "parse_length")


def _refuse_crop(_context: click.Context, _option: click.Parameter, text: str | None) -> None:
    if text is not None:
        raise OptionError(f"--crop is {text}", "a picture is cropped in the editor, where it is"
                          " seen", "crop it there and save it again")


@click.command("negative")
@click.argument("images", nargs=-1, required=True, type=PATH, metavar="IMAGE...")
@click.option("--curve", "curve_file", required=True, type=PATH, help="The correction curve.")
@click.option("-o", "--output", required=True, type=PATH,
              help="The negative, a .tif; with several images, a folder.")
@click.option("--no-mirror", is_flag=True,
              help="Do not mirror, for printing through the back of the film.")
@encoding(help="What the image's values mean: lightness, srgb, linear or gamma:2.2. By default"
          " the embedded ICC profile decides; without a profile, gray is taken as gamma:2.2"
          " and colour as srgb.")
@page
@flatten
@click.option("--width", metavar="LENGTH", callback=_length,
              help="Width of the picture on the film: 200mm, 8in.")
@click.option("--height", metavar="LENGTH", callback=_length,
              help="Height of the picture, instead of its width.")
@click.option("--ppi", metavar="N", callback=_parsed("size", "parse_ppi"),
              help="Resample to this many pixels per inch. Without it no pixel is changed, and"
              " --width only sets the size in print.")
@click.option("--film", metavar="SIZE", callback=_parsed("film", "parse_film"),
              help="Lay all negatives on one film, or on as many as it takes: a4, 210x297mm, 8x10,"
              " or the width of a roll, 610mm. -o names the film, a .tif.")
@click.option("--rotate", type=click.Choice(["90", "180", "270"]), metavar="DEGREES",
              help="Turn clockwise: 90, 180 or 270.")
@click.option("--crop", metavar="BOX", hidden=True, expose_value=False, callback=_refuse_crop)
@click.option("--margin", metavar="LENGTH", callback=_parsed("size", "parse_margin"),
              help="Width of the border around the picture: 14mm; 0mm for none.")
@click.option("--border", type=click.Choice(["clear", "opaque"]),
              help="clear film prints a black border; opaque ink keeps it paper white.")
@click.option("--marks/--no-marks", default=None,
              help="Corner and middle marks, for coating and alignment.")
@click.option("--tone-scale/--no-tone-scale", default=None,
              help="Eleven tones with known aims beside the picture; NAME.csv is a table to fill in"
              " with their densities, NAME.target.json reads a scan of the print.")
@click.option("--caption/--no-caption", default=None,
              help="A line with image, curve, date, size and printing time.")
@click.option("--layout", "sheet_file", type=PATH, metavar="FILE.toml",
              help="Take border, marks, tone scale, caption and ppi from a file; options typed here"
              " win.")
@click.option("--save-layout", "save_sheet", type=PATH, metavar="FILE.toml",
              help="Save these choices in a file.")
@click.option("--depth", type=click.Choice(["16", "8"]), default="16", show_default=True,
              help="Bits per value; 8-bit output is dithered.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=1, show_default=True,
              help="Dither seed.")
@click.option("--ink-colour", metavar="R,G,B",
              help="Colour of the heaviest ink, 0 to 255 each: the one the target was printed in."
              " By default the curve's.")
@click.option("--compression", type=click.Choice(["none", "deflate"]), default="none",
              show_default=True, help="deflate makes smaller files, but takes longer.")
@click.option("--anyway", is_flag=True,
              help="Make a negative even of an image that is one already, or a target.")
@result_options
def command(
    images: tuple[Path, ...], curve_file: Path, output: Path, as_json: bool, **choices: Any
) -> None:
    """Make a negative to print on film from each finished IMAGE.

    An IMAGE is a TIFF or PNG (if necessary a JPEG), preferably 16-bit gray; of a colour image only
    the lightness is used. The negative is corrected by the curve, inverted and mirrored, and saved
    as a TIFF, 16-bit gray by default. With several images -o names a folder, and each negative is
    called NAME-negative.tif there; an image that cannot be used does not stop the others. With
    --film the negatives are laid side by side on film, each between marks to cut along, some turned
    by a quarter to save film; an IMAGE named twice gives two, numbered.

    \b
    Examples:
      tonewright negative portrait.tif --curve kallitype.curve.json -o portrait-negative.tif
      tonewright negative *.tif --curve kallitype.curve.json -o negatives
      tonewright negative a.tif b.tif c.tif --curve kallitype.curve.json -o film.tif \\
          --film a4 --width 90mm --ppi 360 --marks --caption
      tonewright negative portrait.tif --curve kallitype.curve.json -o sheet.tif \\
          --width 200mm --ppi 360 --marks --tone-scale --caption --save-layout my-sheet.toml
    """
    with _second(images, choices) or nullcontext() as second, _progress() as show:
        from tonewright.files.negative.batch import make_negatives

        batch = make_negatives(images, curve_file, output, _settings(choices), show, second)
    from tonewright.show.negative_text import batch_json, negatives_text

    say_batch(batch, as_json, len(images) == 1 and not batch.films, batch_json,
              lambda: negatives_text(batch, curve_file), "negative")


def _second(images: tuple[Path, ...], choices: dict[str, Any]) -> Second | None:
    """A second process to share many images with, started before anything is loaded here: both
    load at the same time."""
    if choices["film"] or len(images) == 1:
        return None
    from tonewright.files.negative.second import second_for

    return second_for(images)


def _settings(choices: dict[str, Any]) -> NegativeSettings:
    from tonewright.files.negative.settings import NegativeSettings
    from tonewright.files.raster.source import OpenOptions
    from tonewright.negative.sheet import SheetSettings
    from tonewright.negative.size import SizeWish

    return NegativeSettings(
        mirror=not choices["no_mirror"],
        encoding=choices["encoding"],
        force=choices["force"],
        anyway=choices["anyway"],
        film=choices["film"],
        image=OpenOptions(choices["page"], choices["flatten"]),
        size=SizeWish(choices["width"], choices["height"], choices["ppi"],
                      int(choices["rotate"] or 0)),
        sheet=SheetSettings(choices["margin"], choices["border"], choices["marks"],
                            choices["tone_scale"], choices["caption"]),
        sheet_file=choices["sheet_file"],
        save_sheet=choices["save_sheet"],
        depth=8 if choices["depth"] == "8" else 16,
        ink_colour=choices["ink_colour"],
        seed=choices["seed"],
        deflate=choices["compression"] == "deflate",
    )  # fmt: skip


@contextmanager
def _progress() -> Iterator[Callable[[Step], None] | None]:
    """A line that says how far the work is, on a terminal only."""
    if not sys.stderr.isatty():
        yield None
        return
    shown = [""]

    def show(step: Step) -> None:
        line = f"{step.number} of {step.of}  {visible(step.image.name)}" if step.of > 1 else (
            f"{step.share:.0%}")  # fmt: skip
        if line != shown[0]:
            shown[0] = line
            click.echo(f"\r\x1b[K{line}", err=True, nl=False)

    try:
        yield show
    finally:
        click.echo("\r\x1b[K", err=True, nl=False)
