"""A page as HTML: self-contained, without script, one sheet of A4 or US letter in print."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from tonewright import __version__
from tonewright.errors import short, visible
from tonewright.show.cautions import CAUTIONS

PRINT = "open it in a browser and print it at 100 %, on A4 or US letter."
NO_TIME = "not known; write in what the target was printed for"


def page(template: str, **facts: Any) -> str:
    """The HTML of a page; whatever comes from files is escaped."""
    return _templates().get_template(template).render(
        cautions=CAUTIONS, version=__version__, today=date.today().isoformat(), **facts)


@cache
def _templates() -> Environment:
    made = Environment(loader=PackageLoader("tonewright.show.pages"), autoescape=True,
                       undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
                       keep_trailing_newline=True, finalize=lambda value: visible(value) if
                       isinstance(value, str) and not isinstance(value, Markup) else value)
    made.filters["cut"] = cut
    return made


def cut(text: str, most: int) -> str:
    """A text of at most so many characters, with three dots where it was cut."""
    return short(" ".join(text.split()), most)
