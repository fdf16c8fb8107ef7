"""The command line: parse, one library call, print.

A command's module is imported when that command is run, so that ``--help`` loads click alone.
"""

from __future__ import annotations

import atexit
import errno
import gc
import sys
from importlib import import_module
from typing import Any, NoReturn

import click

from tonewright import __version__
from tonewright.cli.echo import echo
from tonewright.cli.typed import message
from tonewright.errors import FileError, TonewrightError
from tonewright.show.cautions import has_to_print, with_cautions

# Imports make many objects and hardly any garbage: looking for it, over and over and once more at
# the end, takes a tenth of a short command.
gc.set_threshold(50_000)
atexit.register(gc.freeze)

COMMANDS = {
    "strip": "printing time, range and process response from a tablet strip",
    "target": "a target to print as a negative, and its layout",
    "scanner": "a scanner calibrated: what densities its values stand for",
    "read": "densities of a printed target, from a scan or an instrument",
    "inks": "which colour of ink to make negatives in, from a printed chart",
    "fit": "a correction curve from the readings of a printed target",
    "proof": "what the print of a picture will look like",
    "negative": "printable negatives from finished images",
    "worksheet": "a page to take into the darkroom",
    "check": "a print against its curve: verdict, cause, what to do",
    "refine": "a curve made surer by more prints of its paper",
    "renew": "a curve for a new paper, chemistry or time; a time needs no print",
    "drift": "what moved over time: strips and checks on control charts",
    "shelf": "every document in a folder, by setup, and what is due",
    "compare": "two or more curves side by side",
    "report": "a curve on one page, to pin up",
    "export": "a curve for other programs",
    "bench": "the whole job as pages in the browser, on this machine",
    "rehearse": "the whole job in a virtual darkroom, no lab needed",
}


class _Number(click.types.FloatParamType):
    """A number with a decimal point or a decimal comma."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        plain: Any = value.replace(",", ".") if isinstance(value, str) else value
        try:
            return super().convert(plain, param, ctx)
        except click.BadParameter:
            self.fail(f"{value!r} is not a number", param, ctx)


NUMBER = _Number()


class _LazyGroup(click.Group):
    """A group whose commands are modules, loaded when they are needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"tonewright.cli.{cmd_name}").command
        for option in command.params:  # a number is read alike in every option
            if option.type is click.FLOAT:
                option.type = NUMBER
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if not args:  # the help is shown
            return super().parse_args(ctx, args)
        try:
            return super().parse_args(ctx, args)
        except click.UsageError as error:
            _refuse(ctx, error)
        except OSError as error:
            _stop(ctx, error)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            from tonewright.cli.usage import no_such_command

            raise no_such_command(args[0], list(COMMANDS))
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            from tonewright.files.safe import one_call

            with one_call():
                return super().invoke(ctx)
        except (TonewrightError, click.UsageError) as error:
            _refuse(ctx, error)
        except OSError as error:
            _stop(ctx, error)


def _stop(ctx: click.Context, error: OSError) -> NoReturn:
    """A file or a folder that fails where nobody expected it, or no room for the report."""
    nowhere = {errno.ENOSPC: ("the disk is full", "make room and look which are there"),
               errno.EBADF: ("standard output is closed", "open it, or name a file")}
    if error.errno in nowhere:
        sys.stdout = None  # or it would be tried again at the end
        why, way_out = nowhere[error.errno]
        _refuse(ctx, FileError(f"the report could not be written ({why})",
                               "files that were named are written whole or not at all", way_out))
    _refuse(ctx, FileError(
        f"{error.filename or 'a file'} cannot be used ({error.strerror or type(error).__name__})",
        "files and folders can be found and opened",
        "check the name, its links and permissions, and the folder you are in"))


def _refuse(ctx: click.Context, error: TonewrightError | click.UsageError) -> NoReturn:
    """Say what is wrong in one line, and end with 2."""
    name = ctx.invoked_subcommand
    called = f"tonewright {name}" if name else "tonewright"
    if isinstance(error, click.UsageError):
        from tonewright.cli.usage import usage_fault

        group = ctx.command
        command = group.get_command(ctx, name) if isinstance(group, _LazyGroup) and name else group
        error = usage_fault(error, command, called)
    try:
        echo(with_cautions([f"{called}: {message(error)}"], has_to_print(error)), err=True)
    except OSError:  # nowhere to say it: the status does
        sys.stderr = None
    ctx.exit(2)


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="tonewright")
def main() -> None:
    """From measured print densities to a printable negative, for hand-coated papers.

    Start with `tonewright rehearse -o rehearsal` to see the whole job run on invented data, or
    with `tonewright fit --help` if you have the readings of a printed target.
    """
    # a console that cannot show a sign (an old code page) gets a substitute, not a crash
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
