"""Negatives laid on film: every layout holds what it must, over many sizes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonewright.errors import OptionError
from tonewright.negative.film import EDGE, GAP, Bed, Film, FilmSheet, lay_out, parse_film
from tonewright.target.pen import RULE

A4 = Film("a4", 210.0, 297.0)


def letters(text, height):
    return np.full((height, max(1, height * len(text) // 2)), 255, np.uint8)


def check(sizes, bed, films):
    """Each piece once, whole, on the film, clear of its edges and of all others by the gap."""
    assert sorted(p.piece for film in films for p in film) == list(range(len(sizes)))
    edge = bed.pixels(EDGE)
    for film in films:
        for p in film:
            assert (p.width, p.height) == (sizes[p.piece][::-1] if p.turned else sizes[p.piece])
            assert p.x >= edge and p.x + p.width <= bed.width - edge
            assert p.y >= edge and p.y + p.height <= bed.long(film) - edge
        for a, b in itertools.combinations(film, 2):
            apart = max(b.x - a.x - a.width, a.x - b.x - b.width,
                        b.y - a.y - a.height, a.y - b.y - b.height)
            assert apart >= bed.gap


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(20, 560), st.integers(20, 800)), min_size=1, max_size=12),
       st.sampled_from([A4, Film("roll", 610.0, None), Film("roll", 240.0, None),
                        Film("8x10", 203.2, 254.0)]), st.booleans())
def test_nothing_overlaps_or_leaves_the_film(sizes, film, mirrored):
    bed = Bed(film, 3.0, mirrored=mirrored)
    try:
        films = lay_out(sizes, bed)
    except ValueError as error:
        size = sizes[error.args[0]]
        inner = (bed.inner_width, bed.inner_height or 10**9)
        assert all(w > inner[0] or h > inner[1] for w, h in (size, size[::-1]))
        return
    check(sizes, bed, films)
    if film.height_mm is None:
        assert len(films) == 1


def test_film_is_saved():
    """Four halves of a sheet need two, a large one and two that fit beside it one; a quarter turn
    is taken where it helps."""
    bed = Bed(A4, 4.0, mirrored=True)
    half = (bed.inner_width, (bed.inner_height - bed.gap) // 2)
    assert len(lay_out([half] * 4, bed)) == 2
    assert len(lay_out([half[::-1]] * 4, bed)) == 2
    quarter = ((bed.inner_width - bed.gap) // 2, half[1])
    assert len(lay_out([quarter, half, quarter], bed)) == 1
    roll = Bed(Film("610mm", 610.0, None), 4.0, mirrored=True)
    (film,) = lay_out([(400, 1200)] * 5, roll)
    assert roll.long(film) < 1200 + 200  # five side by side, or less
    strips = lay_out([(2000, 400)] * 3, roll)
    assert len(strips) == 1 and roll.long(strips[0]) < 3 * 400 + 200


@pytest.mark.parametrize(("text", "width", "height"), [
    ("a4", 210, 297), ("A3", 297, 420), ("8x10", 203.2, 254), ("letter", 215.9, 279.4),
    ("210x297mm", 210, 297), ("33 x 48.3cm", 330, 483), ("13x19in", 330.2, 482.6),
    ("610mm", 610, None), ("24in", 609.6, None), ("61cm", 610, None)])
def test_films_as_they_are_named(text, width, height):
    film = parse_film(text, "--film")
    assert film.width_mm == pytest.approx(width)
    assert film.height_mm is None if height is None else film.height_mm == pytest.approx(height)


@pytest.mark.parametrize("text", ["a9", "", "610", "20", "5mm", "30x30mm", "12x18", "-5mm", "a4mm",
                                  "1e3mm", "x", "nan", "roll", "610km", "0x0mm", "infxinfmm"])
def test_what_is_no_film(text):
    with pytest.raises(OptionError):
        parse_film(text, "--film")


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("film", [A4, Film("4x5", 101.6, 127.0)])
def test_the_rule_is_100_mm_and_cut_marks_meet_the_corners(film, mirrored):
    per_mm = 10.0
    bed = Bed(film, per_mm, mirrored=mirrored)
    films = lay_out([(400, 500), (300, 300)], bed)
    sheet = FilmSheet(bed, films[0], ["kallitype", "print 8 min"], letters)
    band = sheet.ground(sheet.height)
    sheet.paint(band, 0)
    dark = (band == 0)
    edge = round(EDGE * per_mm)
    if bed.upright:
        rule = dark[:, bed.width - edge - 2 if mirrored else edge + 1]
    else:
        rule = dark[edge + 1, ::-1 if mirrored else 1]
    long = np.flatnonzero(rule)
    assert long[0] == edge
    run = next(i for i, (a, b) in enumerate(itertools.pairwise([*long, 10**9]), 1) if b > a + 1)
    assert run == RULE * per_mm
    for p in films[0]:
        assert not dark[p.y : p.y + p.height, p.x : p.x + p.width].any()
        for x, step in ((p.x, -1), (p.x + p.width - 1, 1)):
            for y in (p.y - 1, p.y + p.height):
                assert dark[y, x + step * 15] and dark[y, x + step * 45]  # across, along the edge
        for y, step in ((p.y, -1), (p.y + p.height - 1, 1)):
            for x in (p.x - 1, p.x + p.width):
                assert dark[y + step * 15, x] and dark[y + step * 45, x]


def test_marks_of_neighbours_end_before_the_other_negative():
    bed = Bed(A4, 10.0, mirrored=False)
    assert GAP > 5.0 and bed.gap == 60


def test_every_rule_says_what_it_is_for():
    """On targets, sheets and films the same words, beside 100 mm."""
    from tonewright.negative.draw import Sheet, Subject, ToneScale
    from tonewright.negative.sheet import SheetSettings
    from tonewright.target.draw import draw
    from tonewright.target.layout import LayoutSettings, even_levels, make_target
    from tonewright.target.pen import MEASURE_IT

    assert MEASURE_IT == "100 mm: measure it. The driver must not scale."
    drawn: list[str] = []

    def heard(text, height):
        drawn.append(text)
        return letters(text, height)

    next(draw(make_target(even_levels(), LayoutSettings("t", ppi=100.0)), heard))
    scale = ToneScale(np.linspace(0, 1, 11), None, np.linspace(0, 100, 11))
    for width, height in ((500, 900), (900, 300)):  # upright, and lying
        subject = Subject(width, height, 200.0, (), (), scale)
        sheet = Sheet(subject, SheetSettings(marks=True), heard)
        assert sheet.rule_mm == 100.0
    for film in (A4, Film("4x5", 101.6, 127.0)):
        bed = Bed(film, 8.0, mirrored=True)
        FilmSheet(bed, lay_out([(300, 300)], bed)[0], ["k"], heard)
    assert drawn.count(MEASURE_IT) == 5
