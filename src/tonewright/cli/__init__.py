"""The command line: parse, one library call, print.

A command's module is imported when that command is run, so that ``--help`` loads click alone.
"""

from __future__ import annotations

import atexit
import errno
import gc
import os
import sys
from importlib import import_module
from typing import Any

import click

from tonewright import __version__
from tonewright.errors import TonewrightError

# Our matrices are small: on a busy machine several threads take twice as long as one.
for _threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_threads, "1")

# Imports make many objects and hardly any garbage: looking for it, over and over and once more at
# the end, takes a tenth of a short command.
gc.set_threshold(50_000)
atexit.register(gc.freeze)

COMMANDS = {
    "strip": "printing time, exposure range and process response from a step-tablet strip",
    "target": "a target to print as a negative, and its layout",
    "scanner": "what densities a scanner's values stand for, from a scan of a gray scale",
    "read": "densities from the scan of a printed target, or an instrument's file",
    "inks": "which colour of ink to make negatives in, from a printed chart of inks",
    "fit": "a correction curve from the readings of a printed target",
    "negative": "printable negatives from finished images",
    "renew": "a curve for a new paper or chemistry from an old one",
    "export": "a curve as a table",
    "rehearse": "the whole job in a virtual darkroom, no lab needed",
}


class _LazyGroup(click.Group):
    """A group whose commands are modules, loaded when they are needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"tonewright.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except TonewrightError as error:
            click.echo(f"tonewright {ctx.invoked_subcommand}: {error}", err=True)
            ctx.exit(2)
        except OSError as error:
            if error.errno != errno.ENOSPC:
                raise
            click.echo(f"tonewright {ctx.invoked_subcommand}: there is no room for what it says"
                       " (the disk is full). Files that were named are written whole or not at"
                       " all. Make room and look which are there.", err=True)
            sys.stdout = None  # or it would be tried again at the end
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
