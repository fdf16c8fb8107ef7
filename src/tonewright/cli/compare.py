"""``tonewright compare``."""

from __future__ import annotations

from pathlib import Path

import click

from tonewright.cli.options import PATH, plot, result_options, say


@click.command("compare")
@click.argument("curves", nargs=-1, type=PATH, metavar="CURVE CURVE...")
@plot
@result_options
def command(curves: tuple[Path, ...], plot: Path | None, force: bool, as_json: bool) -> None:
    """Two or more CURVEs side by side: tones, ink, times, and what really differs.

    Each curve is compared with the first: how much lighter or darker its ink would print there,
    and whether that is more than both their bands.

    \b
    Examples:
      tonewright compare march.curve.json june.curve.json
      tonewright compare old.curve.json new.curve.json third.curve.json --plot curves.png
    """
    from tonewright.files.shelf import read_side_by_side
    from tonewright.show.side_by_side import side_by_side_json, side_by_side_text

    opened, compared = read_side_by_side(curves, plot, force=force)
    if plot is not None:
        from tonewright.files.safe import write_bytes
        from tonewright.show.shelf_plots import plot_side_by_side

        write_bytes(plot, plot_side_by_side(opened, compared), force=force)
    say(as_json, lambda: side_by_side_json(curves, opened, compared),
        lambda: side_by_side_text(opened, compared, plot))
