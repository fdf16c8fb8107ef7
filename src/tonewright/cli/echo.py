"""What goes to the terminal: everything a command says, with control characters written out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click

from tonewright.errors import visible


def echo(text: str, *, err: bool = False, raw: bool = False) -> None:
    """Print a report or a message of one or more lines.

    Names that were typed may hold line breaks: these do not begin a line of the report.  ``raw`` is
    a table for another program, printed as it is: its tabs are meant, and names in it are written
    out already.
    """
    if not raw:
        for name in sorted(_typed(), key=len, reverse=True):
            text = text.replace(name, visible(name))
        text = "\n".join(map(visible, text.split("\n"))) + "\n"
    click.echo(text, err=err, nl=False)


def _typed() -> Iterator[str]:
    """What was typed that holds a line break, as a whole and as the name of a file."""
    context = click.get_current_context(silent=True)
    for value in ({} if context is None else context.params).values():
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, str | Path) and "\n" in str(one):
                yield from {str(one), Path(one).name, Path(one).stem} - {""}
