"""A place to drop files, or to choose them by keyboard; they go to disk as they arrive."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui.element import Element


class Drop(Element, component="drop.js"):
    """A zone for files, each sent to ``url`` with its name added.

    Parameters
    ----------
    on_done:
        Told the name of each file that has arrived.
    accept:
        Endings that the browser offers: ``.tif,.png``.
    """

    def __init__(
        self, label: str, url: str, on_done: Callable[[str], Any], *, accept: str = "",
        multiple: bool = False,
    ) -> None:
        super().__init__()
        self._props.update(label=label, url=url, accept=accept, multiple=multiple)
        self.on("done", lambda event: on_done(str(event.args["name"])))
