"""Options that several commands share."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import click

from tonewright.cli.echo import echo
from tonewright.errors import UNSEEN

if TYPE_CHECKING:
    from tonewright.curve.document import Curve
    from tonewright.curve.renew import Renewed
    from tonewright.files.checks import PrintFiles
    from tonewright.files.curves import ReadingFiles, SetupFiles
    from tonewright.files.negative.batch import Batch
    from tonewright.measured.readings import ReadingOptions
    from tonewright.record.times import PrintingTime
    from tonewright.scan.instrument import ListOrder

Function = TypeVar("Function", bound=Callable[..., Any])
Made = TypeVar("Made")


class _Path(click.Path):
    """A file or a folder; an option that follows in its place is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if isinstance(param, click.Option) and ctx is not None and any(
                value in other.opts for other in ctx.command.params):
            raise click.BadOptionUsage(param.opts[-1], "")
        return super().convert(value, param, ctx)


PATH = _Path(path_type=Path, readable=False)  # what cannot be read is said by who reads it
force = click.option("--force", is_flag=True, help="Replace the output file if it exists.")
as_json = click.option("--json", "as_json", is_flag=True,
                       help="Print one JSON object instead of text.")
encoding = partial(click.option, "--encoding", metavar="NAME",
                   callback=lambda _context, _option, text: text and text.replace(",", "."))
leave_out = click.option("--leave-out", multiple=True, metavar="PATCH",
                         help="Leave a patch out; may be given several times.")
flat = click.option("--flat", "flat_file", type=PATH, metavar="PLAIN",
                    help="Scan: a scan of a plain white sheet over the whole glass, same settings;"
                    " takes the lamp's unevenness out.")
channel = click.option("--channel", type=click.Choice(["red", "green", "blue", "luminance"]),
                       help="RGB scan: which channel to read; without it the luminance.")
allow_jpeg = click.option("--allow-jpeg", is_flag=True,
                          help="Scan: read a JPEG all the same; its blacks are not reliable.")
page = click.option("--page", type=int, metavar="N", help="Which page of a file with several.")
flatten = click.option("--flatten", is_flag=True, help="Lay transparency on white.")
plot = click.option("--plot", type=PATH, metavar="PNG", help="Also draw it as a picture.")

anyway = click.option("--anyway", is_flag=True,
                      help="Go on although lamp, film, printer or ink differ from before.")

SETUP_HELP = {
    "paper": "Paper, as you call it.",
    "coating": "Coating: sensitiser, drops, layers.",
    "developer": "Developer and its temperature.",
    "lamp": "Lamp and its distance, or sun.",
    "film": "Film that the negative is printed on.",
    "printer": "Printer and its settings.",
    "ink": "Ink.",
    "ink_colour": "Colour of the heaviest ink that target and negatives are printed in, R,G,B.",
    "printing_time": "Printing time that the curve is for.",
    "date": "Date of the print.",
    "notes": "Anything else.",
}


def result_options(function: Function) -> Function:
    """Whether files are replaced, and how the command says what it made."""
    return force(as_json(function))


def ink_colour(_context: click.Context, _option: click.Parameter, text: str | None) -> str | None:
    """A colour of ink as it is typed, spelled as documents have it."""
    from tonewright.record.setup import ink_colour_text, parse_colour

    return None if text is None else ink_colour_text(parse_colour(text))


def setup_options_but(*without: str) -> Callable[[Function], Function]:
    """``--setup FILE.toml`` and an option for every entry of the setup, except some."""
    def decorate(function: Function) -> Function:
        for name, text in reversed(SETUP_HELP.items()):
            if name in without:
                continue
            more: dict[str, Any] = {}
            if name == "ink_colour":
                more = {"metavar": "R,G,B", "callback": ink_colour}
            function = click.option(f"--{name.replace('_', '-')}", name, help=text,
                                    **more)(function)
        return click.option("--setup", "setup_file", type=PATH,
                            help="Setup from a TOML file; single options win over it.")(function)
    return decorate


setup_options = setup_options_but()


scale = click.option("--scale", type=click.Choice(["luminance", "visual-density"]),
                     help="Which scale to use where a file holds both.")
_RELATIVE = click.option("--relative-to-paper", is_flag=True,
                         help="The instrument was zeroed on the bare paper.")
_PAPER = click.option("--paper-density", type=float,
                      help="Density of the bare paper, to make relative readings absolute.")


def zero_options(function: Function) -> Function:
    """What an instrument's zero was."""
    return _RELATIVE(_PAPER(function))


def reading_options(function: Function) -> Function:
    """How measurement files are understood."""
    field = click.option("--level-field", help="Column that holds the ink level, e.g. CMYK_K.")
    return field(scale(zero_options(function)))


def order_options(function: Function) -> Function:
    """How a list that an instrument wrote goes over the patches."""
    order = click.option("--order", type=click.Choice(["name", "rows", "columns"]),
                         help="Instrument's file: patches by name, or in reading order.")
    snake = click.option("--snake", is_flag=True, help="Instrument's file: every second row (or"
                         " column) was read backwards.")
    reverse = click.option("--reverse", is_flag=True,
                           help="Instrument's file: it begins at the last patch.")
    return order(snake(reverse(function)))


def list_order(choices: dict[str, Any]) -> ListOrder:
    """With the options above."""
    from tonewright.scan.instrument import ListOrder

    return ListOrder(choices["order"], choices["snake"], choices["reverse"])


def print_options(function: Function) -> Function:
    """What is said of a print made through a curve, beside its readings."""
    target = click.option("--target", type=PATH, metavar="TARGET",
                          help="Layout of the tone scale or sheet, NAME.target.json, for a list of"
                          " patches without their tones, or without names.")
    time = click.option("--time", metavar="TIME",
                        help="What the print was made for; without it, the curve's time.")
    setup = setup_options_but("printing_time")
    read = order_options(time(leave_out(plot(reading_options(setup(result_options(function)))))))
    return target(read)


def print_files(
    curve: Path, readings: tuple[Path, ...], output: Path | None, choices: dict[str, Any]
) -> PrintFiles:
    """The files of a print, with the options above."""
    from tonewright.files.checks import PrintFiles

    return PrintFiles(
        curve, reading_files(readings, choices), output, choices["plot"], choices["target"],
        setup_files(choices), printing_time(choices["time"]), choices["leave_out"],
        choices["force"], list_order(choices))


def reading_choices(choices: dict[str, Any]) -> ReadingOptions:
    """Those of the options above that a command has."""
    from tonewright.measured.readings import ReadingOptions

    return ReadingOptions(choices.get("level_field"), choices["scale"],
                          choices["relative_to_paper"], choices["paper_density"])


def reading_files(paths: tuple[Path, ...], choices: dict[str, Any]) -> ReadingFiles:
    """Files of readings with the options that say how they are understood."""
    from tonewright.files.curves import ReadingFiles

    return ReadingFiles(paths, reading_choices(choices))


def setup_files(choices: dict[str, Any]) -> SetupFiles:
    """The setup as single options and the file say it."""
    from tonewright.files.curves import SetupFiles
    from tonewright.record.setup import Setup

    return SetupFiles(Setup(**{name: choices.get(name) for name in SETUP_HELP}),
                      choices["setup_file"])


def printing_time(text: str | None) -> PrintingTime | None:
    """A time as it is typed; None: none was."""
    from tonewright.record.times import parse_time

    return None if text is None else parse_time(text)


def picture(curve: Curve, old: Curve | None = None) -> bytes:
    """A curve, and the one that it renews, as a PNG."""
    from tonewright.show.plots import plot_curve

    return plot_curve(curve, old)


def picture_beside(made: Renewed) -> bytes:
    """A curve beside its old one, as a PNG."""
    return picture(made.curve, made.old)


@dataclass
class Said(Generic[Made]):
    """What a command says of what it makes: worked out, and drawn, before it is written."""

    as_json: bool
    data: Callable[[Made], dict[str, Any]]
    text: Callable[[Made], str]
    draw: Callable[[Made], bytes] | None = None
    words: str = ""

    def __call__(self, made: Made) -> bytes | None:
        """The picture that is written with it, if there is to be one."""
        self.words = json_text(self.data(made)) if self.as_json else self.text(made)
        return None if self.draw is None else self.draw(made)


def say(as_json: bool, data: Callable[[], dict[str, Any]], text: Callable[[], str]) -> None:
    """Print one JSON object, or the report."""
    echo(json_text(data()) if as_json else text())


def say_batch(
    batch: Batch[Any], as_json: bool, single: bool, data: Callable[..., dict[str, Any]],
    text: Callable[[], str], made: str,
) -> None:
    """The same of what was made of several pictures, or of a ``single`` one; where some could not
    be used, that is said, and the command ends with 2."""
    from tonewright.cli.typed import message
    from tonewright.show.negative_text import failures_text

    if as_json:
        found = data(batch, message)
        echo(json_text(found["outputs"][0] if single else found))
    elif batch.reports:
        echo(text())
    if batch.failures:
        echo(failures_text(batch.failures, len(batch.reports), message, made), err=True)
        click.get_current_context().exit(2)


def json_text(data: dict[str, Any]) -> str:
    """One JSON object; paths and days are texts in it."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1, default=_text)
    return "\n".join(UNSEEN.sub(lambda sign: f"\\u{ord(sign[0]):04x}", line)
                     for line in text.split("\n"))


def _text(value: Any) -> str:
    if isinstance(value, Path | date):
        return str(value)
    raise TypeError(f"JSON holds no {type(value).__name__}")
