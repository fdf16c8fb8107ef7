"""``tonewright renew``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from tonewright.cli.options import (
    PATH,
    SETUP_HELP,
    as_json,
    force,
    plot,
    print_json,
    read_readings,
    reading_options,
    setup_options,
    write_plot,
)
from tonewright.errors import OptionError


@click.command("renew")
@click.argument("old", type=PATH)
@click.option("--readings", "readings", multiple=True, type=PATH,
              help="Readings of the target on the new paper; may be given several times.")
@click.option("-o", "--output", type=PATH, required=True, help="The new curve to write.")
@plot
@reading_options
@setup_options
@force
@as_json
def command(
    old: Path, readings: tuple[Path, ...], output: Path, level_field: str | None,
    scale: str | None, relative_to_paper: bool, paper_density: float | None,
    setup_file: Path | None, plot: Path | None, force: bool, as_json: bool, **setup: str | None,
) -> None:
    """A new curve from an OLD one, after the paper or the chemistry changed.

    Print the same target on the new paper, measure it, and give the readings: aim and setup
    are carried over; say what changed with --paper, --coating and so on. The new curve names
    the old one as its ancestor, and what moved is reported.

    \b
    Example:
      tonewright renew kallitype.curve.json --readings new.csv \\
          --paper "smooth cotton" -o smooth.curve.json
    """
    from tonewright.curve import make_name
    from tonewright.files.documents import fingerprint, read_curve, read_setup, write_curve
    from tonewright.files.safe import refuse_existing
    from tonewright.renew import changed_setup, movement, renew_from_readings
    from tonewright.show.text import fit_json, fit_text, movement_text

    if not readings:
        raise OptionError("no readings were named", "a renewal needs measurements of the target"
                          " on the new paper", "add --readings NEW.csv")
    refuse_existing(output, force)
    if plot is not None:
        refuse_existing(plot, force)
    before = read_curve(old)
    changes = dict.fromkeys(SETUP_HELP) if setup_file is None else read_setup(setup_file).to_dict()
    changes.update({k: setup[k] for k in SETUP_HELP if setup[k] is not None})
    measured = read_readings(
        readings, level_field=level_field, scale=scale, relative_to_paper=relative_to_paper,
        paper_density=paper_density)
    new = renew_from_readings(before, fingerprint(old), measured, make_name(output.name), changes)
    moved = movement(before, new)
    changed = changed_setup(before.setup, new.setup)
    write_curve(output, new, force=force)
    if plot is not None:
        write_plot(new, plot, force)
    if as_json:
        print_json({**fit_json(new), "output": str(output), "ancestor": before.name,
                    "setup_changes": list(changed), "moved": asdict(moved)})
        return
    click.echo(fit_text(new))
    click.echo("\n" + movement_text(before.name, moved, changed))
    click.echo(f"\nWritten: {output}")
    click.echo(f"Next:    tonewright negative IMAGE.tif --curve {output} -o NEGATIVE.tif")
