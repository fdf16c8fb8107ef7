"""``tonewright renew``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli import options
from tonewright.cli.echo import echo
from tonewright.cli.options import PATH, Said


@click.command("renew")
@click.argument("old", type=PATH)
@click.option("--readings", multiple=True, type=PATH,
              help="Readings of the target, or of a few patches; may be given several times.")
@click.option("-o", "--output", type=PATH, required=True, help="The new curve to write.")
@click.option("--process", type=PATH, metavar="PROCESS",
              help="Process response of the new paper or chemistry, from a strip.")
@click.option("--target-time", metavar="TIME",
              help="What the new patches were printed for; without it, the time that the new curve"
              " is for.")
@click.option("--replace", is_flag=True,
              help="Let a whole new target replace all that the old curve knows.")
@options.anyway
@options.leave_out
@options.plot
@options.reading_options
@options.setup_options
@options.result_options
def command(
    old: Path, readings: tuple[Path, ...], output: Path, plot: Path | None, force: bool,
    as_json: bool, **choices: Any,
) -> None:
    """A new curve from an OLD one, after the paper or the chemistry changed.

    Three ways, by what you have on the new paper:

    a strip printed through a step tablet (--process): the curve is worked out without a new
    negative, if the old one was made with --process; a few measured patches (--readings) make
    it surer;

    the whole target printed and measured on the new paper (--readings, --replace): it replaces
    all that the old curve knows (more readings of its own paper: tonewright refine);

    nothing but another printing time (--printing-time): no print at all.

    Aim and setup are carried over; say what changed with --paper, --coating and so on.

    \b
    Examples:
      tonewright renew kallitype.curve.json --process cyanotype.process.json -o cyanotype.curve.json
      tonewright renew kallitype.curve.json --readings new.csv --replace \\
          --paper "smooth cotton" -o smooth.curve.json
      tonewright renew kallitype.curve.json --printing-time 12min -o shorter.curve.json
    """
    from tonewright.files.curves import RenewFiles, renew_files
    from tonewright.show.curve_text import renew_json, renew_text

    said = Said(as_json, lambda made: {**renew_json(made), "output": output},
                lambda made: renew_text(made, output, plot),
                options.picture_beside if plot else None)
    renew_files(RenewFiles(
        old, output, plot, options.reading_files(readings, choices), options.setup_files(choices),
        choices["process"], options.printing_time(choices["target_time"]), choices["leave_out"],
        choices["anyway"], choices["replace"], force), said)
    echo(said.words)
