"""What can be found in measurement files; everything that a `Readings` may carry."""

from __future__ import annotations

from typing import Literal

from tonewright.record.findings import Finding

CountKeyword = Literal["NUMBER_OF_SETS", "NUMBER_OF_FIELDS"]


class EndDataMissing(Finding, kind="note"):
    """CGATS text without END_DATA, though every row is there."""

    file: str


class StatedCountWrong(Finding, kind="note"):
    """CGATS text states another number of rows or fields than it holds."""

    file: str
    keyword: CountKeyword
    stated: int
    found: int


class HeaderAssumed(Finding, kind="note"):
    """A table without names of columns, which were taken as the command knows them."""

    file: str
    columns: tuple[str, ...]


class CodePageAssumed(Finding, kind="note"):
    """Text that is not UTF-8, read in the code page of Western European Windows (1252)."""

    file: str


class CellsBlank(Finding, kind="note"):
    """Rows in which nothing was measured; they are skipped."""

    file: str
    lines: tuple[int, ...]


class ValuesLeftAside(Finding, kind="note"):
    """A file holds more than one value of each patch."""

    file: str
    used: str
    """Name of the column that was used; empty: the spectrum."""
    left_aside: tuple[str, ...]
    other_weighting: Literal["luminance", "visual-density"] | None
    """What those left aside would give; None: the same."""


class OtherViewing(Finding, kind="note"):
    """Colour values computed for another light or observer than D50 and 2 degrees."""

    file: str
    illuminants: tuple[str, ...]
    ten_degrees: bool
    """True: for the 10-degree observer."""


class LighterThanPaper(Finding, kind="note"):
    """Absolute densities that start lower than papers do: perhaps the zero is the paper."""

    file: str
    lightest_density: float


class SheetsNotNamed(Finding, kind="note"):
    """Several files that do not say which sheet they were measured on."""

    files: int


class PatchesNotInList(Finding, kind="note"):
    """Patches of the target that an instrument's list leaves out."""

    file: str
    patches: tuple[str, ...]


class PatchesDoubted(Finding):
    """Patches of which the scan they were read from gave reason to doubt."""

    file: str
    patches: tuple[str, ...]


# Of scans: they stand in scanner responses, and in the process of a scanned strip


class ScanIsJpeg(Finding):
    """A scan saved as JPEG, which blurs tones."""

    file: str


class ScanHasFewTones(Finding):
    """A scan of 8 bits: 256 tones."""

    file: str


class ScanResolutionUneven(Finding):
    """A scan whose file states another resolution across than down."""

    file: str
    across_ppi: float
    down_ppi: float


class ScanProfileUnusable(Finding):
    """A scan whose ICC profile is broken, or not for this kind of picture."""

    file: str


class ScanWeighedAsSrgb(Finding):
    """A colour scan without a usable profile: its luminance is that of sRGB values."""

    file: str


class RowEndMerges(Finding):
    """A row of steps that goes over into its surroundings at one end as from step to step."""

    file: str
    end: Literal["light", "dark"]
    steps: int


class DensitiesByProfile(Finding):
    """Densities rest on the scan's embedded profile alone."""

    file: str


class DensitiesByResponse(Finding, kind="note"):
    """Densities come from a scan, by a scanner response."""

    file: str
    response: str
    """Its name; may be empty."""


class StepsOutsideResponse(Finding):
    """Steps outside the densities that the scanner response covers."""

    file: str
    through: Literal["film", "bare"]
    steps: tuple[int, ...]
    lightest_density: float
    darkest_density: float


class StepsOutOfLine(Finding):
    """Steps that break the fall of density from step to step: stains or scratches."""

    file: str
    through: Literal["film", "bare"]
    steps: tuple[int, ...]


class ScanTakenOtherwise(Finding):
    """A scan whose settings or device differ from those of the gray scale's scan."""

    file: str
    entry: str
    """bits, resolution, profile or device."""
    before: str
    now: str


class LampTakenOut(Finding, kind="note"):
    """The lamp's unevenness was taken out by the scan of a plain white sheet."""

    file: str
    span_density: float
    """How much it made across the print or strip."""


class GrayScaleInOtherLight(Finding):
    """A plain sheet evens out the print's light, but not that of the gray scale behind the
    response: all densities may be off by one amount."""

    file: str
    span_density: float
    """By how much at most."""


class AimsStated(Finding, kind="note"):
    """A file that gives each patch its aim: the print was made through a curve."""

    file: str
