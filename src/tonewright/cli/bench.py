"""``tonewright bench``."""

from __future__ import annotations

from pathlib import Path

import click

from tonewright.bench.start import LOOPBACK, PORT, BenchSettings, serve
from tonewright.cli.echo import echo
from tonewright.cli.options import PATH
from tonewright.errors import OptionError


@click.command("bench")
@click.argument("folder", type=PATH, default=Path())
@click.option("--port", type=int, default=PORT, show_default=True,
              help="Port of this machine; 0 takes any free one.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser: print the address only.")
@click.option("--host", default=LOOPBACK, show_default=True, metavar="ADDRESS",
              help="Another address of this machine. Other machines can then reach the bench.")
def command(folder: Path, port: int, no_browser: bool, host: str) -> None:
    """The whole job as pages in the browser, on this machine.

    FOLDER holds your papers, each in a folder of its own; without one it is the folder you are in.
    What you do in the browser is written there, as the same files that the other commands read and
    write. Nothing leaves this machine.

    Close the bench with its button, or with Ctrl-C here.

    \b
    Examples:
      tonewright bench prints
      tonewright bench prints --port 0 --no-browser
    """
    from importlib.util import find_spec

    if find_spec("nicegui") is None:
        raise OptionError("the bench is not installed", "it comes as an extra",
                          'type  pip install "tonewright[bench]"')

    def say(address: str) -> None:
        echo(f"{address}\nThe bench is open at this address, in {folder.resolve()}. Close it with"
             " its button or with Ctrl-C.")
        if host != LOOPBACK:
            echo(f"It answers at {host}: whoever reaches this machine over the network, and has the"
                 " whole address, can read and write in this folder.", err=True)

    serve(BenchSettings(folder, host, port, not no_browser), say)
    echo("The bench is closed.")
