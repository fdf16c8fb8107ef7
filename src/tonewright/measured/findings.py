"""What can be found in measurement files; everything that a `Readings` may carry."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tonewright.record.findings import Finding


@dataclass(frozen=True)
class EndDataMissing(Finding, kind="note"):
    """CGATS text without END_DATA, though every row is there."""

    file: str


@dataclass(frozen=True)
class StatedCountWrong(Finding, kind="note"):
    """CGATS text states another number of rows or fields than it holds."""

    file: str
    keyword: Literal["NUMBER_OF_SETS", "NUMBER_OF_FIELDS"]
    stated: int
    found: int


@dataclass(frozen=True)
class ValuesLeftAside(Finding, kind="note"):
    """A file holds more than one value of each patch."""

    file: str
    used: str
    """Name of the column that was used; empty: the spectrum."""
    left_aside: tuple[str, ...]
    other_weighting: Literal["luminance", "visual-density"] | None
    """What those left aside would give; None: the same."""


@dataclass(frozen=True)
class OtherViewing(Finding, kind="note"):
    """Colour values computed for another light or observer than D50 and 2 degrees."""

    file: str
    illuminants: tuple[str, ...]
    ten_degrees: bool
    """True: for the 10-degree observer."""


@dataclass(frozen=True)
class LighterThanPaper(Finding, kind="note"):
    """Absolute densities that start lower than papers do: perhaps the zero is the paper."""

    file: str
    lightest_density: float


@dataclass(frozen=True)
class SheetsNotNamed(Finding, kind="note"):
    """Several files that do not say which sheet they were measured on."""

    files: int


@dataclass(frozen=True)
class PatchesNotInList(Finding, kind="note"):
    """Patches of the target that an instrument's list leaves out."""

    file: str
    patches: tuple[str, ...]


@dataclass(frozen=True)
class PatchesDoubted(Finding):
    """Patches of which the scan they were read from gave reason to doubt."""

    file: str
    patches: tuple[str, ...]
