"""Several negatives on one sheet of film: where each lies, and the marks by which it is cut out.

Places are pixels of the file, from its top left corner, unless they say millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from tonewright import scales
from tonewright.errors import OptionError
from tonewright.frozen import dataclass
from tonewright.negative.size import parse_length
from tonewright.target.layout import PAPERS, parse_named_size
from tonewright.target.pen import LINE, MEASURE_IT, RULE, Codes, Letters, Line, Pen

EDGE, GAP, STRIP = 5.0, 6.0, 9.0
"""mm: free of negatives along the film's edge, between two negatives, and for the rule."""
_MARK_START, _MARK_LONG = 1.0, 4.0
"""mm: cut marks begin so far from a negative's corner and are so long; they end in the gap."""
_SMALLEST = 60.0
_LEAST_WORDS = 25.0
"""mm: in less room beside the rule nothing is written."""


@dataclass(frozen=True)
class Film:
    """A sheet of film, or a roll."""

    name: str
    """As it was named."""
    width_mm: float
    height_mm: float | None
    """None: a roll, as long as is needed."""

    def __str__(self) -> str:
        """As it is called in a sentence."""
        if self.height_mm is None:
            return f"roll of {self.width_mm:g} mm"
        return f"film of {self.width_mm:.4g} x {self.height_mm:.4g} mm"


def parse_film(text: str, what: str) -> Film:
    """A film by the name of its size (``a4``), by its size (``210x297mm``), or a roll by its width
    alone (``610mm``); raises `OptionError`, in which ``what`` names it."""
    name = text.strip().lower()
    if name in PAPERS or "x" in name or "×" in name:
        film = Film(name, *parse_named_size(text))
    elif name[:1].isdigit():
        film = Film(name, float(parse_length(text, what)), None)
    else:
        raise OptionError(f"{what} is {text!r}",
                          f"it is {', '.join(PAPERS)}, a size such as 210x297mm, or the width of a"
                          " roll such as 610mm", "name what the printer takes")
    if min(film.width_mm, film.height_mm or math.inf) < _SMALLEST:
        raise OptionError(f"{what} is {text!r}", f"a film is {_SMALLEST:g} mm wide at least",
                          "give its size with a unit, as 210x297mm or 8x10in")
    return film


@dataclass(frozen=True)
class Place:
    """Where a negative lies."""

    piece: int
    """Which one, counted from 0."""
    x: int
    y: int
    width: int
    height: int
    """As it lies."""
    turned: bool = False
    """By a quarter clockwise."""


class Bed:
    """The film in pixels, and the part of it where negatives may lie."""

    def __init__(self, film: Film, per_mm: float, *, mirrored: bool) -> None:
        """``mirrored``: its words are, as the negatives are, so that they read right on a print."""
        self.film, self.per_mm, self.mirrored = film, per_mm, mirrored
        self.width = self.pixels(film.width_mm)
        self.height = None if film.height_mm is None else self.pixels(film.height_mm)
        room = RULE + 2 * EDGE
        self.upright = film.width_mm < room <= (film.height_mm or math.inf)
        """Whether the rule stands upright, at the left of what reads right."""
        self.has_rule = self.upright or film.width_mm >= room
        edge, strip = self.pixels(EDGE), self.pixels(STRIP) if self.has_rule else 0
        self.gap = self.pixels(GAP)
        self.top = edge + (0 if self.upright else strip)
        self.left = edge + (strip if self.upright and not mirrored else 0)
        self.inner_width = self.width - 2 * edge - (strip if self.upright else 0)
        self.inner_height = None if self.height is None else self.height - self.top - edge

    def pixels(self, mm: float) -> int:
        """A length, rounded."""
        return round(mm * self.per_mm)

    def long(self, places: Iterable[Place]) -> int:
        """Pixels down the film that these take: of a sheet all of it."""
        if self.height is not None:
            return self.height
        least = RULE + 2 * EDGE if self.upright else 0.0
        last = max(place.y + place.height for place in places)
        return max(last + self.pixels(EDGE), self.pixels(least))


def lay_out(sizes: Sequence[tuple[int, int]], bed: Bed) -> list[list[Place]]:
    """Sheets of film with the places of all pieces, of the widths and heights ``sizes``.

    Each piece goes, upright or turned by a quarter, where its far edge comes to lie lowest on the
    skyline of those before it (bottom left; Jylänki 2010, "A thousand ways to pack the bin", 2.4).
    Of several orders and ways to turn, that with the fewest sheets, then the shortest film, is
    taken.  A piece that fits neither way raises `ValueError` with its number.
    """
    for number, size in enumerate(sizes):
        if all(_Skyline(bed).lowest(*turned) is None for turned in (size, size[::-1])):
            raise ValueError(number)
    orders = (lambda i: (-max(sizes[i]), i), lambda i: (-sizes[i][0] * sizes[i][1], i),
              lambda i: (-sizes[i][1], i))
    tries = [_packed(sizes, bed, sorted(range(len(sizes)), key=order), turn)
             for order in orders for turn in ("either", "as it is", "upright", "lying")]
    return min(tries, key=lambda films: (len(films), sum(
        max(p.y + p.height for p in film) for film in films)))


def _packed(
    sizes: Sequence[tuple[int, int]], bed: Bed, order: Sequence[int], turn: str
) -> list[list[Place]]:
    films: list[_Skyline] = []
    for number in order:
        if not any(film.put(number, sizes[number], turn) for film in films):
            films.append(_Skyline(bed))
            films[-1].put(number, sizes[number], turn)  # `lay_out` has seen that it fits
    return [film.places for film in films]


class _Skyline:
    """How far down each part of the film's width is taken."""

    def __init__(self, bed: Bed) -> None:
        self._bed = bed
        self._steps = [(0, 0, bed.inner_width + bed.gap)]
        """Left edge, depth and width, from left to right."""
        self.places: list[Place] = []

    def lowest(self, width: int, height: int) -> tuple[int, int] | None:
        """Depth of the far edge and left edge where a piece lies lowest; None: no room."""
        wide, high = width + self._bed.gap, height + self._bed.gap
        end = self._steps[-1][0] + self._steps[-1][2]
        most = math.inf if self._bed.inner_height is None else (
            self._bed.inner_height + self._bed.gap)
        found = [(depth + high, x) for x, _, _ in self._steps if x + wide <= end
                 and (depth := self._depth(x, wide)) + high <= most]
        return min(found, default=None)

    def _depth(self, x: int, wide: int) -> int:
        return max(d for left, d, w in self._steps if left < x + wide and x < left + w)

    def put(self, number: int, size: tuple[int, int], turn: str) -> bool:
        """Put a piece down; False where there is no room."""
        width, height = size
        ways = [(width, height, False), (height, width, True)]
        if turn in ("upright", "lying"):  # that way where it can, else the other
            ways.sort(key=lambda way: (way[0] > way[1]) != (turn == "lying"))
        fits = [(spot, way) for way in ways if (spot := self.lowest(*way[:2]))]
        if not fits:
            return False
        spot, way = min(fits, key=lambda f: f[0]) if turn == "either" else fits[0]
        (end, x), bed, wide = spot, self._bed, way[0] + self._bed.gap
        cut = [(left, d, w) for left, d, w in self._steps if left + w <= x or left >= x + wide]
        for left, d, w in self._steps:
            if left < x < left + w:
                cut.append((left, d, x - left))
            if left < x + wide < left + w:
                cut.append((x + wide, d, left + w - x - wide))
        self._steps = sorted([*cut, (x, end, wide)])
        self.places.append(Place(number, bed.left + x, bed.top + end - bed.gap - way[1], *way))
        return True


class FilmSheet:
    """One sheet of film, ready to be painted around the negatives."""

    def __init__(
        self, bed: Bed, places: Sequence[Place], facts: Sequence[str], letters: Letters
    ) -> None:
        """``facts`` are written beside the rule; what has no room there is left out."""
        self.bed, self.places = bed, tuple(places)
        self.width, self.height = bed.width, bed.long(places)
        full = 0
        self._cuts = Pen(bed.per_mm, letters, full, scales.FULL_CODE)
        self._words = Pen(bed.per_mm, letters, full, scales.FULL_CODE)
        for place in places:
            self._add_cut_marks(place)
        if bed.has_rule:
            self._add_rule(facts)

    def ground(self, rows: int) -> Codes:
        """Clear film, shape (rows, width)."""
        return np.full((rows, self.width), scales.FULL_CODE, np.uint16)

    def paint(self, band: Codes, first: int) -> None:
        """Draw all but the negatives into a band, whose first row of the film is given."""
        self._cuts.paint(band, first)
        self._words.paint(band[:, ::-1] if self.bed.mirrored else band, first)

    def _add_cut_marks(self, place: Place) -> None:
        """Lines that lengthen the negative's edges beyond its corners: cut along them."""
        at, long = self.bed.per_mm, _MARK_LONG
        left, top = place.x / at, place.y / at
        right, bottom = left + place.width / at, top + place.height / at
        for x in (left - _MARK_START - long, right + _MARK_START):
            for y in (top - LINE, bottom):
                self._cuts.box(x, y, long, LINE)
        for x in (left - LINE, right):
            for y in (top - _MARK_START - long, bottom + _MARK_START):
                self._cuts.box(x, y, LINE, long)

    def _add_rule(self, facts: Sequence[str]) -> None:
        words, upright = self._words, self.bed.upright
        words.rule(EDGE, EDGE, 0.9, upright=upright)
        words.text(Line(MEASURE_IT, EDGE, EDGE + 2.6, 2.0) if not upright else
                   Line(MEASURE_IT, EDGE + 2.6, EDGE, 2.0, upright=True))
        start = EDGE + RULE + 4.0
        room = self.width / self.bed.per_mm - EDGE - start
        if not upright and room >= _LEAST_WORDS:
            words.facts(facts, facts[:1], Line("", start, EDGE + 1.2, 2.4), room)


def fit_error(name: object, size: tuple[int, int], bed: Bed) -> OptionError:
    """The error for a negative that is larger than the film."""
    wide, high = (pixels / bed.per_mm for pixels in size)
    inner = bed.inner_width / bed.per_mm
    takes = f"{inner:.1f} mm across" if bed.inner_height is None else (
        f"{inner:.1f} x {bed.inner_height / bed.per_mm:.1f} mm")
    return OptionError(
        f"the negative of {name} is {wide:.1f} x {high:.1f} mm",
        f"the {bed.film} takes negatives of {takes}: its edges and the rule need the rest",
        "print it smaller, with a narrower margin, or on a larger film", code="film_too_small")

