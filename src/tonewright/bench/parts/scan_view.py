"""A scan on the page: four marks to set by hand, or patches to choose."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from nicegui.element import Element
from nicegui.events import GenericEventArguments


@dataclass(frozen=True)
class ShownPatch:
    """A patch as it lies in the picture: its corners in pixels."""

    name: str
    corners: tuple[tuple[float, float], ...]
    said: str = ""
    doubtful: bool = False
    out: bool = False


@dataclass(frozen=True)
class Wanted:
    """Four places to set: what each is, what is asked for one after the other, where they lie."""

    thing: str
    asks: tuple[str, ...]
    until: str


MARKS = Wanted("mark", tuple(f"Click the middle of the mark with {spots}." for spots in (
    "one spot", "two spots", "three spots", "four spots")), "they lie on the middles")
ROW = Wanted("corner", (
    "Click a corner of the row of steps, at its end with step 1.",
    "Click the other corner at step 1.", "Click a corner at the other end of the row.",
    "Click the last corner."), "the steps just fill what lies between them")


class ScanView(Element, component="scan_view.js"):
    """A picture of so many pixels.

    Parameters
    ----------
    url:
        Where the picture is; it may be smaller than the pixels that places are counted in.
    on_marks:
        Told the marks that are set, each as x and y, after every change: marks are asked for.
    on_patch:
        Told the name of a patch that is clicked.
    """

    wanted = MARKS
    """What these marks are."""

    def __init__(
        self, url: str, size: tuple[int, int], label: str, *,
        on_marks: Callable[[list[tuple[float, float]]], Any] | None = None,
        patches: Sequence[ShownPatch] = (), on_patch: Callable[[str], Any] | None = None,
    ) -> None:
        super().__init__()
        self._props.update(url=url, width=size[0], height=size[1], label=label,
                           marking=on_marks is not None, marks=[],
                           thing=self.wanted.thing, asks=list(self.wanted.asks),
                           until=self.wanted.until)
        self.show_patches(patches)
        self.on("marks", lambda event: on_marks and on_marks(_places(event)))
        self.on("patch", lambda event: on_patch and on_patch(str(event.args["name"])))

    def show_patches(self, patches: Sequence[ShownPatch]) -> None:
        """Show these patches."""
        self._props["patches"] = [
            {"name": p.name, "said": p.said, "doubtful": p.doubtful, "out": p.out,
             "points": " ".join(f"{x:.1f},{y:.1f}" for x, y in p.corners)} for p in patches]


class RowView(ScanView):
    """The same, where the corners of a row of steps are asked for."""

    wanted = ROW


def _places(event: GenericEventArguments) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in event.args["marks"]]
