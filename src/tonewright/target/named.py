"""Rows of a measurement file that name the patches of a target."""

from __future__ import annotations

from collections.abc import Sequence

from tonewright.errors import ReadingsError
from tonewright.measured.columns import Table
from tonewright.target.document import Patch, Target


def patches_named(table: Table, names: Sequence[str], target: Target) -> list[Patch]:
    """The patch of each row, by its name.

    Raises `ReadingsError` for a name that the target does not have, and for one named twice.
    """
    what = "chart" if target.is_ink_chart else "target"
    patches = {p.name.upper(): p for p in target.patches}
    seen: dict[str, int] = {}
    for row, cell in enumerate(names):
        name = cell.strip().upper()
        if name not in patches:
            raise ReadingsError(
                f"{table.where(row)}: the patch {cell!r:.40}",
                f"the {what} {target.name} has the patches {target.ends}",
                f"remove the row if it is no patch, or name the {what} that was measured")
        if name in seen:
            raise ReadingsError(
                f"{table.where(row)}: the patch {patches[name].name} is in line"
                f" {table.line_numbers[seen[name]]} already", "each patch is listed once",
                "remove one of the two, or put the second measurement in a file of its own")
        seen[name] = row
    return [patches[name] for name in seen]
