"""From the codes of a scan to print densities.

A flatbed turns the light that a print reflects into a code: a gain, a little stray light (flare)
that blacks get as well, and a tone encoding.  Two stages describe it:

1. ``R = 10^-D = gain * (light(code)^power - stray)``, where ``light`` is what the embedded profile
   or, without one, the usual power 2.2 says of a code.  Its three numbers have prior beliefs, so
   that two known patches, or none, still give an answer with the uncertainty it deserves.
2. With a gray scale: a smooth non-decreasing curve from the density of stage 1 to
   the known one (`numeric.monotone`), which takes up whatever else the scanner program does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from tonewright import scales
from tonewright.errors import OptionError, ReadingsError, counted
from tonewright.frozen import dataclass
from tonewright.measured.findings import DensitiesByProfile, RowEndMerges
from tonewright.numeric.monotone import SmoothSettings, fit_smooth
from tonewright.numeric.robust import rank_correlation
from tonewright.numeric.threads import one_blas_thread
from tonewright.record.findings import Finding
from tonewright.record.provenance import made_by
from tonewright.scales import Array
from tonewright.scan.findings import (
    DensitiesByKnownPatches,
    GrayScaleClipped,
    GrayScaleShort,
    ResponseEndsEarly,
)
from tonewright.scan.flat import Flat, in_even_light
from tonewright.scan.image import SCAN_PLAINLY, Scan
from tonewright.scan.scanner import (
    CLIPPED_BLACK,
    CLIPPED_WHITE,
    Basis,
    KnownStep,
    ScannerResponse,
)
from tonewright.scan.steps import StepRow

LEAST_STEPS, ENOUGH_STEPS = 5, 12
USUAL_BLACK = 1.6
"""What the blacks of coated papers reach."""
LIGHTER, DARKER = 0.10, 0.05
"""How far past its lightest and darkest known density a response is trusted."""
_WORST_SD = 0.12
"""Where the response itself is less certain than this, it says that it does not know."""
_LIST_SD = 0.004
"""A list of densities is rounded to 0.01 and its maker's instrument is no better than this."""
_UNMODELLED_SD: dict[Basis, float] = {"gray_scale": 0.003, "known_patches": 0.015, "profile": 0.03}
_NODES = 241


# Stage 1: three numbers with prior beliefs


# An embedded profile is right to a few percent in its power and, as a scanner's white is not the
# perfect diffuser, to some 5 percent in its gain.  Without one the encoding lies anywhere from
# linear light to gamma 2.6; a gray scale settles it.  Flare of a flatbed: mostly 0.1 to 1 %.
_PRIORS: dict[tuple[Basis, bool], tuple[tuple[float, ...], tuple[float, ...]]] = {
    ("profile", True): ((0.0, 0.003, -0.03), (0.04, 0.003, 0.05)),
    ("known_patches", True): ((0.0, 0.003, 0.0), (0.06, 0.01, 0.5)),
    ("known_patches", False): ((0.0, 0.003, 0.0), (0.2, 0.01, 0.5)),
    ("gray_scale", True): ((0.0, 0.003, 0.0), (0.7, 0.03, 1.0)),
    ("gray_scale", False): ((0.0, 0.003, 0.0), (0.7, 0.03, 1.0)),
}
"""Mean and standard deviation of log power, stray light and log gain, with a profile or without."""


@dataclass(frozen=True)
class _Physical:
    """The model of stage 1 with its numbers and their covariance."""

    light: Callable[[Array], Array]
    numbers: Array
    covariance: Array

    def density(self, code: Array, numbers: Array | None = None) -> Array:
        log_power, stray, log_gain = self.numbers if numbers is None else numbers
        seen = self.light(code) ** np.exp(log_power) - stray
        # softly kept above nothing: codes below the flare have no density of their own
        kept = 0.5 * (seen + np.sqrt(seen**2 + 1e-7))
        return np.asarray(-np.log10(kept) - log_gain / np.log(10.0))

    def slopes(self, code: Array) -> Array:
        """Derivatives of the density by the three numbers, shape (n, 3)."""
        columns = []
        for i in range(3):
            step = np.zeros(3)
            step[i] = 1e-5
            ahead, behind = (self.density(code, self.numbers + s * step) for s in (1.0, -1.0))
            columns.append((ahead - behind) / 2e-5)
        return np.stack(columns, axis=1)

    def sd(self, code: Array) -> Array:
        slope = self.slopes(code)
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", slope, self.covariance, slope)))

    def per_code(self, code: Array) -> Array:
        step = 1e-4
        ahead = self.density(np.minimum(code + step, 1.0))
        behind = self.density(np.maximum(code - step, 0.0))
        return np.asarray(np.abs(ahead - behind) / (2.0 * step))


def _light_of(lightness: Array | None) -> Callable[[Array], Array]:
    if lightness is None:
        return lambda code: np.asarray(np.maximum(code, 0.0) ** 2.2)
    codes = np.linspace(0.0, 1.0, lightness.size)
    light = scales.lightness_to_luminance(lightness) / 100.0
    return lambda code: np.asarray(np.maximum(np.interp(code, codes, light), 0.0))


@one_blas_thread
def _fit_physical(
    steps: Sequence[KnownStep], lightness: Array | None, basis: Basis
) -> _Physical:
    """The three numbers that suit the known densities and the prior beliefs best."""
    from scipy.optimize import least_squares

    mean, sd = map(np.array, _PRIORS[basis, lightness is not None])
    model = _Physical(_light_of(lightness), mean, np.diag(sd**2))
    if not steps:
        return model
    known, code, code_sd = _columns(steps)
    for _ in range(3):  # the noise of a code weighs as much as the slope makes of it
        spread = np.hypot(_LIST_SD + 0.006, code_sd * model.per_code(code))

        def misfit(
            numbers: Array, spread: Array = spread, model: _Physical = model
        ) -> Array:
            of_data = (model.density(code, numbers) - known) / spread
            return np.concatenate([of_data, (numbers - mean) / sd])

        starts = [model.numbers, mean, mean + np.array([-0.7, 0.0, 0.0])]
        found = [least_squares(misfit, start, x_scale=sd) for start in starts]
        best = min(found, key=lambda result: float(result.cost))
        jacobian = np.asarray(best.jac)
        spread_of_numbers = np.linalg.inv(jacobian.T @ jacobian).astype(np.float64)
        model = _Physical(model.light, np.asarray(best.x), spread_of_numbers)
    return model


# Responses


def response_from_gray_scale(
    density: ArrayLike, code: ArrayLike, code_sd: ArrayLike, *, scan: Scan | None = None,
    name: str = "",
) -> ScannerResponse:
    """The response from a scan of a gray scale.

    ``density`` are the known densities of the steps, absolute, shape (n,), 12 or more for good
    results; ``code`` and ``code_sd`` their codes (0 to 1) in the scan and how well they are known,
    shape (n,).  The ``scan`` that they come from gives its profile; None: without one.

    Raises `ReadingsError`: too few steps; a scan clipped to white or black; codes that do not fall
    as the density rises: in the wrong order, or not the gray scale of this list.
    """
    steps = _steps(density, code, code_sd)
    findings = _check_clipping(steps)
    used = [s for s in steps if s.used]
    _check_direction(used, 16 if scan is None else scan.bits)
    model = _fit_physical(used, None if scan is None else scan.lightness, "gray_scale")
    known, codes, code_sds = _columns(used)
    from_model = model.density(codes)
    spread = np.hypot(_LIST_SD, code_sds * model.per_code(codes))
    low, high = from_model.min() - LIGHTER - 0.02, from_model.max() + DARKER + 0.02
    grid = np.linspace(low, high, _NODES)
    fit = fit_smooth(from_model, known, spread, grid,
                     SmoothSettings(order=2, noise_floor=0.3, prior_dof=4.0))
    residual = fit.fitted - known
    _check_smooth(known, residual)
    sd = np.sqrt(fit.sd**2 + _UNMODELLED_SD["gray_scale"] ** 2)
    response = _response(model, (_codes_at(model, grid), fit.value, sd), "gray_scale", steps, name)
    if len(steps) < ENOUGH_STEPS:
        findings += (GrayScaleShort(len(steps), ENOUGH_STEPS),)
    if response.darkest_density < USUAL_BLACK:
        findings += (ResponseEndsEarly(response.darkest_density),)
    return replace(response, findings=findings,
                   rms_density=round(float(np.sqrt(np.mean(residual**2))), 6))


def response_of_row(
    row: StepRow, density: ArrayLike, scan: Scan, name: str = "", flat: Flat | None = None
) -> ScannerResponse:
    """`response_from_gray_scale` of a scanned row, with what was found in the scan.

    With ``flat``, for the light in the middle of the glass: each step is taken for what it would
    be there.

    Raises `ReadingsError` as `response_from_gray_scale`, and for a row that may have one step
    more.
    """
    _check_end(row, scan.name)

    def learn(seen: Array) -> ScannerResponse:
        return response_from_gray_scale(seen, row.code[0], row.code_sd[0], scan=scan, name=name)

    response = learn_in_light(learn, np.asarray(density, dtype=np.float64), scan, flat,
                              row.centres())
    return replace(response, taken=scan.taken,
                   findings=(*scan.findings, *row.findings, *response.findings))


def _check_end(row: StepRow, name: str) -> None:
    """Refuse a row that was found and may go on: were it listed one step short, every step would
    be taken for its neighbour, and any smooth response would suit."""
    merging = next((f for f in row.findings if isinstance(f, RowEndMerges)), None)
    if merging is not None:
        steps = row.code.shape[1]
        raise ReadingsError(
            f"the row in {name} has {steps} steps, as the list has, but its {merging.end} end looks"
            " like one more", "one step too few in the list, and every density is wrong",
            f"count the steps. If there are {steps + 1}, list the one that is missing; if there are"
            f" {steps}, give the corners of the row by hand", code="row_corners")


def learn_in_light(
    learn: Callable[[Array], ScannerResponse], density: Array, scan: Scan, flat: Flat | None,
    places: Array,
) -> ScannerResponse:
    """A response for the light in the middle of the glass, learnt from known densities, shape (n,),
    at places (column, row) of the scan, shape (n, 2); without a flat, in the light as it is."""
    response = learn(density)
    if flat is None:
        return response
    flat.check_fits(scan)
    for _ in range(2):  # the light is read off the response, and the response off the light
        light = flat.light(scan, places, response)
        response = learn(in_even_light(density, 1.0 / light, response.flare))
    return replace(response, flat=flat.sha256)


def response_from_known_patches(
    density: ArrayLike, code: ArrayLike, code_sd: ArrayLike, *, scan: Scan | None = None,
) -> ScannerResponse:
    """The response from a few patches of known density: paper white and maximum black at least.

    Shapes and units as in `response_from_gray_scale`; between the patches the encoding is taken
    from the scan's profile, or from the usual power of 2.2, and the uncertainty says so.

    Raises `OptionError` for fewer than two, for patches too close together, clipped, or the wrong
    way round.
    """
    steps = _steps(density, code, code_sd)
    clipped = next((s for s in steps if not s.used), None)
    if clipped is not None:
        end = "white" if clipped.code > 0.5 else "black"
        raise OptionError(f"the patch of known density {clipped.density:g} is clipped to {end}",
                          "a clipped patch says nothing of the scanner", SCAN_PLAINLY)
    known, codes, _ = _columns(steps)
    if known.size < 2 or np.ptp(known) < 0.5:
        raise OptionError(
            "the known densities are " + (", ".join(f"{d:g}" for d in known) or "none"),
            "at least two are needed, 0.5 or more apart: paper white and maximum black",
            "measure both", code="known_patches")
    if np.any(np.diff(codes[np.argsort(known)]) > 0.0):
        raise OptionError(
            "a patch said to be denser is lighter in the scan", "a denser patch is darker",
            "check the names and densities of the known patches", code="known_patches")
    lightness = None if scan is None else scan.lightness
    model = _fit_physical(steps, lightness, "known_patches")
    response = _from_model(model, "known_patches", steps, float(known.min()), float(known.max()))
    return replace(response, findings=(DensitiesByKnownPatches(lightness is not None),))


def response_from_profile(scan: Scan, or_else: str = "") -> ScannerResponse:
    """The response that the embedded profile alone promises, with a wide uncertainty.

    ``or_else`` names other ways out of having none.

    Raises `OptionError` if the scan carries no profile.
    """
    if scan.lightness is None:
        raise OptionError(
            f"{scan.name} carries no ICC profile, and nothing else says what its values mean",
            "a scan is not density until it is compared with something known",
            "scan a gray scale of known densities and use the scanner response made from it"
            f"{or_else}", code="scanner_unknown")
    model = _fit_physical((), scan.lightness, "profile")
    return replace(_from_model(model, "profile", (), 0.0, 2.0),
                   findings=(DensitiesByProfile(scan.name),))


def _steps(density: ArrayLike, code: ArrayLike, code_sd: ArrayLike) -> tuple[KnownStep, ...]:
    lists = [np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (density, code, code_sd)]
    if len({a.shape for a in lists}) != 1:
        raise ReadingsError(
            f"there are {lists[0].size} densities and {lists[1].size} steps in the scan",
            "each step has one density",
            "count the steps of the gray scale, and list one density for each")
    check_known(lists[0])
    return tuple(
        KnownStep(float(d), round(float(c), 8), round(max(float(s), 1e-5), 8),
                  CLIPPED_BLACK < float(c) < CLIPPED_WHITE)
        for d, c, s in zip(*lists, strict=True))


def check_known(density: Array) -> None:
    """Raise `ReadingsError` for densities, shape (n,), that no gray scale has."""
    wrong = density[~((density > -0.05) & (density < 6.0))]
    if wrong.size:
        raise ReadingsError(f"the list holds a density of {wrong[0]:g}",
                            "densities of a gray scale lie from 0 to 6", "correct the list")


def check_listed(density: Array) -> None:
    """Raise `ReadingsError` for densities, shape (n,), of no row of steps that can be found."""
    check_known(density)
    _check_many(density.size)
    rise = np.diff(density)
    wrong = np.flatnonzero(rise * np.sign(density[-1] - density[0]) <= 0.0)
    if wrong.size:
        step = int(wrong[0]) + 1
        raise ReadingsError(
            f"the list goes from {density[0]:g} to {density[-1]:g}, but from step {step} to"
            f" {step + 1} by {rise[step - 1]:+.3g}",
            "the densities of a gray scale rise from step to step, or fall",
            "list them in the order of the steps, each once")


def _columns(steps: Sequence[KnownStep]) -> tuple[Array, Array, Array]:
    """Density, code and its deviation of some steps, each of shape (n,)."""
    density, code, code_sd = np.array([(s.density, s.code, s.code_sd) for s in steps]).reshape(
        -1, 3).T
    return density, code, code_sd


def _check_clipping(steps: Sequence[KnownStep]) -> tuple[Finding, ...]:
    """What is to be said of clipped steps; `ReadingsError` if they are too many."""
    white = sum(s.code >= CLIPPED_WHITE for s in steps)
    black = sum(s.code <= CLIPPED_BLACK for s in steps)
    if not white + black:
        _check_many(len(steps))
    if len(steps) - white - black < LEAST_STEPS or white > 2 or black > max(2, len(steps) // 3):
        raise ReadingsError(
            f"of {len(steps)} steps, {white} are clipped to white and {black} to black",
            "a clipped step says nothing of the scanner", SCAN_PLAINLY)
    return (GrayScaleClipped(white, black),) if white + black else ()


def _check_many(steps: int) -> None:
    if steps < LEAST_STEPS:
        raise ReadingsError(f"the gray scale has {counted(steps, 'step')}",
                            f"at least {LEAST_STEPS} are needed, {ENOUGH_STEPS} or more are better",
                            "scan a gray scale with more steps")


_OTHER_LIST = (
    "check that the list belongs to this gray scale, begins with the step at the left edge, and"
    " leaves none out; corners given by hand begin at the top left of step 1"
)


def _check_direction(steps: Sequence[KnownStep], bits: int) -> None:
    """Codes must fall as the density rises, but for noise, rounding and the lamp's slope."""
    density, code, slack = (a[np.argsort([s.density for s in steps], kind="stable")]
                            for a in _columns(steps))
    if rank_correlation(-code, density) < -0.8:
        raise ReadingsError(
            "the steps get lighter in the scan where the list says denser",
            "a denser step is darker",
            "turn the list round, or give the corners from the other end of the gray scale (is the"
            " scan a negative? Scan it as a positive)", code="row_corners")
    rises = np.flatnonzero(np.diff(code) > 0.0045 * code[1:] + 1.0 / ((1 << bits) - 1)
                           + 3.0 * np.hypot(slack[1:], slack[:-1]))
    if rises.size:
        a, b = density[rises[0]], density[rises[0] + 1]
        raise ReadingsError(f"the step of density {b:g} is lighter in the scan than that of {a:g}",
                            "a denser step is darker", _OTHER_LIST)


def _check_smooth(density: Array, residual: Array) -> None:
    """A gray scale that is not the one of the list leaves a large scatter."""
    middle = density < 2.0
    rms = float(np.sqrt(np.mean(residual[middle] ** 2))) if middle.any() else 0.0
    if rms > 0.05:
        worst = int(np.argmax(np.abs(np.where(middle, residual, 0.0))))
        raise ReadingsError(
            f"the steps lie {rms:.2f} in density (RMS) from any smooth response; the worst is the"
            f" step of density {density[worst]:g}, by {residual[worst]:+.2f}",
            "the steps of a gray scale lie within 0.05 of one", _OTHER_LIST)


def _codes_at(model: _Physical, grid: Array) -> Array:
    """Codes at densities of stage 1, by looking them up in a fine table; falling."""
    code = np.linspace(0.0, 1.0, 65537) ** 2
    return np.asarray(np.interp(-grid, -model.density(code), code))


def _from_model(
    model: _Physical, basis: Basis, steps: tuple[KnownStep, ...], low: float, high: float
) -> ScannerResponse:
    """A response from stage 1 alone."""
    grid = np.linspace(low - LIGHTER - 0.02, high + DARKER + 0.15, _NODES)
    code = _codes_at(model, grid)
    sd = np.hypot(model.sd(code), _UNMODELLED_SD[basis])
    return _response(model, (code, grid, sd), basis, steps, basis)


def _response(
    model: _Physical, nodes: tuple[Array, Array, Array], basis: Basis,
    steps: tuple[KnownStep, ...], name: str,
) -> ScannerResponse:
    """The document, its nodes with falling codes and its range as far as it is certain."""
    code = nodes[0]
    kept = np.concatenate([[True], np.diff(code) < -1e-9]) & (code >= 0.0) & (code <= 1.0)
    code, density, sd = (a[kept] for a in nodes)
    known = [s.density for s in steps if s.used] or [0.0, 2.0]
    sure = (sd < _WORST_SD) & (density >= min(known) - LIGHTER) & (density <= max(known) + DARKER)
    if not sure.any():
        raise ReadingsError("the known steps leave the response uncertain everywhere",
                            f"a response is known to {_WORST_SD:g} in density at least somewhere",
                            _OTHER_LIST)
    log_power, stray, _ = model.numbers
    white = float(model.light(np.array([1.0]))[0] ** np.exp(log_power) - stray)
    half = float(model.light(np.array([0.5]))[0]) ** float(np.exp(log_power))
    return ScannerResponse(
        made_by=made_by(), name=name, date="", basis=basis,
        flare=round(float(max(stray, 0.0) / max(white, 1e-6)), 6),
        gamma=round(float(np.log(max(half, 1e-9)) / np.log(0.5)), 4),
        lightest_density=round(float(density[sure].min()), 4),
        darkest_density=round(float(density[sure].max()), 4), rms_density=None,
        code=_rounded(code, 8), density=_rounded(density, 6), density_sd=_rounded(sd, 6),
        known=steps)


def _rounded(values: Array, digits: int) -> Array:
    return np.array([round(float(v), digits) for v in values])
