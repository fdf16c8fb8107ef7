"""An instrument's list of measurements onto a target's patches, or a gray scale's steps.

Instruments number what they read in the order in which they read it, so a list says where a patch
lies only by its place in the list.  Whether the order was understood is told by the ink: along
rising ink levels the densities must fall but for noise (isotonic regression), which no wrong order
of scattered patches does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Literal

import numpy as np

from tonewright.errors import OptionError, ReadingsError, counted
from tonewright.frozen import dataclass
from tonewright.measured import columns, ink
from tonewright.measured.columns import PATCH_NAMES, Table
from tonewright.measured.densities import filled_rows, measured
from tonewright.measured.findings import PatchesNotInList
from tonewright.measured.readings import ReadingOptions, Readings, readings_from_table
from tonewright.scales import Array
from tonewright.scan.response import check_known
from tonewright.target.document import Target, patches_named

Order = Literal["name", "rows", "columns"]

FITS, CLEARLY = 0.80, 0.93
"""Share of the densities' variance that falling with the ink explains: enough to believe an
order, and enough to propose another one."""
_FEWEST = 8
"""Fewer different patches fall into any order by chance."""


@dataclass(frozen=True)
class ListOrder:
    """How a list goes over a target."""

    order: Order | None = None
    """By patch name, row by row or column by column; None: by name if the list has the target's
    names, otherwise row by row from the top left."""
    snake: bool = False
    """Every second row (or column) was read backwards."""
    reverse: bool = False
    """The list begins at the last patch."""


_BY_PLACE: tuple[Order, ...] = ("rows", "columns")
_ALL_ORDERS = tuple(ListOrder(order, snake, reverse) for order, snake, reverse
                    in product(_BY_PLACE, (False, True), (False, True)))


def map_list(
    table: Table, target: Target, order: ListOrder | None = None,
    options: ReadingOptions | None = None,
) -> Readings:
    """An instrument's list as readings of a target, in the target's order: their names and ink
    levels (0 to 1) are the target's.

    The table has one row a patch, with a density, lightness, luminance or spectrum; a column
    ``patch``, ``SAMPLE_NAME`` or ``SAMPLE_ID`` may name it.

    Raises `ReadingsError`: another number of rows than patches, unknown or doubled names, densities
    that do not follow the ink in this order (the message names the order in which they do);
    `OptionError`: names asked for together with a reading direction.
    """
    wanted, options = order or ListOrder(), options or ReadingOptions()
    columns.check_columns(table)
    names = _name_column(table, target)
    if wanted.order == "name" or (wanted.order is None and names is not None
                                  and not (wanted.snake or wanted.reverse)):
        table = filled_rows(table, options.scale)
        density = measured(table, options.scale).density
        names = _name_column(table, target)
        places = _by_name(table, target, names, wanted)
        _check_levels(table, target, places)
        _check_named(table, target, density, places)
    else:
        density = measured(table, options.scale).density
        _check_count(table, target, density)
        places = _sequence(target, wanted)
        _check_order(table, target, density, wanted)
    return readings_from_table(_as_target(table, target, places), options)


def _as_target(table: Table, target: Target, places: Sequence[int]) -> Table:
    """The table with the target's names and levels, and in its order."""
    ours = {*PATCH_NAMES, *columns.LEVEL_NAMES, *columns.COLOUR_NAMES}
    kept = [i for i, name in enumerate(table.columns) if columns.key(name) not in ours]
    order = np.argsort(places)
    cells = tuple(
        (target.patches[places[row]].name, repr(target.patches[places[row]].level),
         *(table.rows[row][i] for i in kept)) for row in order)
    unread = tuple(p.name for i, p in enumerate(target.patches) if i not in set(places))
    return replace(table, columns=("patch", "level", *(table.columns[i] for i in kept)),
                   rows=cells, line_numbers=tuple(table.line_numbers[row] for row in order),
                   findings=table.findings + (
                       (PatchesNotInList(table.source.name, unread),) if unread else ()))


# By name


def _name_column(table: Table, target: Target) -> list[str] | None:
    """The cells that name patches of the target, if more than half of a column's do."""
    known = {p.name.upper() for p in target.patches}
    for name in PATCH_NAMES:
        cells = table.cells(name) or []
        if 2 * sum(cell.upper() in known for cell in cells) > len(table.rows):
            return cells
    return None


def _by_name(
    table: Table, target: Target, names: list[str] | None, wanted: ListOrder
) -> list[int]:
    """The patch that each row of the list belongs to."""
    if wanted.snake or wanted.reverse:
        raise OptionError("both names and a reading direction are to say which patch is which",
                          "a name says which patch it is, wherever it stands in the list",
                          "leave one of them out", code="list_names_and_order")
    if names is None:
        raise ReadingsError(
            f"no column of {table.source.name} holds the names of the target {target.name}",
            f"its patches are called {target.ends}, and stand in a column patch, SAMPLE_NAME or"
            " SAMPLE_ID",
            "if the list is in reading order, say so", code="list_in_order")
    place_of = {p.name: i for i, p in enumerate(target.patches)}
    patches = patches_named(table, names, target)
    if 2 * len(patches) < len(target.patches):
        raise ReadingsError(
            f"{table.source.name} names {counted(len(patches), 'patch')}, the target"
            f" {target.name} has {len(target.patches)}",
            "at least half of the target must be measured",
            "measure the rest, or name the target that was measured")
    return [place_of[patch.name] for patch in patches]


def _check_levels(table: Table, target: Target, places: Sequence[int]) -> None:
    """Ink levels that the list itself carries must be the target's."""
    if all(columns.find(table, name) is None for name in columns.LEVEL_NAMES):
        return
    own, level = ink.levels(table), target.level[list(places)]
    wrong = np.abs(own - level) > ink.ROUNDED
    if wrong.any():
        row = int(np.argmax(wrong))
        raise ReadingsError(
            f"{table.where(row)}: the ink level of {target.patches[places[row]].name} is"
            f" {own[row]:g}, in the target {target.name} it is {level[row]:g}",
            "a list and its target agree", "name the target that was measured")


def _check_named(
    table: Table, target: Target, density: Array, places: Sequence[int]
) -> None:
    level = target.level[list(places)]
    if np.unique(level).size >= _FEWEST and follows_ink(level, density) < FITS:
        raise ReadingsError(
            f"the densities in {table.source.name} do not follow the ink of the target"
            f" {target.name}", "more ink prints lighter",
            "check that the names are those on the print, and that this is the target that was"
            " measured; if the names only count what was read, say that it is in reading order",
            code="list_in_order")


# By place in the list


def _grid(target: Target, across: bool) -> list[list[int]]:
    """Indices of the patches, one list a row from left to right (or a column, downwards)."""
    centre = target.patch_centres
    along, other = (0, 1) if across else (1, 0)
    size = min((p.height_mm if across else p.width_mm) for p in target.patches)
    lines: list[list[int]] = []
    last = -np.inf
    for i in np.argsort(centre[:, other], kind="stable"):
        if centre[i, other] - last > 0.5 * size:
            lines.append([])
        last = centre[i, other]
        lines[-1].append(int(i))
    return [sorted(line, key=lambda i: float(centre[i, along])) for line in lines]


def _sequence(target: Target, wanted: ListOrder) -> list[int]:
    """Indices of the target's patches in the order in which the list goes over them."""
    lines = _grid(target, wanted.order != "columns")
    if wanted.snake:
        lines = [line[::-1] if number % 2 else line for number, line in enumerate(lines)]
    flat = [i for line in lines for i in line]
    return flat[::-1] if wanted.reverse else flat


def follows_ink(level: Array, density: Array) -> float:
    """How well densities fall with rising ink levels, 1: without exception, 0: not at all.

    Shapes (n,).  One minus the share of variance that an isotonic regression (scipy, pool
    adjacent violators) leaves over.
    """
    from scipy.optimize import isotonic_regression

    order = np.argsort(level, kind="stable")
    # readings of one level count as their mean, whatever order they stand in
    steps, member, count = np.unique(np.round(level[order], 6), return_inverse=True,
                                     return_counts=True)
    value = density[order]
    mean = np.bincount(member, weights=value) / count
    if steps.size < 3 or float(np.ptp(value)) <= 0.0:
        return 0.0
    fitted = isotonic_regression(mean, weights=count.astype(np.float64), increasing=False).x
    left = float(np.sum((value - fitted[member]) ** 2))
    return 1.0 - left / float(np.sum((value - value.mean()) ** 2))


def _check_order(table: Table, target: Target, density: Array, wanted: ListOrder) -> None:
    """Refuse an order in which the densities do not follow the ink; name the one that fits."""
    level = target.level
    if np.unique(level).size < _FEWEST:
        return
    if follows_ink(level[_sequence(target, wanted)], density) >= FITS:
        return
    fit = [follows_ink(level[_sequence(target, other)], density) for other in _ALL_ORDERS]
    best = int(np.argmax(fit))
    given = (f"the densities in {table.source.name} do not follow the ink of the target"
             f" {target.name}, read {_said(wanted)}")
    if fit[best] < CLEARLY:
        raise ReadingsError(
            given, "more ink prints lighter; they do not in any other order of rows or columns"
            " either", "check that this is the target that was measured, and that no patch was"
            " left out and another read twice")
    found = _ALL_ORDERS[best]
    upside_down = " (the list is upside down)" if found.reverse and not wanted.reverse else ""
    raise ReadingsError(
        given, f"they do if read {_said(found)}{upside_down}", "say that it was read so",
        code="_".join(["list", str(found.order), *(["snake"] if found.snake else []),
                       *(["reverse"] if found.reverse else [])]))


def _said(order: ListOrder) -> str:
    lines = "column by column" if order.order == "columns" else "row by row"
    start = "from the last patch" if order.reverse else "from the top left"
    return f"{lines} {start}" + (", back and forth" if order.snake else "")


def _check_count(table: Table, target: Target, density: Array) -> None:
    """Refuse another number of rows than patches, and say how the two differ."""
    found, patches = len(table.rows), len(target.patches)
    if found == patches:
        return
    lines = _grid(target, True)
    shape = counted(len(lines), "row") + (
        f" of {len(lines[0])}" if len({len(line) for line in lines}) == 1 else "")
    given = (f"{table.source.name} has {counted(found, 'measurement')}, the target"
             f" {target.name} has {counted(patches, 'patch')} ({shape})")
    rule = "a list in reading order has one measurement for each patch"
    tones = len(target.of_kind("tone"))
    by_name = "name each patch in a column patch"
    if found == tones:
        raise ReadingsError(
            given, f"{rule}; {tones} are the tones without the clear and full reference patches",
            f"measure those as well, or {by_name}", code="list_by_name")
    if found % patches == 0:
        raise ReadingsError(given, f"{rule}; here are {found // patches} for each",
                            "put every measurement of the whole target in a file of its own")
    off = found - patches
    where = _slip(target, density) if abs(off) == 1 and 20 <= patches <= 400 \
        and not target.is_ink_chart else None
    differ = f"{abs(off)} too many" if off > 0 else f"{-off} too few"
    if where is not None:
        differ += f": {where} seems to have been " + ("read twice" if off > 0 else "left out")
    raise ReadingsError(given, f"{rule}; here are {differ}", f"measure again, or {by_name}",
                        code="list_by_name")


def _slip(target: Target, density: Array) -> str | None:
    """The patch at which a list is one short or one too long, in whatever order it was read."""
    best, found = CLEARLY, None
    missing = density.size < len(target.patches)
    for order in _ALL_ORDERS:
        walk = _sequence(target, order)
        level = target.level[walk]
        for i in range(max(density.size, level.size)):
            fit = (follows_ink(np.delete(level, i), density) if missing
                   else follows_ink(level, np.delete(density, i)))
            if fit > best:
                best, found = fit, target.patches[walk[min(i, level.size - 1)]].name
    return found


# The densities of a gray scale


def listed_densities(table: Table) -> Array:
    """Known densities of a gray scale from a file, step 1 first, shape (n,).

    A column ``density`` (or lightness, luminance, a spectrum) and, if the rows are in another
    order, ``step``, which counts from 1.

    Raises `ReadingsError` for steps left out or doubled, and for densities no gray scale has.
    """
    columns.check_columns(table)
    density = measured(table, None).density
    where = columns.find(table, "step")
    if where is not None:
        step = columns.numbers(table, where)
        order = np.argsort(step, kind="stable")
        if not np.array_equal(step[order], np.arange(1, step.size + 1)):
            raise ReadingsError(
                f"{table.source.name} has the steps {columns.some([f'{s:g}' for s in step])}",
                "steps are numbered 1, 2, 3 … without a gap, 1 being at the left edge",
                "correct the column step")
        density = density[order]
    check_known(density)
    return density
