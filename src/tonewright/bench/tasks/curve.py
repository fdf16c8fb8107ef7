"""A curve as it is asked for: from readings, with or without a strip, towards an aim."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tonewright.bench.tasks.views import View, view
from tonewright.curve.document import Curve
from tonewright.curve.findings import InkToSpare
from tonewright.curve.prints import patch_places
from tonewright.files.curves import FitFiles, ReadingFiles, SetupFiles, fit_files
from tonewright.measured.findings import PatchesDoubted
from tonewright.record.provenance import document_name
from tonewright.record.setup import Setup
from tonewright.record.times import parse_time
from tonewright.show import commands
from tonewright.show.charts import curve_charts
from tonewright.show.curve_text import curve_advice, curve_facts, found_in, patch_words


@dataclass(frozen=True)
class CurveView:
    """A curve as the page shows it."""

    view: View
    correction: dict[str, object]
    """The picture of the correction; that of the response is the view's."""
    patches: tuple[tuple[str, str | None], ...]
    """Name, and of those that are doubtful or do not count what is to be said of them."""


def try_curve(asked: commands.Fit) -> CurveView:
    """What the curve would be; nothing is written."""
    curve = fit_files(replace(_files(asked), output=None))
    return _view(replace(curve, name=document_name(asked.output.name)))


def keep_curve(asked: commands.Fit) -> CurveView:
    """Write the curve."""
    return _view(fit_files(_files(asked)), str(asked))


def _files(asked: commands.Fit) -> FitFiles:
    setup = SetupFiles(Setup(date=asked.date or None), asked.setup)
    return FitFiles(
        asked.output, None, ReadingFiles(asked.readings), setup, asked.aim, asked.leave_out, None,
        asked.process,
        parse_time(asked.target_time) if asked.target_time else None)


def _view(curve: Curve, command: str | None = None) -> CurveView:
    response, correction = curve_charts(curve)
    found = curve.summary
    # doubtful patches stand in a list of their own, to be left out there; the line on the negative
    # tells of ink to spare
    findings = [f for f in found_in(curve) if not isinstance(f, (PatchesDoubted, InkToSpare))]
    return CurveView(
        view(curve_facts(curve), findings, curve_advice(curve), chart=response,
             result=f"L* {found.black_lightness:.0f} to {found.white_lightness:.0f}",
             command=command),
        correction,
        tuple((p.name, None if p.counts and not p.doubtful else patch_words(p))
              for p in patch_places(curve)))
