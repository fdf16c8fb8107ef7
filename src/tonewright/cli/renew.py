"""``tonewright renew``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tonewright.cli.echo import echo
from tonewright.cli.options import (
    PATH,
    anyway,
    as_json,
    force,
    leave_out,
    plot,
    print_json,
    printing_time,
    reading_files,
    reading_options,
    setup_files,
    setup_options,
    write_plot,
)


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
@anyway
@leave_out
@plot
@reading_options
@setup_options
@force
@as_json
def command(
    old: Path, readings: tuple[Path, ...], output: Path, plot: Path | None, force: bool,
    as_json: bool, **choices: Any,
) -> None:
    """A new curve from an OLD one, after the paper or the chemistry changed.

    Three ways, by what you have on the new paper:

    a strip printed through a step tablet (--process): the curve is worked out without a new
    negative, if the old one was made with --process; a few measured patches (--readings) make
    it surer;

    the whole target printed and measured again (--readings); fewer than ten patches are
    added to a curve that was made with --process, on its own paper;

    nothing but another printing time (--printing-time): no print at all.

    Aim and setup are carried over; say what changed with --paper, --coating and so on.

    \b
    Examples:
      tonewright renew kallitype.curve.json --process cyanotype.process.json -o cyanotype.curve.json
      tonewright renew kallitype.curve.json --readings new.csv --paper "smooth cotton" \\
          -o smooth.curve.json
      tonewright renew kallitype.curve.json --printing-time 12min -o shorter.curve.json
    """
    from tonewright.files.curves import RenewFiles, renew_files

    renewed = renew_files(RenewFiles(
        old, output, plot, reading_files(readings, choices), setup_files(choices),
        choices["process"], printing_time(choices["target_time"]), choices["leave_out"],
        choices["anyway"], force))
    if plot is not None:
        write_plot(renewed.curve, plot, force)
    from tonewright.show.curve_text import renew_json, renew_text

    if as_json:
        print_json({**renew_json(renewed), "output": str(output)})
    else:
        echo(renew_text(renewed, str(output)))
