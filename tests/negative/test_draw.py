"""What stands around the picture, and that nothing lies on anything else."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from tonewright.errors import OptionError
from tonewright.files.lettering import text_mask
from tonewright.negative.draw import Sheet, Subject, tone_scale
from tonewright.negative.sheet import SheetSettings


class Straight:
    name = "straight"

    def level_at(self, lightness):
        return np.asarray(lightness) / 100.0


def sheet(width=1200, height=900, ppi=200.0, letters=text_mask, **settings):
    settings = {"marks": True, "tone_scale": True, "caption": True, **settings}
    words = ("print 8 min", "kallitype", "portrait", "100 x 80 mm")
    subject = Subject(width, height, ppi, words, words[1:3], tone_scale(Straight()))
    return Sheet(subject, SheetSettings(**settings), letters)


def painted(one):
    band = one.ground(one.height)
    one.paint(band, 0)
    return band


SHAPES = list(itertools.product([10.0, 12.0, 14.0, 30.0], [(1200, 900), (900, 1200), (800, 800)]))


@pytest.mark.parametrize("border", ["clear", "opaque"])
@pytest.mark.parametrize(("margin", "shape"), SHAPES)
def test_nothing_touches_the_picture_or_leaves_the_sheet(margin, shape, border):
    one = sheet(*shape, margin_mm=margin, border=border)
    seen = painted(one)
    ground = 65535 if border == "clear" else 0
    inner = seen[one.top : -one.top, one.left : -one.left]
    assert inner.shape == shape[::-1]
    assert (inner == ground).all()
    assert (seen[[0, -1]] == ground).all() and (seen[:, [0, -1]] == ground).all()
    assert (seen != ground).mean() > 0.005


@pytest.mark.parametrize(("margin", "shape"), SHAPES)
def test_no_part_lies_on_another(margin, shape):
    """Each kind alone covers other pixels than the rest do."""
    kinds = ("marks", "tone_scale", "caption")
    covers = []
    for kind in kinds:
        only = {k: k == kind for k in kinds}
        covers.append(painted(sheet(*shape, margin_mm=margin, **only)) != 65535)
    together = painted(sheet(*shape, margin_mm=margin)) != 65535
    marks, scale, _ = covers
    shared = together.sum()
    # the scale draws the discs too, so that a scan can be found: they are in both
    alone = (marks | scale).sum() + covers[2].sum()
    assert abs(int(alone) - int(shared)) <= 0.01 * shared


@pytest.mark.parametrize("step", [1, 7, 64])
def test_painted_in_bands_as_in_one(step):
    one = sheet()
    whole = painted(one)
    for first in range(0, one.height, step):
        band = one.ground(min(step, one.height - first))
        one.paint(band, first)
        assert np.array_equal(band, whole[first : first + step])


@pytest.mark.parametrize(
    ("shape", "scale", "along"),
    [((1100, 1200), True, 1), ((1200, 900), False, 0), ((1200, 900), True, None),
     ((900, 800), False, None)],
)
def test_a_rule_of_100_mm_beside_the_picture_where_it_fits(shape, scale, along):
    one = sheet(*shape, ppi=254.0, tone_scale=scale, caption=False)
    assert one.rule_mm == (None if along is None else 100.0)
    seen = painted(one) == 0
    strip = seen[:, : one.left // 2] if along == 1 else seen[: one.top // 2].T
    inner = strip[one.top + 30 : -one.top - 30]  # without discs
    assert (inner.sum(axis=0) == 1000).any() == (along is not None)


def test_lozenges_mark_the_middles_to_the_pixel():
    seen = painted(sheet(tone_scale=False, caption=False)) != 65535
    left, top = sheet().left, sheet().top
    band = seen[: top, left + 300 : -left - 300]  # above the picture, without ticks
    columns = np.nonzero(band.any(axis=0))[0]
    assert columns[0] + columns[-1] == pytest.approx(band.shape[1] - 1, abs=1)
    rows = np.nonzero(band.any(axis=1))[0]
    assert len(rows) == pytest.approx(len(columns), abs=1)


@pytest.mark.parametrize(
    ("curve", "image"), [("c" * 120, "i" * 120), ("kallitype", "i" * 300), ("c" * 300, "moor")]
)
def test_a_long_caption_keeps_its_numbers_and_the_starts_of_its_names(curve, image):
    drawn = []

    def letters(text, height):
        drawn.append(text)
        return text_mask(text, height)

    numbers = "print 12 min 30 s", "200 x 300 mm", "2026-03-01"
    words = numbers[0], curve, image, *numbers[1:]
    long = Subject(900, 1200, 200.0, words, (curve, image), tone_scale(Straight()))
    one = Sheet(long, SheetSettings(caption=True), letters)
    seen = painted(one)
    assert (seen[:, -one.left :] == 65535).all()
    assert (seen != 65535).any()
    time, *names, size, date = drawn[-1].split("  ·  ")
    assert (time, size, date) == numbers
    for name, whole in zip(names, (curve, image), strict=True):
        assert name == whole or (name.endswith("…") and whole.startswith(name[:-1]))
    assert one.cut == tuple(whole for whole in (curve, image) if len(whole) > 100)


def test_a_caption_with_hardly_any_room_keeps_the_time():
    drawn = []

    def letters(text, height):
        drawn.append(text)
        return text_mask(text, height)

    words = "print 8 min", "kallitype", "portrait-of-a-tree", "25 x 30 mm", "2026-03-01"
    narrow = Subject(200, 240, 200.0, words, words[1:3], tone_scale(Straight()))
    assert Sheet(narrow, SheetSettings(caption=True), letters).cut == words[1:]
    assert drawn[-1] == "print 8 min"


def test_the_scale_runs_from_black_to_white():
    target = sheet().target("n", "", True, "straight")
    assert [p.level for p in target.patches] == pytest.approx(np.linspace(0, 1, 11))
    assert [p.name for p in target.patches] == [f"A{n}" for n in range(1, 12)]
    assert all(p.aim_lightness is None for p in target.patches)  # this curve does not say
    assert sheet(tone_scale=False).target("n", "", True, "c") is None


@pytest.mark.parametrize("settings", [
    {"margin_mm": 5.0, "marks": True}, {"margin_mm": 9.0, "tone_scale": True}, {"margin_mm": 400.0},
])  # fmt: skip
def test_margins_that_cannot_be(settings):
    with pytest.raises(OptionError, match="margin"):
        SheetSettings(**settings).check()


def test_a_picture_too_small_for_the_scale():
    with pytest.raises(OptionError) as raised:
        sheet(400, 300)
    assert raised.value.code == "no_room_for_tone_scale"
