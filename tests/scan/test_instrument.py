"""An instrument's list onto a target, in every order it can be read in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tonewright.cli.typed import TYPED
from tonewright.errors import OptionError, ReadingsError
from tonewright.measured.columns import Source, Table
from tonewright.measured.findings import PatchesNotInList
from tonewright.measured.readings import ReadingOptions
from tonewright.scales import lightness_to_density
from tonewright.scan.instrument import ListOrder, follows_ink, listed_densities, map_list
from tonewright.target.layout import LayoutSettings, even_levels, make_target


@pytest.fixture(scope="module")
def target():
    return make_target(even_levels(21), LayoutSettings(repeats=2, seed=3))


def density_of(level):
    """An invented print: black at 1.6, white at 0.08 from 85 % ink on."""
    return 0.08 + 1.52 * np.clip(1.0 - np.asarray(level) / 0.85, 0.0, 1.0) ** 1.7


def table(columns, rows, name="list.txt"):
    return Table(tuple(columns), tuple(tuple(str(c) for c in row) for row in rows),
                 Source(name, "csv", "0" * 64), tuple(range(2, len(rows) + 2)))


def sheet(target):
    """Patches as they lie: rows from top to bottom, each from left to right."""
    tops = sorted({round(p.y_mm, 3) for p in target.patches})
    return [sorted((p for p in target.patches if round(p.y_mm, 3) == top), key=lambda p: p.x_mm)
            for top in tops]


def walked(target, order="rows", snake=False, reverse=False):
    """Patches in the order an instrument goes over them, told without the code under test."""
    lines = sheet(target)
    if order == "columns":
        across = sorted({round(p.x_mm, 3) for p in target.patches})
        lines = [sorted((p for p in target.patches if round(p.x_mm, 3) == x),
                        key=lambda p: p.y_mm) for x in across]
    if snake:
        lines = [line if i % 2 == 0 else line[::-1] for i, line in enumerate(lines)]
    flat = [p for line in lines for p in line]
    return flat[::-1] if reverse else flat


def listed(patches, noise=0.01, seed=0):
    rng = np.random.default_rng(seed)
    density = density_of([p.level for p in patches]) + rng.normal(0.0, noise, len(patches))
    return table(["SAMPLE_ID", "D_VIS"], [(i + 1, f"{d:.3f}") for i, d in enumerate(density)])


WAYS = [(o, s, r) for o in ("rows", "columns") for s in (False, True) for r in (False, True)]


@pytest.mark.parametrize("way", WAYS)
def test_every_reading_order_comes_home(target, way):
    readings = map_list(listed(walked(target, *way)), target, ListOrder(*way))
    assert [p.patch for p in readings.patches] == [p.name for p in target.patches]
    assert readings.level == pytest.approx(target.level)
    assert readings.density == pytest.approx(density_of(target.level), abs=0.05)
    assert readings.scale == "visual-density"


@pytest.mark.parametrize("way", WAYS[1:])
def test_a_wrong_order_is_told_with_the_right_one(target, way):
    order, snake, reverse = way
    with pytest.raises(ReadingsError) as caught:
        map_list(listed(walked(target, *way)), target)
    code = "_".join(["list", order, *["snake"] * snake, *["reverse"] * reverse])
    assert caught.value.code == code and code in TYPED
    assert ("upside down" in str(caught.value)) == reverse


def test_a_list_of_something_else_is_refused(target):
    patches = np.random.default_rng(4).permutation(np.array(walked(target), dtype=object))
    with pytest.raises(ReadingsError, match=r"not in any other order"):
        map_list(listed(list(patches)), target)


def test_by_name_in_any_order(target):
    mixed = np.random.default_rng(2).permutation(np.array(target.patches, dtype=object))
    rows = [(p.name.lower(), f"{density_of(p.level):.3f}", "0.012") for p in mixed]
    readings = map_list(table(["patch", "density", "density_sd"], rows), target)
    assert [p.patch for p in readings.patches] == [p.name for p in target.patches]
    assert readings.density == pytest.approx(density_of(target.level), abs=0.001)
    assert readings.patches[0].density_sd == 0.012


def test_names_may_leave_patches_out(target):
    rows = [(p.name, f"{density_of(p.level):.3f}") for p in target.patches[2:]]
    readings = map_list(table(["SAMPLE_NAME", "D_VIS"], rows), target)
    assert len(readings.patches) == len(target.patches) - 2
    first, second = target.patches[:2]
    assert readings.findings == (PatchesNotInList("list.txt", (first.name, second.name)),)


def test_lightness_keeps_its_scale(target):
    rows = [(p.name, f"{116.0 * np.cbrt(10 ** -density_of(p.level)) - 16.0:.2f}")
            for p in target.patches]
    readings = map_list(table(["patch", "LAB_L"], rows), target)
    assert readings.scale == "luminance"
    assert readings.density[0] == pytest.approx(
        float(lightness_to_density(float(rows[0][1]))), abs=1e-6)


def test_relative_to_paper(target):
    rows = [(p.name, f"{density_of(p.level) - 0.08 - 0.03:.3f}") for p in target.patches]
    relative = map_list(table(["patch", "density"], rows), target,
                        options=ReadingOptions(relative_to_paper=True))
    assert relative.relative_to_paper
    with pytest.raises(ReadingsError) as caught:
        map_list(table(["patch", "density"], rows), target)
    assert caught.value.code == "relative_to_paper"


def test_one_left_out_is_found(target):
    walk = walked(target)
    slip = next(i for i, p in enumerate(walk) if i > 8 and 0.2 < p.level < 0.6)
    with pytest.raises(ReadingsError) as caught:
        map_list(listed(walk[:slip] + walk[slip + 1 :], noise=0.002), target)
    said = str(caught.value)
    assert f"{len(walk) - 1} measurements" in said
    assert f"{len(walk)} patches" in said
    assert "1 too few" in said
    assert walk[slip].name in said


def test_one_read_twice_is_found(target):
    walk = walked(target)
    slip = next(i for i, p in enumerate(walk) if i > 8 and 0.2 < p.level < 0.6)
    with pytest.raises(ReadingsError, match=f"1 too many: {walk[slip].name} seems"):
        map_list(listed(walk[: slip + 1] + walk[slip:], noise=0.0), target)


def test_counts_that_tell_what_happened(target):
    tones = [p for p in walked(target) if p.kind == "tone"]
    with pytest.raises(ReadingsError, match="without the clear and full reference patches"):
        map_list(listed(tones), target)
    with pytest.raises(ReadingsError, match="2 for each"):
        map_list(listed(walked(target) * 2), target)
    with pytest.raises(ReadingsError, match="10 too few"):
        map_list(listed(walked(target)[10:]), target)


def test_names_that_cannot_be(target):
    names = [p.name for p in target.patches]
    rows = [(n, "0.5") for n in names]
    with pytest.raises(ReadingsError, match="line 5: the patch 'Z99'"):
        map_list(table(["patch", "density"], [*rows[:3], ("Z99", "0.5"), *rows[4:]]), target)
    with pytest.raises(ReadingsError, match="line 2 already"):
        map_list(table(["patch", "density"], [*rows, rows[0]]), target)
    with pytest.raises(ReadingsError, match="At least half"):
        map_list(table(["patch", "density"], rows[:5]), target)
    with pytest.raises(ReadingsError, match="holds the names of the target"):
        map_list(listed(walked(target)), target, ListOrder("name"))
    with pytest.raises(OptionError) as caught:
        map_list(table(["patch", "density"], rows), target, ListOrder("name", snake=True))
    assert caught.value.code == "list_names_and_order"


def test_levels_of_another_target_are_refused(target):
    rows = [(p.name, p.level, density_of(p.level)) for p in target.patches]
    assert map_list(table(["patch", "level", "density"], rows), target).level == pytest.approx(
        target.level)
    rows[7] = (rows[7][0], abs(rows[7][1] - 0.1), rows[7][2])
    with pytest.raises(ReadingsError, match=f"ink level of {rows[7][0]}"):
        map_list(table(["patch", "level", "density"], rows), target)


def test_names_of_another_target_are_refused(target):
    other = make_target(even_levels(21), LayoutSettings(repeats=2, seed=4))
    rows = [(p.name, f"{density_of(p.level):.3f}") for p in other.patches]
    with pytest.raises(ReadingsError, match="do not follow the ink"):
        map_list(table(["patch", "density"], rows), target)


def test_follows_ink_at_its_ends():
    level = np.linspace(0.0, 1.0, 30)
    assert follows_ink(level, 1.5 - level) == pytest.approx(1.0)
    assert follows_ink(level, level) == pytest.approx(0.0)
    # two thirds of it paper white with noise: still clear
    flat = density_of(3.0 * level) + np.random.default_rng(0).normal(0.0, 0.01, 30)
    assert follows_ink(level, flat) > 0.98
    assert follows_ink(level, np.ones(30)) == 0.0


def test_the_list_of_a_gray_scale():
    plain = table(["density"], [(0.05,), (0.5,), (1.2,)])
    assert listed_densities(plain).tolist() == [0.05, 0.5, 1.2]
    stepped = table(["step", "density"], [(2, 0.5), (1, 0.05), (3, 1.2)])
    assert listed_densities(stepped).tolist() == [0.05, 0.5, 1.2]
    with pytest.raises(ReadingsError, match="without a gap"):
        listed_densities(replace(stepped, rows=(("1", "0.1"), ("3", "0.5"), ("4", "0.9"))))
    with pytest.raises(ReadingsError, match="from 0 to 6"):
        listed_densities(table(["density"], [(0.05,), (50,)]))
    with pytest.raises(ReadingsError):
        listed_densities(table(["tone"], [(0.05,)]))
