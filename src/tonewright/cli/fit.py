"""``tonewright fit``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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


@click.command("fit")
@click.argument("readings", nargs=-1, type=PATH)
@click.option("-o", "--output", type=PATH, help="The curve to write, NAME.curve.json.")
@click.option("--aim", "aim_text", default="lightness", show_default=True,
              help="lightness, density, like:OTHER.curve.json or points:FILE.csv.")
@click.option("--leave-out", multiple=True, metavar="PATCH",
              help="Leave a patch out; may be given several times.")
@click.option("--rebuild", type=PATH, metavar="CURVE",
              help="Make this curve again from the readings it carries.")
@plot
@reading_options
@setup_options
@force
@as_json
def command(
    readings: tuple[Path, ...], output: Path | None, aim_text: str, leave_out: tuple[str, ...],
    rebuild: Path | None, level_field: str | None, scale: str | None, relative_to_paper: bool,
    paper_density: float | None, setup_file: Path | None, plot: Path | None, force: bool,
    as_json: bool,
    **setup: str | None,
) -> None:
    """A correction curve from the READINGS of a printed target.

    READINGS are CSV or CGATS.17 text files with a column for the ink (level 0 to 1, or
    ink_percent) and one for what was measured (density, lightness, luminance, LAB or XYZ, or a
    spectrum). Several files are read as one; a column named print says which sheet a patch was
    on.

    The curve is written to NAME.curve.json together with the readings and the setup, so that
    it can be made again, compared and renewed.

    \b
    Examples:
      tonewright fit target.csv -o kallitype.curve.json --setup kallitype.toml
      tonewright fit target.csv --aim density -o soft.curve.json
      tonewright fit --rebuild kallitype.curve.json -o again.curve.json
    """
    from tonewright.files.documents import write_curve
    from tonewright.files.safe import refuse_existing

    if rebuild is not None:
        _rebuild(rebuild, readings, output, force, as_json)
        return
    if not readings:
        raise OptionError("no readings were named", "a curve is made from a file of readings",
                          "tonewright fit READINGS.csv -o NAME.curve.json")
    if output is None:
        raise OptionError("no output was named", "the curve needs a file to go to",
                          f"add -o {readings[0].stem}.curve.json")
    refuse_existing(output, force)
    if plot is not None:
        refuse_existing(plot, force)
    curve = _make(read_readings(
        readings, level_field=level_field, scale=scale, relative_to_paper=relative_to_paper,
        paper_density=paper_density), aim_text, leave_out, setup_file, setup, output)
    write_curve(output, curve, force=force)
    if plot is not None:
        write_plot(curve, plot, force)
    _say(curve, output, as_json)


def _make(
    measured: Any, aim_text: str, leave_out: tuple[str, ...], setup_file: Path | None,
    setup: dict[str, str | None], output: Path,
) -> Any:
    from tonewright.calibrate import make_curve
    from tonewright.curve import Settings, make_name
    from tonewright.files.documents import read_aim, read_setup
    from tonewright.setup import Setup

    base = read_setup(setup_file) if setup_file else Setup()
    changes = {name: setup[name] for name in SETUP_HELP}
    return make_curve(measured, Settings(read_aim(aim_text), leave_out),
                      base.with_changes(changes), make_name(output.name))


def _rebuild(
    path: Path, readings: tuple[Path, ...], output: Path | None, force: bool, as_json: bool
) -> None:
    """Make a curve again; without an output only say whether it comes out the same."""
    from tonewright.calibrate import rebuild
    from tonewright.files.documents import curve_text, read_curve, read_text, write_curve

    if readings:
        raise OptionError(f"--rebuild {path} and readings {readings[0]}",
                          "a rebuild uses the readings that the curve carries",
                          "leave the readings out, or leave --rebuild out")
    old = read_curve(path)
    new = rebuild(old)
    same = curve_text(new) == read_text(path)
    if output is not None:
        write_curve(output, new, force=force)
    if as_json:
        print_json({"rebuilt": str(path), "same_bytes": same, "made_by": old.made_by,
                    "output": None if output is None else str(output)})
    elif same:
        click.echo(f"{path} was made again from its readings and comes out the same,"
                   " byte for byte.")
    else:
        click.echo(f"{path} was made again from its readings and comes out DIFFERENT: it was"
                   f" made by {old.made_by}, or it was edited."
                   + ("" if output else " Add -o NEW.curve.json to see how."))
    if not same:
        click.get_current_context().exit(1)


def _say(curve: Any, output: Path, as_json: bool) -> None:
    from tonewright.show.text import fit_json, fit_text

    if as_json:
        print_json({**fit_json(curve), "output": str(output)})
        return
    click.echo(fit_text(curve))
    click.echo(f"\nWritten: {output}")
    click.echo(f"Next:    tonewright negative IMAGE.tif --curve {output} -o NEGATIVE.tif")
