"""Plain elements of a page.  Texts stay texts: nothing in them is ever read as markup."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, Self

from nicegui.elements.mixins.text_element import TextElement

from tonewright.errors import visible

_REVEAL = """setTimeout(() => {
  const said = getElement(%d);
  said?.closest('details')?.setAttribute('open', '');
  if (document.activeElement.matches('input:not([type=checkbox]), textarea')) return;
  (said?.closest('.field') ?? said)?.scrollIntoView({block: 'nearest'});
}, 50)"""
_ENTER = """setTimeout(() => {
  getElement(%d)?.querySelector('select, input, button')?.focus();
}, 50)"""


class Tag(TextElement):
    """An element of HTML with a text, or with others inside: ``with Tag("section"):``."""

    def __init__(self, name: str, text: str = "", classes: str = "", **props: Any) -> None:
        super().__init__(tag=name, text=visible(text))
        if classes:
            self.classes(classes)
        self.props.update({key.rstrip("_").replace("_", "-"): value
                           for key, value in props.items()})

    def say(self, text: str) -> None:
        """Another text."""
        self.set_text(visible(text))

    def reveal(self) -> None:
        """Unfold what it is in, and scroll to it, no further than needed, unless something is being
        typed."""
        self.client.run_javascript(_REVEAL % self.id)

    def enter(self) -> None:
        """Put the focus on the first thing in it that takes one, and show it."""
        self.client.run_javascript(_ENTER % self.id)

    def anew(self) -> Self:
        """Empty, to be filled: ``with tag.anew():``."""
        self.clear()
        return self


def link(text: str, to: str, classes: str = "", **props: Any) -> Tag:
    """A link within the bench."""
    return Tag("a", text, classes, href=to, **props)


def button(text: str, pressed: Callable[[], Any], classes: str = "button", **props: Any) -> Tag:
    """A button, by mouse or keyboard."""
    made = Tag("button", text, classes, type="button", **props)
    made.on("click", lambda _: pressed())
    return made


@contextmanager
def table(caption: str, heads: Iterable[str]) -> Iterator[None]:
    """A table with its heads, for rows of their own; ``caption`` is for who does not see it."""
    with Tag("table", classes="documents"):
        Tag("caption", caption, "unseen")
        with Tag("thead"), Tag("tr"):
            for head in heads:
                Tag("th", head, scope="col")
        with Tag("tbody"):
            yield


def inline_picture(png: bytes) -> str:
    """The address of a small picture that goes with the page."""
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"
