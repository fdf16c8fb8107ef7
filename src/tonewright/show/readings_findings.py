"""What the findings in measurement files mean to the printer."""

from __future__ import annotations

from tonewright.errors import counted, runs
from tonewright.measured.findings import (
    AimsStated,
    CellsBlank,
    CodePageAssumed,
    EndDataMissing,
    HeaderAssumed,
    LighterThanPaper,
    OtherViewing,
    PatchesDoubted,
    PatchesNotInList,
    SheetsNotNamed,
    StatedCountWrong,
    ValuesLeftAside,
)
from tonewright.show.sentence import says, sentence

_MOST_NAMES = 12


def names(patches: tuple[str, ...]) -> str:
    """Names of patches, shortened when there are many."""
    more = len(patches) - _MOST_NAMES
    return ", ".join(patches[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


says(AimsStated, "{file} gives each patch its aim: the print was made through a curve.")
says(EndDataMissing, "{file}: END_DATA is missing, but every row is there.")
says(CodePageAssumed,
     "{file}: the text is not UTF-8; it was read in the Windows code page 1252. Check the names.")
says(LighterThanPaper,
     "{file}: the lightest patch has density {lightest_density:.2f}; few papers are that white. If"
     " the instrument was zeroed on the bare paper, say so (--relative-to-paper).")
says(SheetsNotNamed,
     "The {files} files do not say which sheet they were measured on, so they count as readings of"
     " one sheet. A column named print tells sheets apart.")


@sentence.register
def _(found: HeaderAssumed) -> str:
    return (f"{found.file}: there is no row of column names; the columns were read as"
            f" {', '.join(found.columns)}.")


@sentence.register
def _(found: CellsBlank) -> str:
    one = len(found.lines) == 1
    return (f"{found.file}: nothing was measured in line{'' if one else 's'} {runs(found.lines)};"
            f" {'that row was' if one else 'those rows were'} skipped.")


@sentence.register
def _(found: StatedCountWrong) -> str:
    thing = counted(found.found, "row" if found.keyword == "NUMBER_OF_SETS" else "field")
    return (f"{found.file}: {found.keyword} is {found.stated}, but there"
            f" {'is' if found.found == 1 else 'are'} {thing}.")


@sentence.register
def _(found: ValuesLeftAside) -> str:
    said = f"{found.file}: {found.used or 'the spectrum'} was used, not {names(found.left_aside)}."
    if found.other_weighting is None:
        return said
    value = "lightness" if found.other_weighting == "luminance" else "density"
    return f"{said} To use the {value} instead, name it (--scale {found.other_weighting})."


@sentence.register
def _(found: OtherViewing) -> str:
    said = [*found.illuminants, *(["the 10-degree observer"] if found.ten_degrees else [])]
    return (f"{found.file}: its colour values are for {' and '.join(said)}. A print is judged under"
            " D50 with the 2-degree observer, so a coloured print may read slightly off.")


@sentence.register
def _(found: PatchesNotInList) -> str:
    return f"{found.file}: not in the list, and so not read: {names(found.patches)}."


@sentence.register
def _(found: PatchesDoubted) -> str:
    return (f"{found.file}: doubtful in the scan: {names(found.patches)}. The column doubt says"
            " why. Look at the print, and leave out any patch that is spoilt (--leave-out PATCH).")
