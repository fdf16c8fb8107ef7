"""``tonewright fit``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from tonewright.cli import options
from tonewright.cli.echo import echo
from tonewright.cli.options import PATH, Said
from tonewright.errors import OptionError


@click.command("fit")
@click.argument("readings", nargs=-1, type=PATH)
@click.option("-o", "--output", type=PATH,
              help="The curve to write, NAME.curve.json; without it there is only the report.")
@click.option("--aim", default="lightness", show_default=True,
              help="lightness, density, like:OTHER.curve.json or points:FILE.csv.")
@options.leave_out
@click.option("--rebuild", type=PATH, metavar="CURVE",
              help="Make this curve again from the readings it carries.")
@click.option("--target", type=PATH, metavar="TARGET",
              help="The target's layout, T.target.json: says in which ink colour it was printed.")
@click.option("--process", type=PATH, metavar="PROCESS",
              help="Process response from a strip (tonewright strip): tells how dense the ink is.")
@click.option("--target-time", metavar="TIME",
              help="What the target was printed for; without it, the strip's time.")
@click.option("--ink-from", multiple=True, type=PATH, metavar="CURVE",
              help="Another curve made with --process and the same printer, film and ink.")
@options.anyway
@options.plot
@options.reading_options
@options.setup_options
@options.result_options
def command(
    readings: tuple[Path, ...], output: Path | None, rebuild: Path | None, plot: Path | None,
    force: bool, as_json: bool, **choices: Any,
) -> None:
    """A correction curve from the READINGS of a printed target.

    READINGS are CSV or CGATS.17 text files with a column for the ink (level 0 to 1, or
    ink_percent) and one for what was measured (density, lightness, luminance, LAB or XYZ, or a
    spectrum). Several files are read as one; a column named print says which sheet a patch was
    on.

    The curve is written to NAME.curve.json together with the readings and the setup, so that
    it can be made again, compared and renewed.

    With --process, the target may have been printed for another time than the curve is for:
    a tablet and a target side by side on one sheet, at a guessed time, give the curve for the
    base printing time, or for --printing-time.

    \b
    Examples:
      tonewright fit target.csv -o kallitype.curve.json --setup kallitype.toml
      tonewright fit target.csv --process kallitype.process.json -o kallitype.curve.json
      tonewright fit target.csv --aim density -o soft.curve.json
      tonewright fit --rebuild kallitype.curve.json -o again.curve.json
    """
    from tonewright.files.curves import FitFiles, fit_files

    if rebuild is not None:
        _refuse_beside_rebuild(rebuild)
        _rebuild(rebuild, output, plot, force, as_json)
        return
    from tonewright.show.curve_text import fit_json, fit_text

    said = Said(as_json, lambda curve: {**fit_json(curve), "output": output},
                lambda curve: fit_text(curve, output, plot), options.picture if plot else None)
    fit_files(FitFiles(
        output, plot, options.reading_files(readings, choices), options.setup_files(choices),
        choices["aim"], choices["leave_out"], choices["target"], choices["process"],
        options.printing_time(choices["target_time"]), choices["ink_from"], choices["anyway"],
        force), said)
    echo(said.words)


def _refuse_beside_rebuild(path: Path) -> None:
    """A rebuild takes nothing but where to put it: anything else would silently not count."""
    context = click.get_current_context()
    for option in context.command.params:
        given = context.get_parameter_source(option.name or "") is ParameterSource.COMMANDLINE
        if given and option.name not in ("rebuild", "output", "plot", "force", "as_json"):
            said = option.opts[0] if option.opts[0].startswith("-") else "readings"
            raise OptionError(f"--rebuild {path} and {said} are both given",
                              "a rebuild uses the readings, the aim and the setup that the curve"
                              " carries", "leave one of the two out")


def _rebuild(
    path: Path, output: Path | None, plot: Path | None, force: bool, as_json: bool
) -> None:
    """Make a curve again; without an output only say whether it comes out the same."""
    from tonewright.files.curves import rebuild_file
    from tonewright.show.curve_text import rebuild_json, rebuild_text

    made = rebuild_file(path, output, plot, force=force,
                        before_writing=options.picture if plot else lambda _: None)
    options.say(as_json, lambda: rebuild_json(made, path, output),
                lambda: rebuild_text(made, path, output))
    if made.differences:
        click.get_current_context().exit(1)
