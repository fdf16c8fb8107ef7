"""Options that several commands share."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from tonewright.curve import Curve
    from tonewright.readings import ReadingOptions, Readings

Function = TypeVar("Function", bound=Callable[..., Any])

PATH = click.Path(path_type=Path)
force = click.option("--force", is_flag=True, help="Replace the output file if it exists.")
as_json = click.option("--json", "as_json", is_flag=True,
                       help="Print one JSON object instead of text.")
plot = click.option("--plot", type=PATH, metavar="PNG", help="Also draw the curve as a picture.")

SETUP_HELP = {
    "paper": "Paper, as you call it.",
    "coating": "Coating: sensitiser, drops, layers.",
    "developer": "Developer and its temperature.",
    "lamp": "Lamp and its distance, or sun.",
    "film": "Film that the negative is printed on.",
    "printer": "Printer and its settings.",
    "ink": "Ink.",
    "printing_time": "Printing time of the target.",
    "date": "Date of the print.",
    "notes": "Anything else.",
}


def setup_options(function: Function) -> Function:
    """``--setup FILE.toml`` and an option for every entry of the setup."""
    for name, text in reversed(SETUP_HELP.items()):
        function = click.option(f"--{name.replace('_', '-')}", name, help=text)(function)
    return click.option("--setup", "setup_file", type=PATH,
                        help="Setup from a TOML file; single options win over it.")(function)


def reading_options(function: Function) -> Function:
    """How measurement files are understood."""
    for option in (
        click.option("--paper-density", type=float,
                     help="Density of the bare paper, to make relative readings absolute."),
        click.option("--relative-to-paper", is_flag=True,
                     help="The instrument was zeroed on the bare paper."),
        click.option("--scale", type=click.Choice(["luminance", "visual-density"]),
                     help="Which scale to use where a file holds both."),
        click.option("--level-field", help="Column that holds the ink level, e.g. CMYK_K."),
    ):
        function = option(function)
    return function


def read_readings(
    paths: tuple[Path, ...], *, level_field: str | None, scale: Any, relative_to_paper: bool,
    paper_density: float | None,
) -> Readings:
    """Readings of one or several files as the options say."""
    from tonewright.files.tables import read_table
    from tonewright.readings import ReadingOptions, combine, readings_from_table

    options: ReadingOptions = ReadingOptions(level_field, scale, relative_to_paper, paper_density)
    return combine([readings_from_table(read_table(p, level_field), options) for p in paths])


def write_plot(curve: Curve, path: Path, force: bool) -> None:
    """Draw a curve into a PNG file."""
    from tonewright.files.safe import write_bytes
    from tonewright.show.plots import plot_curve

    write_bytes(path, plot_curve(curve), force=force)


def print_json(data: dict[str, Any]) -> None:
    """One JSON object on stdout."""
    click.echo(json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1))
