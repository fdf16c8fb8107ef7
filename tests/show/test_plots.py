"""Pictures: what is on the axes, and that the bytes are a PNG and always the same."""

from __future__ import annotations

import dataclasses
import io
import subprocess
import sys

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

import shelves
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.show import plots
from tonewright.show.plots import (
    plot_curve,
    plot_errors,
    plot_prints,
    plot_process,
    png,
)
from tonewright.strip.fit import make_process
from tonewright.strip.readings import Strip, StripPatch
from tonewright.strip.tablet import nominal_tablet
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_strip, measure_target


@pytest.fixture(scope="module")
def curve():
    flaws = Flaws(noise_density_sd=0.01, stains=1)
    readings = measure_target(Darkroom(), np.linspace(0, 1, 21), 1, flaws=flaws, seed=4).readings
    return make_curve(readings, Settings(Aim()), Setup(), "kallitype")


@pytest.fixture
def drawn(monkeypatch):
    """The figures, not turned into bytes."""
    figures: list[Figure] = []
    monkeypatch.setattr(plots, "png", lambda f: figures.append(f) or b"")
    return figures


def picture(figure: Figure) -> np.ndarray:
    data = png(figure)
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    with Image.open(io.BytesIO(data)) as image:
        assert image.info.get("Software") is None  # no version of a library, no time
        return np.asarray(image.convert("L"))


def test_curve_picture_holds_the_curve_and_the_readings(curve, drawn):
    plot_curve(curve)
    pixels = picture(drawn[0])
    assert pixels.shape[0] > 400
    assert pixels.shape[1] > 900
    assert pixels.std() > 10  # not blank
    left, right = drawn[0].axes
    lines = {line.get_label(): line for line in left.lines}
    np.testing.assert_allclose(lines["print lightness"].get_ydata(), curve.response.lightness)
    np.testing.assert_allclose(
        lines["print lightness"].get_xdata(), 100.0 * curve.response.level
    )
    assert len(lines["measured patches"].get_xdata()) == 21  # a doubtful one counts too
    doubtful = curve.summary.doubtful[0]
    assert lines["doubtful"].get_xdata() == pytest.approx([100.0 * doubtful.level])
    edges = [line.get_xdata()[0] for line in left.lines[-2:]]
    assert edges == [100.0 * curve.summary.level_black, 100.0 * curve.summary.level_white]
    ink, aim = right.lines
    np.testing.assert_allclose(ink.get_ydata(), 100.0 * curve.correction.level)
    np.testing.assert_allclose(aim.get_ydata(), curve.correction.print_lightness)
    for axes in (left, right):
        assert axes.get_xlabel()
        assert axes.get_ylabel()
        assert axes.get_legend() is not None


def test_patches_that_do_not_count_are_hollow_and_named(curve, drawn):
    settings = Settings(Aim(), (curve.summary.doubtful[0].patch,))
    plot_curve(make_curve(curve.readings, settings, Setup(), "without"))
    left, _ = drawn[0].axes
    lines = {line.get_label(): line for line in left.lines}
    assert len(lines["measured patches"].get_xdata()) == 20
    hollow = lines["do not count"]
    assert hollow.get_markerfacecolor() == "none"
    assert hollow.get_xdata() == pytest.approx([100.0 * curve.summary.doubtful[0].level])
    assert settings.left_out[0] in {text.get_text() for text in left.texts}


@pytest.mark.parametrize("power", [0.2, 1.0, 3.5])  # ink that blocks much, ink that blocks little
def test_no_reading_lies_under_the_legend(power, drawn):
    plot_curve(shelves.drawn("any", power))
    drawn[0].draw_without_rendering()  # it is laid out when it is drawn
    for axes, name in zip(drawn[0].axes, ("print lightness", "ink to print"), strict=True):
        box = axes.get_legend().get_window_extent()
        curve = next(line for line in axes.lines if line.get_label() == name)
        assert not np.any([box.contains(x, y) for x, y in
                           axes.transData.transform(curve.get_xydata())])


def test_a_renewal_shows_the_curve_before(curve, drawn):
    old = dataclasses.replace(curve, name="last year")
    plot_curve(curve, old)
    for axes in drawn[0].axes:
        assert "before: last year" in {line.get_label() for line in axes.lines}
    plot_curve(curve)
    assert not any("before" in str(line.get_label()) for axes in drawn[1].axes
                   for line in axes.lines)


def test_the_same_curve_gives_the_same_bytes(curve):
    assert plot_curve(curve) == plot_curve(curve)


def test_no_window_system_is_touched():
    # in a process of its own: other libraries load pyplot for themselves
    script = ("import sys, tonewright.show.plots as p; p.plot_prints([('a', p.np.ones((4, 4)))"
              " ] * 2); print('matplotlib.pyplot' in sys.modules)")
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.stdout.strip() == "False", done.stderr


def process(stops):
    room = Darkroom()
    time = PrintingTime(round(room.base_time * 2.0**stops))
    tablet = nominal_tablet("31")
    read = measure_strip(room, tablet.density, time.value, seed=4)
    strip = Strip(tuple(StripPatch(int(s), float(d), None, "film", time, None)
                        for s, d in zip(read.step, read.density_film, strict=True)),
                  "visual-density", ())
    return make_process(strip, tablet, Setup(), "kallitype")


def words_of(axes):
    return " ".join([*(t.get_text() for t in axes.texts),
                     *(t.get_text() for t in axes.get_legend().get_texts())])


def test_a_strips_picture_marks_no_time_and_no_band_that_is_not_known(drawn):
    plot_process(process(0.3))
    plot_process(process(-1.5))
    assert picture(drawn[1]).std() > 10
    known, short = (words_of(figure.axes[0]) for figure in drawn)
    assert "base printing time" in known
    assert "95 %" in known
    assert "base printing time" not in short
    assert "95" not in short
    assert "strip's time" in short
    steps = next(line for line in drawn[1].axes[0].lines if "film" in str(line.get_label()))
    assert max(steps.get_xdata()) == pytest.approx(0.0)  # step 1, at its own time


def test_error_picture_says_the_mean_error(drawn):
    tone = np.linspace(0, 100, 11)
    plot_errors(tone, [("old", np.full(11, 3.0)), ("new", np.zeros(11))], "What moved")
    assert picture(drawn[0]).std() > 10
    (axes,) = drawn[0].axes
    assert axes.get_title() == "What moved"
    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert "old: 3.0 L* on the whole" in labels
    assert "new: 0.0 L* on the whole" in labels


def test_prints_side_by_side_on_the_scale_of_lightness(drawn):
    dark, light = np.full((20, 30), 20.0), np.full((20, 30), 90.0)
    plot_prints([("dark", dark), ("light", light)])
    assert picture(drawn[0]).std() > 10
    axes = drawn[0].axes
    assert [a.get_title() for a in axes] == ["dark", "light"]
    for a, lightness in zip(axes, (20.0, 90.0), strict=True):
        (image,) = a.images
        assert image.get_clim() == (0.0, 100.0)
        assert image.get_array().mean() == lightness
