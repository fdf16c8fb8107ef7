"""``tonewright drift``."""

from __future__ import annotations

from pathlib import Path

import click

from tonewright.cli.options import PATH, plot, result_options, say


@click.command("drift")
@click.argument("paths", nargs=-1, type=PATH, metavar="FILES or FOLDER")
@click.option("--since", metavar="DAY",
              help="Leave earlier prints out, as 2026-03-31: after a change that you know of.")
@plot
@result_options
def command(
    paths: tuple[Path, ...], since: str | None, plot: Path | None, force: bool, as_json: bool
) -> None:
    """What has moved over time: strips (NAME.process.json) and checks (NAME.check.json).

    Strips are followed by setup, checks by curve, in order of date: printing time, black, white,
    range and mean difference, as single values and as their moving average, with limits from the
    scatter of the prints themselves. Minutes and integrator units are never mixed.

    \b
    Examples:
      tonewright drift calibrations
      tonewright drift march.process.json april.process.json may.process.json may.check.json
      tonewright drift calibrations --since 2026-03-31 --plot drift.png
    """
    from tonewright.files.shelf import read_drift
    from tonewright.show.drift_text import drift_json, drift_text

    found = read_drift(paths, since=since, plot=plot, force=force)
    if plot is not None:
        from tonewright.files.safe import write_bytes
        from tonewright.show.shelf_plots import plot_drift

        write_bytes(plot, plot_drift(found.drift), force=force)
    say(as_json, lambda: drift_json(found), lambda: drift_text(found, plot))
