"""What the findings in measurement files mean to the printer."""

from __future__ import annotations

from tonewright.errors import counted
from tonewright.measured import findings
from tonewright.show.sentence import says

says(findings.AimsStated,
     "{file} gives each patch its aim: the print was made through a curve.")
says(findings.EndDataMissing, "{file}: END_DATA is missing, but every row is there.")
says(findings.CodePageAssumed,
     "{file}: the text is not UTF-8; it was read in the Windows code page 1252. Check the names.")
says(findings.LighterThanPaper,
     "{file}: the lightest patch has density {lightest_density:.2f}; few papers are that white. If"
     " the instrument was zeroed on the bare paper, say so (--relative-to-paper).")
says(findings.SheetsNotNamed,
     "The {files} files do not say which sheet they were measured on, so they count as readings of"
     " one sheet. A column named print tells sheets apart.")
says(findings.HeaderAssumed,
     "{file}: there is no row of column names; the columns were read as {columns:list}.")
says(findings.CellsBlank,
     "{file}: nothing was measured in {where} {lines:runs}; {those} skipped.",
     where=lambda f: "lines" if f.lines[1:] else "line",
     those=lambda f: "those rows were" if f.lines[1:] else "that row was")
says(findings.StatedCountWrong, "{file}: {keyword} is {stated}, but there {are} {things}.",
     are=lambda f: "is" if f.found == 1 else "are",
     things=lambda f: counted(f.found, "row" if f.keyword == "NUMBER_OF_SETS" else "field"))
says(findings.OtherViewing,
     "{file}: its colour values are for {lights}. A print is judged under D50 with the 2-degree"
     " observer, so a coloured print may read slightly off.",
     lights=lambda f: " and ".join(
         [*f.illuminants, *(["the 10-degree observer"] if f.ten_degrees else [])]))
says(findings.PatchesNotInList, "{file}: not in the list, and so not read: {patches:names}.")
says(findings.PatchesDoubted,
     "{file}: doubtful in the scan: {patches:names}. The column doubt says why. Look at the print,"
     " and leave out any patch that is spoilt (--leave-out PATCH).")
says(findings.ValuesLeftAside, "{file}: {one} was used, not {left_aside:names}.{instead}",
     one=lambda f: f.used or "the spectrum",
     instead=lambda f: "" if f.other_weighting is None else
     f" To use the {'lightness' if f.other_weighting == 'luminance' else 'density'} instead, name"
     f" it (--scale {f.other_weighting}).")
