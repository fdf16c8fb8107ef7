"""`tonewright negative`: printable negatives from finished images."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tonewright.cli.options import PATH, as_json, force, print_json
from tonewright.errors import OptionError

if TYPE_CHECKING:
    from tonewright.curve.document import Curve
    from tonewright.files.negative.make import Batch, NegativeSettings
    from tonewright.files.negative.second import Second
    from tonewright.files.negative.sheet_file import SheetChoices


@click.command("negative")
@click.argument("images", nargs=-1, required=True, type=PATH, metavar="IMAGE...")
@click.option("--curve", "curve_file", required=True, type=PATH, help="The correction curve.")
@click.option("-o", "--output", required=True, type=PATH,
              help="The negative, a .tif; with several images, a folder.")
@click.option("--no-mirror", is_flag=True,
              help="Keep left and right, for printing through the film's back.")
@click.option("--encoding", metavar="NAME",
              help="What the image's values mean: lightness, srgb, linear, gamma:2.2. Without"
              " it the embedded ICC profile says so; without one, gamma:2.2 (in colour, srgb) is"
              " assumed.")
@click.option("--page", type=int, metavar="N", help="Which page of a file with several.")
@click.option("--flatten", is_flag=True, help="Lay transparency on white.")
@click.option("--width", metavar="LENGTH", help="Width of the picture on the film: 200mm, 8in.")
@click.option("--height", metavar="LENGTH", help="Height of the picture, instead of the width.")
@click.option("--ppi", metavar="N",
              help="Resample to so many pixels to the inch. Without it every pixel stays as it"
              " is, and --width only changes how large it is printed.")
@click.option("--rotate", type=click.Choice(["90", "180", "270"]), metavar="DEGREES",
              help="Turn clockwise: 90, 180 or 270.")
@click.option("--crop", metavar="BOX", hidden=True)
@click.option("--margin", metavar="LENGTH", help="Border around the picture: 14mm; 0mm for none.")
@click.option("--border", type=click.Choice(["clear", "opaque"]),
              help="clear film prints a black border; opaque ink keeps it paper white.")
@click.option("--marks/--no-marks", default=None,
              help="Corner and middle marks, for coating and for lining up.")
@click.option("--tone-scale/--no-tone-scale", default=None,
              help="Eleven tones of known aims beside the picture, and their places in"
              " NAME.target.json, so that the print can be measured.")
@click.option("--caption/--no-caption", default=None,
              help="A line that names image, curve, date, size and printing time.")
@click.option("--layout", "layout_file", type=PATH, metavar="FILE.toml",
              help="Border, marks, scale, caption and ppi from a file; single options win.")
@click.option("--save-layout", type=PATH, metavar="FILE.toml",
              help="Remember those choices in a file.")
@click.option("--depth", type=click.Choice(["16", "8"]), default="16", show_default=True,
              help="Bits of a pixel; 8 are spread over neighbours so that tones stay.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=1, show_default=True,
              help="Of the pattern that spreads 8 bits.")
@click.option("--ink-colour", metavar="R,G,B",
              help="The heaviest ink as a colour, 0 to 255 each: the one the target was printed"
              " in. Without it, what the curve remembers.")
@click.option("--compression", type=click.Choice(["none", "deflate"]), default="none",
              show_default=True, help="deflate makes a smaller file, more slowly.")
@force
@as_json
def command(
    images: tuple[Path, ...], curve_file: Path, output: Path, save_layout: Path | None,
    force: bool, as_json: bool, crop: str | None, **choices: Any,
) -> None:
    """Make a negative to print on film from each finished IMAGE.

    An IMAGE is a TIFF or PNG (at need a JPEG), best in 16-bit gray; of colour only the lightness
    is used. Each comes out corrected by the curve, inverted and mirrored, as a TIFF: 16-bit gray
    unless you ask for something else. With several, -o names a folder, and each negative is
    called NAME-negative.tif there; an image that cannot be used does not stop the others.

    \b
    Examples:
      tonewright negative portrait.tif --curve kallitype.curve.json -o portrait-negative.tif
      tonewright negative *.tif --curve kallitype.curve.json -o negatives
      tonewright negative portrait.tif --curve kallitype.curve.json -o sheet.tif \\
          --width 200mm --ppi 360 --marks --tone-scale --caption --save-layout my-sheet.toml
    """
    with ExitStack() as stack:
        second = None
        if len(images) > 1:  # before anything is loaded here: both load at the same time
            from tonewright.files.negative.second import second_for

            second = second_for(images)
            if second is not None:
                stack.enter_context(second)
        from tonewright.files.documents import open_curve
        from tonewright.files.negative.make import output_names

        _refuse_crop(crop)
        sheet = _sheet(choices)
        _check_layout_file(save_layout, force, [*images, curve_file, output])
        curve = open_curve(curve_file, sources=False)
        settings = _settings(choices, sheet, force, curve.sha256)
        batch = _made(output_names(images, output), curve.document, settings, second)
    if save_layout is not None:
        from tonewright.files.negative.sheet_file import write_sheet

        write_sheet(save_layout, sheet, force=force)
    _say(batch, len(images) == 1, as_json, settings.mirror)
    if batch.failures:
        click.get_current_context().exit(2)


def _made(
    pairs: list[tuple[Path, Path]], curve: Curve, settings: NegativeSettings,
    second: Second | None,
) -> Batch:
    from tonewright.files.negative.make import Batch, make_negative, make_negatives

    if len(pairs) == 1:
        return Batch([make_negative(pairs[0][0], curve, pairs[0][1], settings, _rows(""))])
    batch = make_negatives(pairs, curve, settings, _progress, second)
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", err=True, nl=False)
    return batch


def _refuse_crop(crop: str | None) -> None:
    if crop is not None:
        raise OptionError(
            f"--crop is {crop}",
            "what belongs to the picture is decided in the editor, where it is seen",
            "crop it there and save it again",
        )


def _check_layout_file(path: Path | None, force: bool, others: list[Path]) -> None:
    """Before any work: what may not be written over."""
    if path is None:
        return
    from tonewright.files.safe import refuse_existing

    refuse_existing(path, force)
    if path.resolve() in {other.resolve() for other in others}:
        raise OptionError(
            f"--save-layout is {path}",
            "that file is already something else in this call",
            "give the layout a name of its own, as my-sheet.toml",
        )


def _sheet(choices: dict[str, Any]) -> SheetChoices:
    """What was typed, over what the layout file remembers."""
    from tonewright.files.negative.sheet_file import SheetChoices, parse_margin, read_sheet
    from tonewright.negative.size import parse_ppi

    typed = SheetChoices(
        None if choices["margin"] is None else parse_margin(choices["margin"]),
        choices["border"], choices["marks"], choices["tone_scale"], choices["caption"],
        None if choices["ppi"] is None else parse_ppi(choices["ppi"]),
    )  # fmt: skip
    typed.check()
    file = choices["layout_file"]
    return typed if file is None else typed.over(read_sheet(file))


def _settings(
    choices: dict[str, Any], sheet: SheetChoices, force: bool, sha256: str
) -> NegativeSettings:
    from datetime import date

    from tonewright.files.negative.make import NegativeSettings
    from tonewright.files.raster.source import OpenOptions
    from tonewright.negative.size import SizeWish, parse_length

    width, height = (
        None if choices[side] is None else parse_length(choices[side], f"--{side}")
        for side in ("width", "height")
    )
    return NegativeSettings(
        mirror=not choices["no_mirror"],
        encoding=choices["encoding"],
        force=force,
        image=OpenOptions(choices["page"], choices["flatten"]),
        size=SizeWish(width, height, sheet.ppi, int(choices["rotate"] or 0)),
        frame=sheet.frame(),
        depth=8 if choices["depth"] == "8" else 16,
        ink_colour=choices["ink_colour"],
        seed=choices["seed"],
        deflate=choices["compression"] == "deflate",
        date=date.today().isoformat(),
        curve_sha256=sha256,
    )


def _say(batch: Batch, single: bool, as_json: bool, mirror: bool) -> None:
    from tonewright.show.negative_text import batch_json, failures_text, negative_text, next_step

    if as_json:
        found = batch_json(batch)
        print_json(found["outputs"][0] if single else found)
    else:
        for report in batch.reports:
            click.echo(negative_text(report))
        if batch.reports:
            click.echo("\n" + next_step(mirror))
    if batch.failures:
        click.echo(failures_text(batch), err=True)


def _progress(image: Path, number: int, of: int) -> None:
    """Which image is waited for, on a terminal only."""
    if sys.stderr.isatty():
        click.echo(f"\r\x1b[K{number} of {of}  {image.name}", err=True, nl=False)


def _rows(words: str) -> Callable[[int, int], None] | None:
    """A line that counts up, on a terminal only."""
    if not sys.stderr.isatty():
        return None
    shown = [-1]

    def show(rows: int, of: int) -> None:
        percent = 100 * rows // of
        if percent != shown[0]:
            shown[0] = percent
            line = f"\r{words}{percent:3d} %" if rows < of else f"\r{' ' * (len(words) + 5)}\r"
            click.echo(line, err=True, nl=False)

    return show
