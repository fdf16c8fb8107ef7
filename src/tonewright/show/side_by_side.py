"""Curves side by side: a table, what differs by more than the bands, and a picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tonewright.check.make import curve_time
from tonewright.curve.document import Curve
from tonewright.errors import runs
from tonewright.shelf.side_by_side import TONES, Compared
from tonewright.show.report import report, taken
from tonewright.show.shelf_findings import stops_words
from tonewright.show.shelf_text import setup_words
from tonewright.show.words import Fact, percent

_ROWS = slice(None, None, 10)
"""Every tenth tone."""
_IN_A_ROW = 4
"""Curves in one table; more go into another below."""
_WIDE = 17
_SAME = 0.05
"""L* that is shown as 0."""


def side_by_side_json(
    paths: Sequence[Path], curves: Sequence[Curve], compared: Sequence[Compared]
) -> dict[str, Any]:
    """The curves, their tones and their differences, under the names the command line promises."""
    return {
        "curves": [{
            "file": path, "name": c.name, "setup": asdict(c.setup),
            "printing_time": c.setup.printing_time,
            **taken(c.summary, "black_lightness", "white_lightness"),
            "density_range": c.summary.negative_density_range,
            "band_halfwidth_mean": c.summary.band_halfwidth_mean,
            "level": c.level_at(TONES).round(6).tolist(),
            "print_lightness": c.print_lightness_at(TONES).round(4).tolist(),
        } for path, c in zip(paths, curves, strict=True)],
        "image_lightness": TONES.tolist(),
        "compared_with_first": [{
            "name": c.name, "differs": one.differs,
            "difference_level": one.difference_level.round(6).tolist(),
            "difference_lightness": one.difference_lightness.round(3).tolist(),
            "bands_lightness": one.bands_lightness.round(3).tolist(),
            "apart": one.apart.tolist(),
            "worst_image_lightness": float(TONES[one.worst]),
            "worst_difference_lightness": round(float(one.difference_lightness[one.worst]), 3),
            "slower_stops": one.slower_stops and round(one.slower_stops, 4),
            "other_ink": [list(other) for other in one.other_ink],
        } for c, one in zip(curves[1:], compared, strict=True)],
    }


def side_by_side_text(
    curves: Sequence[Curve], compared: Sequence[Compared], picture: Path | None
) -> str:
    """The curves, a table of tones and ink, and whether they differ by more than their bands."""
    # letters tell the curves apart whatever they are called
    names = [chr(ord("A") + i) if i < 26 else str(i + 1) for i in range(len(curves))]
    lines: list[Fact | str] = [(name, "; ".join(_facts(curve)))
                               for name, curve in zip(names, curves, strict=True)]
    for start in range(0, len(curves), _IN_A_ROW):
        lines += ["", *_table(names, curves, slice(start, start + _IN_A_ROW))]
    lines.append("")
    for name, curve, one in zip(names[1:], curves[1:], compared, strict=True):
        lines += [(name, said) for said in _verdict(names[0], curves[0], curve, one)]
    return report(f"{len(curves)} curves side by side", lines, picture, _next(compared))


def _next(compared: Sequence[Compared]) -> str:
    if any(one.differs for one in compared):
        return ("make negatives through the curve of the paper and chemistry you print on now. A"
                " check of a print shows whether it still holds (tonewright check).")
    one = "either" if len(compared) == 1 else "any of them"
    return f"{one} will do. Keep the one whose prints you have checked (tonewright check)."


def _facts(curve: Curve) -> Iterator[str]:
    found = curve.summary
    yield f"{curve.name}, {curve.setup.date or 'no date'}"
    yield f"printing time {curve.setup.printing_time or 'not said'}"
    yield f"black L* {found.black_lightness:.1f}, white L* {found.white_lightness:.1f}"
    if found.negative_density_range is not None:
        yield f"density range {found.negative_density_range:.2f}"
    yield f"known to ±{found.band_halfwidth_mean:.1f} L*"
    yield setup_words(curve.setup.without_occasion())


def _table(names: Sequence[str], curves: Sequence[Curve], part: slice) -> list[str]:
    """Ink and print lightness for every tenth tone of the picture."""
    cells = [(curve.level_at(TONES[_ROWS]), curve.print_lightness_at(TONES[_ROWS]))
             for curve in curves[part]]
    lines = [f"  {'picture':<10}" + "".join(f"{name:>{_WIDE}}" for name in names[part]).rstrip(),
             f"  {'L*':<10}" + f"{'ink, print L*':>{_WIDE}}" * len(cells)]
    for row, tone in enumerate(TONES[_ROWS]):
        lines.append(f"  {tone:<10.0f}" + "".join(
            f"{f'{100.0 * ink[row]:.1f} %, {light[row]:5.1f}':>{_WIDE}}" for ink, light in cells))
    return lines


def _verdict(first_name: str, first: Curve, other: Curve, one: Compared) -> Iterator[str]:
    tone, change = TONES[one.worst], float(one.difference_lightness[one.worst])
    amount = (f"printed as {first_name} is, it would be up to {abs(change):.1f} L*"
              f" {'lighter' if change > 0 else 'darker'} (at picture L* {tone:.0f}; the bands"
              f" explain {one.bands_lightness[one.worst]:.1f})")
    if one.differs:
        tones = runs([int(t) for t in TONES[one.apart]])
        yield f"differs from {first_name} by more than both bands at picture L* {tones}: {amount}"
    elif abs(change) < _SAME:
        yield f"prints the same as {first_name}"
    else:
        yield (f"cannot be told from {first_name}: the bands touch nearly everywhere;"
               f" {amount}")
    if one.slower_stops is not None and abs(one.slower_stops) >= 0.005:
        longer = "longer" if one.slower_stops > 0 else "shorter"
        yield (f"is printed for {other.setup.printing_time}, {stops_words(one.slower_stops)}"
               f" {longer} than {first_name}")
    elif one.slower_stops is None and None not in (curve_time(first), curve_time(other)):
        yield "times in minutes and in integrator units are not compared"
    if one.other_ink:
        said = ", ".join(f"{entry} ({mine}, {theirs})" for entry, mine, theirs in one.other_ink)
        yield f"ink levels are of something else: other {said}"
    if other.scale != first.scale:
        yield "densities were weighted differently (luminance, visual density): up to 1 or 2 L*"


def legend_words(curve: Curve) -> str:
    """How a picture calls a curve."""
    low, white = curve.summary.level_black, curve.summary.level_white
    time = curve.setup.printing_time
    return f"{curve.name}{(time and f', {time}') or ''}: ink {percent(low)} to {percent(white)}"
