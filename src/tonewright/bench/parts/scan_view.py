"""A scan on the page: four places to set by hand, or patches to choose."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from nicegui.element import Element

if TYPE_CHECKING:
    from tonewright.bench.tasks.read import ReadPatch


class ScanView(Element, component="scan_view.js"):
    """A picture of so many pixels.

    Parameters
    ----------
    url:
        Where the picture is; it may be smaller than the pixels that places are counted in.
    asked:
        What each of the four places is that are clicked, one after the other; empty: none.
    on_marks:
        Told those that are set, each as x and y, after every change.
    on_patch:
        Told the name of a patch that is clicked.
    """

    def __init__(
        self, url: str, size: tuple[int, int], label: str, *, asked: Sequence[str] = (),
        on_marks: Callable[[list[tuple[float, float]]], Any] = lambda _: None,
        on_patch: Callable[[str], Any] = lambda _: None,
    ) -> None:
        super().__init__()
        self._props.update(url=url, width=size[0], height=size[1], label=label, asked=[*asked],
                           patches=[])
        self.on("marks", lambda event: on_marks(
            [(float(x), float(y)) for x, y in event.args["marks"]]))
        self.on("patch", lambda event: on_patch(str(event.args["name"])))

    def show_patches(self, patches: Sequence[ReadPatch]) -> None:
        """Show these patches."""
        self._props["patches"] = [
            {"name": p.name, "said": p.said, "doubtful": p.doubtful, "out": p.out,
             "points": " ".join(f"{x:.1f},{y:.1f}" for x, y in p.corners)} for p in patches]
