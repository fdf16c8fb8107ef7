"""``tonewright fit``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from tonewright.cli.options import (
    PATH,
    SETUP_HELP,
    anyway,
    as_json,
    check_outputs,
    force,
    leave_out,
    one_ink,
    plot,
    print_json,
    printed_in,
    reading_choices,
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
@leave_out
@click.option("--rebuild", type=PATH, metavar="CURVE",
              help="Make this curve again from the readings it carries.")
@click.option("--target", "target_file", type=PATH, metavar="TARGET",
              help="The target's layout, T.target.json: says in which ink colour it was printed.")
@click.option("--process", "process_file", type=PATH, metavar="PROCESS",
              help="Process response from a strip (tonewright strip): tells how dense the ink is.")
@click.option("--target-time", metavar="TIME",
              help="What the target was printed for; without it, the strip's time.")
@click.option("--ink-from", multiple=True, type=PATH, metavar="CURVE",
              help="Another curve made with --process and the same printer, film and ink.")
@anyway
@plot
@reading_options
@setup_options
@force
@as_json
def command(
    readings: tuple[Path, ...], output: Path | None, aim_text: str, leave_out: tuple[str, ...],
    rebuild: Path | None, setup_file: Path | None, plot: Path | None, force: bool, as_json: bool,
    process_file: Path | None, target_time: str | None,
    ink_from: tuple[Path, ...], anyway: bool, target_file: Path | None, **more: Any,
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
    from tonewright.files.documents import write_curve
    from tonewright.files.tables import read_readings

    if rebuild is not None:
        _refuse_beside_rebuild(rebuild)
        check_outputs(output, plot, [], force)
        _rebuild(rebuild, output, plot, force, as_json)
        return
    if not readings and not ink_from:
        raise OptionError("no readings were named", "a curve is made from a file of readings",
                          "tonewright fit READINGS.csv -o NAME.curve.json, or with --process"
                          " the ink of an earlier curve: --ink-from OLD.curve.json")
    if output is None:
        first = (*readings, *ink_from)[0]
        raise OptionError("no output was named", "the curve needs a file to go to",
                          f"add -o {first.stem}.curve.json")
    inputs = [*readings, *ink_from, Path(aim_text.partition(":")[2] or aim_text)]
    inputs += [p for p in (process_file, target_file, setup_file) if p is not None]
    check_outputs(output, plot, inputs, force)
    measured = read_readings(readings, reading_choices(more)) if readings else None
    setup = _in_its_ink({name: more[name] for name in SETUP_HELP},
                        (setup_file, target_file, process_file), measured)
    how = _Wanted(output, aim_text, leave_out, setup_file, setup)
    if process_file is None:
        _refuse_without_process(target_time, ink_from)
        curve = _make(measured, how)
    else:
        curve = _derive(measured, how, _Process(process_file, target_time, ink_from, anyway))
    write_curve(output, curve, force=force)
    if plot is not None:
        write_plot(curve, plot, force)
    _say(curve, output, as_json)


def _in_its_ink(
    setup: dict[str, str | None], files: tuple[Path | None, Path | None, Path | None],
    measured: Any,
) -> dict[str, str | None]:
    """The setup with the ink colour that options, readings and the files of setup, target and
    process agree on."""
    from tonewright.files.documents import read_process, read_setup
    from tonewright.files.targets import read_target

    setup_file, target_file, process_file = files
    target = None if target_file is None else read_target(target_file)
    said = printed_in(measured, target)
    if setup_file is not None and (colour := read_setup(setup_file).ink_colour) is not None:
        said[f"the setup {setup_file.name}"] = colour
    if process_file is not None and (colour := read_process(process_file).setup.ink_colour):
        said[f"the process {process_file.name}"] = colour
    if setup["ink_colour"] is not None:
        said["--ink-colour"] = setup["ink_colour"]
    return {**setup, "ink_colour": one_ink(said)}


@dataclass(frozen=True)
class _Wanted:
    """What the curve shall be."""

    output: Path
    aim_text: str
    leave_out: tuple[str, ...]
    setup_file: Path | None
    setup: dict[str, str | None]

    def settings(self, measured: Any) -> Any:
        from tonewright.curve.document import Settings
        from tonewright.files.documents import read_aim

        return Settings(read_aim(self.aim_text, measured), self.leave_out)

    def said(self) -> Any:
        """The setup as the options and the file say it."""
        from tonewright.files.documents import read_setup
        from tonewright.record.setup import Setup

        base = read_setup(self.setup_file) if self.setup_file else Setup()
        return base.with_changes({name: self.setup[name] for name in SETUP_HELP})


@dataclass(frozen=True)
class _Process:
    """The options that go with a process response."""

    file: Path
    target_time: str | None
    ink_from: tuple[Path, ...]
    anyway: bool


def _make(measured: Any, how: _Wanted) -> Any:
    from tonewright.curve.document import make_name
    from tonewright.curve.make import make_curve

    return make_curve(measured, how.settings(measured), how.said(), make_name(how.output.name))


def _refuse_without_process(target_time: str | None, ink_from: tuple[Path, ...]) -> None:
    given = "--target-time" if target_time else "--ink-from" if ink_from else None
    if given:
        raise OptionError(f"{given} is given without --process",
                          "times and inks are told apart by a process response alone",
                          "add --process NAME.process.json, from tonewright strip")


def _derive(measured: Any, how: _Wanted, more: _Process) -> Any:
    """A curve by way of the process response."""
    from tonewright.curve.derive import DerivedSettings, make_derived_curve, make_recipe
    from tonewright.curve.document import make_name
    from tonewright.curve.renew import refuse_other_light
    from tonewright.files.documents import read_curve, read_process
    from tonewright.record.setup import INK
    from tonewright.record.times import parse_time

    if more.target_time is not None and measured is None:
        raise OptionError("--target-time is given without readings",
                          "it says what the target was printed for",
                          "name the target's readings, or leave --target-time out")
    process = read_process(more.file)
    said = how.said()
    others = tuple(read_curve(p) for p in more.ink_from)
    setup = process.setup.with_changes(said.to_dict())
    if not more.anyway:
        refuse_other_light(process.setup, said, f"the strip of {process.name}", "the target")
        inks = {f"the curve {other.name}": other.setup.ink_colour for other in others}
        one_ink(inks if measured is None else {"this target": setup.ink_colour, **inks})
    for other in others:
        if not more.anyway:
            refuse_other_light(setup, other.setup, "this curve", f"the curve {other.name}", INK)
        setup = setup.with_changes({k: getattr(other.setup, k) for k in INK
                                    if getattr(setup, k) is None})
    recipe = make_recipe(process, measured, DerivedSettings(
        parse_time(more.target_time) if more.target_time else None,
        parse_time(said.printing_time) if said.printing_time else None, others))
    setup = setup.with_changes({"printing_time": recipe.spoken_time})
    return make_derived_curve(recipe, how.settings(measured), setup,
                              make_name(how.output.name))


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
    from tonewright.curve.make import rebuild
    from tonewright.files.documents import curve_text, read_curve, read_text, write_curve

    old = read_curve(path)
    new = rebuild(old)
    same = curve_text(new) == read_text(path)
    if output is not None:
        write_curve(output, new, force=force)
    if plot is not None:
        write_plot(new, plot, force)
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
    from tonewright.show.text import fit_json, fit_text, next_words, plan_lines

    if as_json:
        print_json({**fit_json(curve), "output": str(output)})
        return
    click.echo(fit_text(curve))
    for line in plan_lines(curve, str(output)):
        click.echo(line)
    click.echo(f"\nWritten: {output}")
    click.echo(f"Next:    {next_words(curve, str(output))}")
