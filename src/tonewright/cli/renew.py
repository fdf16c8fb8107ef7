"""``tonewright renew``."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import click

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


@click.command("renew")
@click.argument("old", type=PATH)
@click.option("--readings", "readings", multiple=True, type=PATH,
              help="Readings of the target, or of a few patches; may be given several times.")
@click.option("-o", "--output", type=PATH, required=True, help="The new curve to write.")
@click.option("--process", "process_file", type=PATH, metavar="PROCESS",
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
    old: Path, readings: tuple[Path, ...], output: Path, leave_out: tuple[str, ...],
    setup_file: Path | None, plot: Path | None, force: bool, as_json: bool,
    process_file: Path | None, target_time: str | None, anyway: bool, **more: Any,
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
    from tonewright.files.documents import read_curve, write_curve
    from tonewright.files.tables import read_readings

    changes = _changes(setup_file, more)
    if not readings and process_file is None and changes["printing_time"] is None:
        raise OptionError("nothing new was named", "a renewal needs a strip, a target or another"
                          " printing time", "add --process NEW.process.json, --readings NEW.csv"
                          " or --printing-time 12min")
    inputs = [p for p in (old, *readings, process_file, setup_file) if p is not None]
    check_outputs(output, plot, inputs, force)
    before = _Old(old, read_curve(old))
    measured = read_readings(readings, reading_choices(more)) if readings else None
    changes["ink_colour"] = _new_ink(measured, changes["ink_colour"], before)
    asked = _New(output.name, changes, leave_out, process_file, target_time, anyway)
    new = _renew(before, measured, asked)
    write_curve(output, new, force=force)
    if plot is not None:
        write_plot(new, plot, force)
    _say(before.curve, new, _notes(before.curve, new, asked), output, as_json)


def _changes(setup_file: Path | None, setup: dict[str, str | None]) -> dict[str, str | None]:
    """New entries of the setup, single options before the file's; None where nothing is new."""
    from tonewright.files.documents import read_setup

    changes: dict[str, str | None] = dict.fromkeys(SETUP_HELP)
    if setup_file is not None:
        changes.update(read_setup(setup_file).to_dict())
    changes.update({k: setup[k] for k in SETUP_HELP if setup[k] is not None})
    return changes


def _new_ink(
    readings: Any, asked: str | None, old: _Old
) -> str | None:
    """The ink colour that the new readings and the new setup agree on; None: they do not say."""
    said = printed_in(readings, None)
    if asked is not None:
        said["--ink-colour or the setup"] = asked
    before = old.curve.setup.ink_colour
    if readings is not None and not said and before is not None:
        raise OptionError(
            f"the curve {old.curve.name} is for the ink colour {before}, and"
            f" {readings.sources[0].name} does not say in which ink it was printed",
            "a level of ink means something only in the colour that was printed",
            f"add --ink-colour {before} if it was this one; for another ink make a new curve with"
            " tonewright fit")
    return one_ink(said)


def _notes(before: Any, new: Any, asked: _New) -> list[str]:
    """What was taken for granted, or given up."""
    from tonewright.curve.renew import taken_as_before

    if new.recipe is None and before.recipe is not None:
        return ["a whole target tells all by itself: the strip behind the old curve does not count"
                " any more, and the new curve cannot be renewed by a strip or for another time."
                " To keep that, print a strip too, and add its --process."]
    notes = []
    if new.correction.level.tolist() == before.correction.level.tolist():
        notes.append(f"nothing moved: the curve is as {before.name} was")
    if asked.process_file is not None and new.recipe is not None:
        process = new.recipe.processes[new.recipe.process]
        if entries := taken_as_before(before.setup, process, asked.changes):
            notes.append(f"{', '.join(entries)}: taken as before, since {asked.process_file.name}"
                         " does not say")
    return notes


def _say(before: Any, new: Any, notes: list[str], output: Path, as_json: bool) -> None:
    from tonewright.curve.renew import changed_setup, movement
    from tonewright.show.text import fit_json, fit_text, movement_text, next_words, plan_lines
    from tonewright.show.words import labelled

    moved, changed = movement(before, new), changed_setup(before.setup, new.setup)
    if as_json:
        print_json({**fit_json(new), "output": str(output), "ancestor": before.name,
                    "setup_changes": list(changed), "notes": notes, "moved": asdict(moved)})
        return
    click.echo(fit_text(new))
    for line in plan_lines(new, str(output), renewed=True):
        click.echo(line)
    click.echo("\n" + movement_text(before.name, moved, changed))
    for text in notes:
        click.echo(labelled("note", text))
    click.echo(f"\nWritten: {output}")
    click.echo(f"Next:    {next_words(new, str(output))}")


@dataclass(frozen=True)
class _Old:
    path: Path
    curve: Any


@dataclass(frozen=True)
class _New:
    """What the new curve shall be."""

    file_name: str
    changes: dict[str, str | None]
    leave_out: tuple[str, ...]
    process_file: Path | None
    target_time: str | None
    anyway: bool


def _renew(old: _Old, measured: Any, new: _New) -> Any:
    """By way of the process where one is named or only the time changes, else by readings."""
    from tonewright.curve.document import make_name
    from tonewright.curve.renew import (
        Renewal,
        refuse_other_light,
        renew_from_process,
        renew_from_readings,
    )
    from tonewright.files.documents import fingerprint, read_process
    from tonewright.record.setup import INK, Setup
    from tonewright.record.times import parse_time

    name, digest = make_name(new.file_name), fingerprint(old.path)
    if new.target_time is not None and measured is None:
        raise OptionError("--target-time is given without --readings",
                          "it says what the new patches were printed for",
                          "name them with --readings, or leave --target-time out")
    if new.process_file is None and measured is not None and not _adds_patches(old.curve,
                                                                              measured, new):
        if new.target_time is not None:
            raise OptionError("--target-time is given without --process",
                              "times are told apart by a process response alone",
                              "add --process, or leave --target-time out")
        return renew_from_readings(old.curve, digest, measured, name, new.changes, new.leave_out)
    process = None if new.process_file is None else read_process(new.process_file)
    if new.changes["ink_colour"] is not None:  # by this way the old prints of the ink still count
        one_ink({f"the curve {old.curve.name}": old.curve.setup.ink_colour,
                 "the new print": new.changes["ink_colour"]})
    if not new.anyway:
        said = Setup().with_changes({k: v for k, v in new.changes.items() if k != "ink_colour"})
        refuse_other_light(old.curve.setup, said, f"the curve {old.curve.name}", "the new print",
                           INK)
        if process is not None:
            refuse_other_light(process.setup, said, f"the process {process.name}", "the new print")
            refuse_other_light(old.curve.setup, process.setup, f"the curve {old.curve.name}",
                               f"the process {process.name}")
    wanted = new.changes.get("printing_time")
    return renew_from_process(old.curve, digest, Renewal(
        process, parse_time(wanted) if wanted else None, measured,
        parse_time(new.target_time) if new.target_time else None, new.leave_out),
        name, new.changes)


def _adds_patches(old: Any, measured: Any, new: _New) -> bool:
    """Whether a few readings make a derived curve surer, rather than replace it.

    Too few for a target of their own, they are of the paper that the curve is for.
    """
    from tonewright.curve.derive import WHOLE_TARGET

    if old.recipe is None or len(set(measured.level.tolist())) >= WHOLE_TARGET:
        return False
    for entry in ("paper", "coating", "developer"):
        before, after = getattr(old.setup, entry), new.changes[entry]
        if after is not None and after != before:
            raise OptionError(
                f"there are few readings, and the {entry} is new: {after!r}",
                "a few patches help only beside a strip of the same paper and chemistry",
                "add --process NEW.process.json from a strip, or measure a whole target")
    return True
