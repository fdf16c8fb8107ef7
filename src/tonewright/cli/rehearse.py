"""``tonewright rehearse``."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from tonewright.cli.echo import echo
from tonewright.cli.options import PATH, result_options, say


@click.command("rehearse")
@click.option("-o", "--output", "folder", type=PATH, required=True,
              help="Folder for everything the rehearsal makes.")
@click.option("--seed", type=click.IntRange(min=0), default=2, show_default=True,
              help="Another number, another paper grain, noise and stain.")
@result_options
def command(folder: Path, seed: int, force: bool, as_json: bool) -> None:
    """Run the whole job in a virtual darkroom: no lab, no paper, no risk.

    A target is printed and measured, a curve fitted, a picture turned into a negative and
    printed with and without the curve. Then a print is checked, the curve refined, a year of
    checks followed to see the drift, and the curve renewed when the chemistry changes.
    Everything is invented, and everything is left in the folder to look at.

    \b
    Example:
      tonewright rehearse -o rehearsal
    """
    from tonewright.rehearsal.folder import File
    from tonewright.rehearsal.run import rehearse
    from tonewright.show.rehearsal_text import rehearsal_json, rehearsal_text
    from tonewright.show.report import ending

    def tell(step: str) -> None:
        if sys.stderr.isatty():
            echo(f"… {step}", err=True)

    outcome = rehearse(folder, seed, tell, force=force)
    say(as_json, lambda: rehearsal_json(outcome), lambda: "\n".join([
        rehearsal_text(outcome), ending(
            [f"{len(outcome.files)} files in {folder}"],
            f"read {folder / File.GUIDE}, and open the pictures it names.")]))
