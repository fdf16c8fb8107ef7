"""What can be found in measurement files; everything that a `Readings` may carry."""

from __future__ import annotations

from typing import Literal

from tonewright.record.findings import Finding

CountKeyword = Literal["NUMBER_OF_SETS", "NUMBER_OF_FIELDS"]


class InFile(Finding, declared=False):
    """Something found in a file."""

    file: str


class EndDataMissing(InFile, kind="note"):
    """CGATS text without END_DATA, though every row is there."""


class StatedCountWrong(InFile, kind="note"):
    """CGATS text states another number of rows or fields than it holds."""

    keyword: CountKeyword
    stated: int
    found: int


class HeaderAssumed(InFile, kind="note"):
    """A table without names of columns, which were taken as the command knows them."""

    columns: tuple[str, ...]


class CodePageAssumed(InFile, kind="note"):
    """Text that is not UTF-8, read in the code page of Western European Windows (1252)."""


class CellsBlank(InFile, kind="note"):
    """Rows in which nothing was measured; they are skipped."""

    lines: tuple[int, ...]


class ValuesLeftAside(InFile, kind="note"):
    """A file holds more than one value of each patch."""

    used: str
    """Name of the column that was used; empty: the spectrum."""
    left_aside: tuple[str, ...]
    other_weighting: Literal["luminance", "visual-density"] | None
    """What those left aside would give; None: the same."""


class OtherViewing(InFile, kind="note"):
    """Colour values computed for another light or observer than D50 and 2 degrees."""

    illuminants: tuple[str, ...]
    ten_degrees: bool
    """True: for the 10-degree observer."""


class LighterThanPaper(InFile, kind="note"):
    """Absolute densities that start lower than papers do: perhaps the zero is the paper."""

    lightest_density: float


class SheetsNotNamed(Finding, kind="note"):
    """Several files that do not say which sheet they were measured on."""

    files: int


class PatchesNotInList(InFile, kind="note"):
    """Patches of the target that an instrument's list leaves out."""

    patches: tuple[str, ...]


class PatchesDoubted(InFile):
    """Patches of which the scan they were read from gave reason to doubt."""

    patches: tuple[str, ...]


# Of scans: they stand in scanner responses, and in the process of a scanned strip


class ScanIsJpeg(InFile):
    """A scan saved as JPEG, which blurs tones."""


class ScanHasFewTones(InFile):
    """A scan of 8 bits: 256 tones."""


class ScanResolutionUneven(InFile):
    """A scan whose file states another resolution across than down."""

    across_ppi: float
    down_ppi: float


class ScanProfileUnusable(InFile):
    """A scan whose ICC profile is broken, or not for this kind of picture."""


class ScanWeighedAsSrgb(InFile):
    """A colour scan without a usable profile: its luminance is that of sRGB values."""


class RowEndMerges(InFile):
    """A row of steps that goes over into its surroundings at one end as from step to step."""

    end: Literal["light", "dark"]
    steps: int


class DensitiesByProfile(InFile):
    """Densities rest on the scan's embedded profile alone."""


class DensitiesByResponse(InFile, kind="note"):
    """Densities come from a scan, by a scanner response."""

    response: str
    """Its name; may be empty."""


class StepsOutsideResponse(InFile):
    """Steps outside the densities that the scanner response covers."""

    through: Literal["film", "bare"]
    steps: tuple[int, ...]
    lightest_density: float
    darkest_density: float


class StepsOutOfLine(InFile):
    """Steps that break the fall of density from step to step: stains or scratches."""

    through: Literal["film", "bare"]
    steps: tuple[int, ...]


class ScanTakenOtherwise(InFile):
    """A scan whose settings or device differ from those of the gray scale's scan."""

    entry: str
    """bits, resolution, profile or device."""
    before: str
    now: str


class LampTakenOut(InFile, kind="note"):
    """The lamp's unevenness was taken out by the scan of a plain white sheet."""

    span_density: float
    """How much it made across the print or strip."""


class GrayScaleInOtherLight(InFile):
    """A plain sheet evens out the print's light, but not that of the gray scale behind the
    response: all densities may be off by one amount."""

    span_density: float
    """By how much at most."""


class AimsStated(InFile, kind="note"):
    """A file that gives each patch its aim: the print was made through a curve."""
