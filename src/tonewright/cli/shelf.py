"""``tonewright shelf``."""

from __future__ import annotations

from pathlib import Path

import click

from tonewright.cli.options import PATH, as_json, say


@click.command("shelf")
@click.argument("folder", type=PATH)
@click.option("--due-after", "days", type=int, default=90, show_default=True, metavar="DAYS",
              help="After how many days a curve is due for a check, a process for a new strip.")
@as_json
def command(folder: Path, days: int, as_json: bool) -> None:
    """Every document in FOLDER and the folders in it, by setup.

    For each: what it is, date, printing time, density range, how far it can be trusted, its
    ancestor, the last check and whether it is due. Damaged and foreign JSON files are named.

    \b
    Examples:
      tonewright shelf calibrations
      tonewright shelf calibrations --due-after 30 --json
    """
    from tonewright.files.shelf import read_shelf
    from tonewright.show.shelf_text import shelf_json, shelf_text

    shelf = read_shelf(folder, due_after_days=days)
    say(as_json, lambda: shelf_json(shelf, str(folder)), lambda: shelf_text(shelf, str(folder)))
