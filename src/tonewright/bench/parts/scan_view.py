"""A scan on the page: four marks to set by hand, or patches to choose."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from nicegui.element import Element
from nicegui.events import GenericEventArguments

MARKS = tuple(f"the middle of the mark with {spots}"
              for spots in ("one spot", "two spots", "three spots", "four spots"))
SCALE = tuple(f"the {corner} corner of the gray scale, seen with step 1 at its left"
              for corner in ("top left", "top right", "bottom right", "bottom left"))
ROW = ("a corner of the row of steps, at its end with step 1", "the other corner at step 1",
       "a corner at the other end of the row", "the last corner")
"""What is clicked for the corners of a print, of the gray scale beside it, and of any row of
steps, whichever way it lies."""


@dataclass(frozen=True)
class Marking:
    """Four places that are clicked, one after the other."""

    told: Callable[[list[tuple[float, float]]], Any]
    """Told those that are set, each as x and y, after every change."""
    asked: Sequence[str] = MARKS
    """What each is."""


@dataclass(frozen=True)
class ShownPatch:
    """A patch as it lies in the picture: its corners in pixels."""

    name: str
    corners: tuple[tuple[float, float], ...]
    said: str = ""
    doubtful: bool = False
    out: bool = False


class ScanView(Element, component="scan_view.js"):
    """A picture of so many pixels.

    Parameters
    ----------
    url:
        Where the picture is; it may be smaller than the pixels that places are counted in.
    marking:
        Four places are asked for.
    on_patch:
        Told the name of a patch that is clicked.
    """

    def __init__(
        self, url: str, size: tuple[int, int], label: str, *,
        marking: Marking | None = None, patches: Sequence[ShownPatch] = (),
        on_patch: Callable[[str], Any] | None = None,
    ) -> None:
        super().__init__()
        self._props.update(url=url, width=size[0], height=size[1], label=label,
                           marking=marking is not None, marks=[],
                           asked=list(marking.asked) if marking else [])
        self.show_patches(patches)
        self.on("marks", lambda event: marking and marking.told(_places(event)))
        self.on("patch", lambda event: on_patch and on_patch(str(event.args["name"])))

    def show_patches(self, patches: Sequence[ShownPatch]) -> None:
        """Show these patches."""
        self._props["patches"] = [
            {"name": p.name, "said": p.said, "doubtful": p.doubtful, "out": p.out,
             "points": " ".join(f"{x:.1f},{y:.1f}" for x, y in p.corners)} for p in patches]


def _places(event: GenericEventArguments) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in event.args["marks"]]
