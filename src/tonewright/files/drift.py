"""Strips and checks from files and folders, followed over time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from tonewright.check.document import FORM as CHECK
from tonewright.errors import DocumentError, FileError, OptionError
from tonewright.files.safe import check_outputs
from tonewright.files.shelf import SORTS, list_files, nothing_in, open_all
from tonewright.frozen import dataclass
from tonewright.record.dates import parse_date
from tonewright.shelf.arrange import LeftOut
from tonewright.shelf.drift import Dated, Drift, find_drift
from tonewright.strip.process import FORM as PROCESS

FOLLOWED = (PROCESS.name, CHECK.name)


@dataclass(frozen=True)
class FoundDrift:
    """What was found, and the files that could not be used."""

    drift: Drift
    left_out: tuple[LeftOut, ...]


def read_drift(
    paths: Sequence[Path], *, today: date | None = None, since: str | None = None,
    plot: Path | None = None, force: bool = False,
) -> FoundDrift:
    """Follow the strips and checks of files and folders; see `find_drift`.

    Other documents of a folder are passed over.  Files that cannot be used are named.  ``plot``
    is where a picture is to go, which is checked before anything is read.

    Raises
    ------
    FileError, OptionError
        No file is named or a name leads nowhere, nothing in a folder, a date that is none; as
        `find_drift`.
    """
    if not paths:
        raise OptionError("no strip, check or folder is named", "a drift is found in several",
                          "name files such as NAME.process.json and NAME.check.json, or the folder"
                          " that they are in")
    missing = next((p for p in paths if not p.exists()), None)
    if missing is not None:
        raise FileError(f"there is no file or folder {missing}",
                        "strips and checks are files, or in a folder", "check its name")
    today = today or date.today()
    first = None if since is None else parse_date(since, code="since_day")
    check_outputs(None, plot, [p for p in paths if p.is_file()], force)
    files, left_out = list_files(paths)
    found, named = [], set(paths)
    for path, (form, read) in open_all(files, left_out, None, FOLLOWED):
        if form in FOLLOWED:
            found.append(Dated(str(path), read.sha256, read.document))
        elif path in named:
            left_out.append(LeftOut(str(path), f"this is a {SORTS[form].form.what}",
                                    "strips and checks are followed"))
    if not found and not files:
        raise nothing_in(paths[0], left_out)
    try:
        return FoundDrift(find_drift(found, today, first), tuple(left_out))
    except OptionError as error:
        if not left_out:
            raise
        bad = left_out[0]
        raise DocumentError(
            f"{error.given}; {bad.file}: {bad.given}" if found else f"{bad.file}: {bad.given}",
            error.rule, f"{error.way_out}; each is made from the readings of one strip or one"
            " print", code="document_made_from") from error
