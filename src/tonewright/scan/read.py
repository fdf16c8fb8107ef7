"""From the scan of a printed target to the density of each of its patches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.errors import ImageError, OptionError
from tonewright.frozen import dataclass
from tonewright.measured.findings import GrayScaleInOtherLight
from tonewright.numeric.robust import (
    expected_at,
    median_among_neighbours,
    rank_correlation,
    robust_spread,
)
from tonewright.record.findings import Finding
from tonewright.scales import Array
from tonewright.scan import findings
from tonewright.scan.beside import read_beside
from tonewright.scan.flat import Flat, in_even_light, light_at
from tonewright.scan.image import CLIPPED, SCAN_PLAINLY, Scan
from tonewright.scan.place import Located, locate
from tonewright.scan.response import (
    learn_in_light,
    response_from_known_patches,
    response_from_profile,
)
from tonewright.scan.sample import BLOCKS, MOST_CLIPPED, Sample, midmean, sample_patch
from tonewright.scan.scanner import ScannerResponse
from tonewright.scan.steps import StepRow
from tonewright.scan.uneven import Unevenness, find_unevenness
from tonewright.target.document import Patch, Target

_WHITE_NAMES, _BLACK_NAMES = ("full", "white"), ("clear", "black")
_GROSS_BLOCK = 5.0
"""Standard deviations from the rest of its patch at which a square is a scratch or a stain."""
_LEAST_BLOCK = 0.02
"""Density by which it must differ as well."""
_SPOILT = 0.08
"""Share of a patch's squares at which it is said to be doubtful."""
_LOOK = "look at the line of text on the print, and name that target's .target.json"



Way = Literal["scanner", "gray_scale_beside", "known_patches", "profile"]
Lamp = Literal["plain_sheet", "plain_sheet_for_print", "known_patches", "not_evened"]

LAMP_SD: dict[Lamp, float] = {
    "plain_sheet": 0.003, "plain_sheet_for_print": 0.02, "known_patches": 0.01, "not_evened": 0.02}
"""Density by which the light of two places on the glass differs: lamps fall off by up to 15
percent (0.07) from the lightest place to the darkest."""


@dataclass(frozen=True)
class DensityBasis:
    """Where densities come from."""

    way: Way
    lamp: Lamp
    """What the unevenness of the lamp was judged by; of the print alone, if the response was learnt
    without the plain sheet."""
    sd_density: float
    """Standard deviation of the mean error of all patches: they are off together."""


@dataclass(frozen=True)
class ReadSettings:
    """What the scan itself does not say."""

    response: ScannerResponse | None = None
    """From a scan of known densities; the surest."""
    known: Mapping[str, float] = field(default_factory=dict)
    """Densities of patches by name, instead of a response or to set its lamp right; ``white``
    (or ``full``) and ``black`` (or ``clear``) stand for all reference patches of that kind."""
    corners: ArrayLike | None = None
    """Centres of the marks by hand, see `locate`."""
    flat: Flat | None = None
    """Of a plain white sheet: the lamp's unevenness."""
    beside: Array | None = None
    """Known densities of a gray scale that lies beside the print in this scan, in the order of its
    steps, shape (n,), instead of a response; see `read_beside`."""
    beside_corners: ArrayLike | None = None
    """Where it lies; None: it is looked for."""


@dataclass(frozen=True)
class PatchReading:
    """One patch as read."""

    patch: Patch
    density: float | None
    """None: the scan does not show it."""
    density_sd: float | None
    code: float
    """In the scan's own encoding, 0 (black) to 1; that of a print even if the scan is inverted."""
    clipped: float
    """Share of its pixels that are clipped, 0 to 1."""
    doubts: tuple[findings.Doubt, ...]
    """What may be wrong with it."""
    kept: tuple[bool, ...] = ()
    """Which of its squares were read, row by row; the rest is scratched or stained."""


@dataclass(frozen=True, eq=False)
class ScanReading:
    """A target as read from a scan."""

    target: Target
    located: Located
    patches: tuple[PatchReading, ...]
    """In the order of the target."""
    response: ScannerResponse
    unevenness: Unevenness
    basis: DensityBasis
    findings: tuple[Finding, ...]
    """What was found of the whole; for single patches see their doubts."""
    gray_scale: StepRow | None = None
    """The gray scale beside the print; None without one."""

    @property
    def doubtful(self) -> tuple[PatchReading, ...]:
        """The patches with doubts."""
        return tuple(p for p in self.patches if p.doubts)

    @property
    def density_sd_median(self) -> float:
        """Of the patches that could be read."""
        return float(np.median([p.density_sd for p in self.patches if p.density_sd is not None]))


def read_target_scan(
    scan: Scan, target: Target, settings: ReadSettings | None = None
) -> ScanReading:
    """Find the print in the scan and read the density of every patch.

    Raises `ImageError`: marks not found, another target, a cropped or clipped scan, a scan too
    coarse, tones that do not follow the ink; `OptionError`: corners or known patches that cannot
    be; nothing that says what the codes mean.
    """
    settings = settings or ReadSettings()
    if settings.response is not None and settings.beside is not None:
        raise OptionError("a scanner response is given, and a gray scale beside the print as well",
                          "one of them says what the scan's values mean", "leave one out",
                          code="response_twice")
    located = locate(scan.pixels, target, settings.corners)
    if not target.dots:
        located = _right_way_up(scan.pixels, target, located)
    samples = [_sample(scan.pixels, located, patch) for patch in target.patches]
    _check_coarse(target, samples)
    sure = [s for s in samples if s is not None]
    _check_exposure(target, sure)
    codes = np.array([s.code for s in sure])
    if target.is_ink_chart:
        _check_chart(target, codes)
    else:
        _check_order(target, codes, by_hand=located.by_hand)
    places = located.placement.to_scan(target.patch_centres)
    row: StepRow | None = None
    more: tuple[Finding, ...] = ()
    if settings.beside is not None:
        row, learned = read_beside(scan, target, located, settings.beside, settings.flat,
                                   settings.beside_corners)
        settings = replace(settings, response=learned)
        more = tuple(f for f in learned.findings if f not in scan.findings)
    response, found = _response(scan, target, sure, places, settings)
    light, lit = light_at(scan, places, response, settings.flat)
    if settings.known:  # they set the light of the gray scale right
        lit = tuple(f for f in lit if not isinstance(f, GrayScaleInOtherLight))
    uneven, patches = _densities(scan, target, sure, response, light)
    unread = tuple(p.patch.name for p in patches if p.density is None)
    if len(unread) > len(patches) // 3:
        raise ImageError(f"{len(unread)} of {len(patches)} patches are clipped in the scan",
                         CLIPPED, SCAN_PLAINLY)
    basis = _basis(response, settings, codes, beside=row is not None)
    return ScanReading(target, located, patches, response, uneven, basis, (
        *scan.findings, *located.findings, *more, *found, *lit,
        *([findings.PatchesNotRead(unread)] if unread else [])), row)


def _right_way_up(pixels: NDArray[np.float32], target: Target, located: Located) -> Located:
    """Whether the scan is inverted, told by the patches: beside a picture the marks are drawn light
    on dark or dark on light."""
    plain = replace(located, light=True)
    samples = [_sample(pixels, plain, patch) for patch in target.patches]
    _check_coarse(target, samples)
    codes = [s.code for s in samples if s is not None]
    if rank_correlation(target.level, codes) >= 0.0:
        return plain
    return replace(located, light=False, findings=(*located.findings, findings.ScanInverted()))


def _sample(pixels: NDArray[np.float32], located: Located, patch: Patch) -> Sample | None:
    sample = sample_patch(pixels, located.placement, patch)
    if sample is None or located.light:
        return sample
    return Sample(1.0 - sample.blocks, sample.clipped_black, sample.clipped_white, sample.pixels)


# Checks of the whole


def _check_coarse(target: Target, samples: Sequence[Sample | None]) -> None:
    lost = [p.name for p, s in zip(target.patches, samples, strict=True) if s is None]
    if lost:
        raise ImageError(
            f"the scan is too coarse: patch {lost[0]} has fewer than 150 pixels",
            "a patch is judged from many pixels", "scan at 300 pixels to the inch or more")


def _check_exposure(target: Target, samples: Sequence[Sample]) -> None:
    """A scan that is clipped where paper white or full black lies is no measurement."""
    for kind, end, what in (("full", "white", "paper white"), ("clear", "black", "full black")):
        shares = [getattr(s, f"clipped_{end}")
                  for p, s in zip(target.patches, samples, strict=True) if p.kind == kind]
        if shares and np.median(shares) > 0.25:
            raise ImageError(
                f"the scan is clipped to {end}: {float(np.median(shares)):.0%} of the pixels of"
                f" its {what} patches are at the end of its range", CLIPPED, SCAN_PLAINLY)


def _check_order(target: Target, codes: Array, *, by_hand: bool) -> None:
    """More ink prints lighter; else the document is another target's, whatever its border."""
    level = target.level
    if np.ptp(codes) < 0.02:
        raise ImageError(
            f"the patches differ by {np.ptp(codes):.1%} of the scan's range only",
            "a printed target runs from black to paper white",
            "check that this is the scan of the finished print, and its exposure")
    agreement = rank_correlation(level, codes)
    if agreement < 0.7:
        given = f"the patches' tones do not follow the ink (agreement {agreement:.2f} of 1)"
        rule = "more ink on the film prints lighter"
        if by_hand:
            raise ImageError(given, rule, "check that the corners are the centres of the marks"
                             " with 1, 2, 3 and 4 spots, in that order", code="mark_corners")
        raise ImageError(given, rule, _LOOK)


def _check_chart(target: Target, codes: Array) -> None:
    """On a chart of inks nothing says which ink prints lighter; but full black ink prints lighter
    than clear film, and patches of one ink print alike."""
    black, white = ([i for i, u in enumerate(target.level) if u == 0.0], target.of_kind("full"))
    clear, full = (float(np.median(codes[list(some)])) if some else fallback
                   for some, fallback in ((black, 0.0), (white, 1.0)))
    like = target.like
    means = np.array([codes[like == one].mean() for one in like])
    among, within = float(np.var(means)), float(np.var(codes - means))
    if full - clear < 0.02 or within > among:
        raise ImageError(
            f"the patches' tones do not go with the chart (full ink {full:.0%} of the scan's"
            f" range, clear film {clear:.0%})",
            "full ink prints lighter than clear film, and patches of one ink print alike", _LOOK)


# What codes mean


def _response(
    scan: Scan, target: Target, samples: Sequence[Sample], places: Array, settings: ReadSettings
) -> tuple[ScannerResponse, tuple[Finding, ...]]:
    """The response to use, and what is to be said of it; ``places`` of the patches in the scan,
    shape (n, 2)."""
    given, flat = settings.response, settings.flat
    known = _known_patches(target, samples, places, settings.known)
    if given is not None:
        taken = given.check_taken(scan)
        if not settings.known:
            return given, taken
        shift = _shift(given, known, light_at(scan, known.places, given, flat)[0])
        return given.shifted(shift), (*taken, findings.DensitiesShifted(shift))

    def learn(density: Array) -> ScannerResponse:
        return response_from_known_patches(density, known.code, known.code_sd, scan=scan)

    response = response_from_profile(scan, _BESIDE) if not settings.known else \
        learn_in_light(learn, known.density, scan, flat, known.places)
    return response, response.findings


_BESIDE = ("; or lay the gray scale beside the print in the same scan, and name the list of its"
           " densities; or say how dense two patches are")


@dataclass(frozen=True, eq=False)
class _KnownPatches:
    """Arrays of shape (n,), one entry for each name that was given."""

    density: Array
    code: Array
    code_sd: Array
    places: Array
    """In the scan, shape (n, 2); of several patches of one name, their middle."""


def _known_patches(
    target: Target, samples: Sequence[Sample], places: Array, known: Mapping[str, float]
) -> _KnownPatches:
    code, code_sd, where = [], [], []
    for name in known:
        members = _members(target, name)
        codes = np.array([samples[i].code for i in members])
        code.append(float(np.median(codes)))
        scatter = robust_spread(codes - np.median(codes)) if codes.size > 2 else 0.0
        code_sd.append(max(scatter / np.sqrt(codes.size), 0.002 * code[-1]))
        where.append(places[list(members)].mean(axis=0))
    return _KnownPatches(np.array(list(known.values())), np.array(code), np.array(code_sd),
                         np.array(where))


def _shift(response: ScannerResponse, known: _KnownPatches, light: Array | None) -> float:
    """The density by which known patches set the light of this scan right.

    A lamp that is darker where the print lay than where the gray scale lay adds one density to
    all.
    """
    off = known.density - in_even_light(response.density_of(known.code)[0], light, response.flare)
    shift = float(np.median(off))
    if abs(shift) > 0.2 or float(np.ptp(off)) > 0.15:
        raise OptionError(
            "the known patches differ from the scanner response by "
            + ", ".join(f"{d:+.2f}" for d in off) + " in density",
            "a lamp changes all densities alike, by less than 0.2",
            "check the densities of the known patches, and that the gray scale was scanned with"
            " the same settings as the print", code="known_patches")
    return shift


def _members(target: Target, name: str) -> tuple[int, ...]:
    """Indices of the patches that the name of a known patch stands for."""
    wanted = name.strip().lower()
    found: Sequence[int] = ()
    for names, kind, level in ((_WHITE_NAMES, "full", 1.0), (_BLACK_NAMES, "clear", 0.0)):
        if wanted in names:
            found = [i for i, p in enumerate(target.patches) if p.kind == kind] or \
                np.flatnonzero(target.level == level).tolist()
    found = found or [i for i, p in enumerate(target.patches) if p.name.lower() == wanted]
    if not found:
        raise OptionError(
            f"the target has no patch {name!r}, whose density is given",
            f"its patches are {target.ends}"
            + (", and white and black for its reference patches" if target.of_kind("full")
               else "; none is of clear film or full ink"),
            "look the name up on the print: row letter and column number", code="known_patches")
    return tuple(found)


def _basis(
    response: ScannerResponse, settings: ReadSettings, codes: Array, *, beside: bool
) -> DensityBasis:
    """The basis of a print read by a response; ``codes`` of the patches, shape (n,); ``beside``: it
    was learnt from a gray scale in the same scan."""
    known = bool(settings.known)
    way: Way = "gray_scale_beside" if beside else \
        "scanner" if response.basis == "gray_scale" else response.basis
    lamp: Lamp = "known_patches" if known else "not_evened"
    if settings.flat is not None:
        own_light = response.basis == "gray_scale" and response.flat is None and not known
        lamp = "plain_sheet_for_print" if own_light else "plain_sheet"
    own = float(np.median(response.density_of(codes)[1]))
    return DensityBasis(way, lamp, round(float(np.hypot(own, LAMP_SD[lamp])), 4))


# Densities


def _densities(
    scan: Scan, target: Target, samples: Sequence[Sample], response: ScannerResponse,
    light: Array | None,
) -> tuple[Unevenness, tuple[PatchReading, ...]]:
    blocks = np.stack([s.blocks for s in samples])
    density = in_even_light(response.density_of(blocks)[0],
                            None if light is None else light[:, None], response.flare)
    # one step of an 8-bit code is 0.03 in density in the blacks
    grain = response.density_per_code(np.nanmedian(blocks, axis=1)) / ((1 << scan.bits) - 1)
    clean = _clean_blocks(density, target.like, grain)
    spoilt = 1.0 - clean.mean(axis=1)
    value = np.array([midmean(d[c]) for d, c in zip(density, clean, strict=True)])
    code = np.array([midmean(b[c]) for b, c in zip(blocks, clean, strict=True)])
    own_sd = np.array([_scatter(d[c]) for d, c in zip(density, clean, strict=True)])
    _, response_sd, inside = response.density_of(code)
    seen = np.array([s.clipped <= MOST_CLIPPED for s in samples]) & np.isfinite(value)
    uneven = find_unevenness(target.like, np.where(seen, value, np.nan), own_sd,
                             target.patch_centres, spoilt < _SPOILT)
    noise = np.maximum(own_sd, uneven.scatter)
    noise = np.hypot(noise, grain / np.sqrt(12.0 * BLOCKS))
    sd = np.sqrt(noise**2 + response_sd**2 + uneven.shift_sd**2)
    sd = np.where(uneven.gross, np.hypot(sd, np.nan_to_num(uneven.off)), sd)
    return uneven, tuple(
        PatchReading(
            patch, float(value[i] - uneven.shift[i]) if seen[i] else None,
            float(max(sd[i], 1e-4)) if seen[i] else None, float(code[i]), samples[i].clipped,
            _doubts(patch.name, samples[i], None if inside[i] else response, float(spoilt[i]),
                    float(uneven.off[i]) if uneven.gross[i] else None),
            tuple(map(bool, clean[i])))
        for i, patch in enumerate(target.patches))


def _clean_blocks(density: Array, level: Array, grain: Array) -> NDArray[np.bool_]:
    """Which squares of each patch, shape (n, squares), are neither scratched nor stained.

    Judged against the scatter usual for patches of about that density: a stain cannot hide by
    making its own patch look rough.  ``grain`` is the density of one step of the scan's codes,
    shape (n,).  Where half a patch is stained, the half that suits the other patches counts.
    """
    middle = np.nanmedian(density, axis=1)
    away = density - middle[:, None] - _slopes(density - middle[:, None])
    usual = median_among_neighbours(1.4826 * np.nanmedian(np.abs(away), axis=1), middle)
    limit = np.maximum(_GROSS_BLOCK * np.maximum(usual, 1e-4), _LEAST_BLOCK) + grain
    clean = np.abs(away) <= limit[:, None]
    _choose_half(density, level, clean)
    clean = _without_neighbours(clean)
    # what is left must be most of the patch; otherwise nothing tells stain from patch
    hopeless = clean.mean(axis=1) < 0.4
    clean[hopeless] = np.isfinite(density[hopeless])
    return np.asarray(clean)


def _choose_half(density: Array, level: Array, clean: NDArray[np.bool_]) -> None:
    """In patches of two halves, take the one that suits the sound patches; `clean` is changed."""
    spoilt = 1.0 - clean.mean(axis=1)
    sound = spoilt < _SPOILT
    if sound.sum() < 5:
        return
    means = np.array([midmean(d) for d in density[sound]])
    for i in np.flatnonzero(spoilt >= 0.3):
        expected = expected_at(level[i], level[sound], means)
        other = ~clean[i] & np.isfinite(density[i])
        here, there = (abs(midmean(density[i][part]) - expected) for part in (clean[i], other))
        if there < 0.5 * here:
            centre = midmean(density[i][other])
            clean[i] = np.abs(density[i] - centre) <= max(abs(here - there) / 3.0, _LEAST_BLOCK)


def _without_neighbours(clean: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Squares beside a spoilt one left out as well, where enough remain: stains fade out."""
    side = int(np.sqrt(clean.shape[1]))
    padded = np.pad(clean.reshape(-1, side, side), ((0, 0), (1, 1), (1, 1)), constant_values=True)
    narrow = (padded[:, 1:-1, 1:-1] & padded[:, :-2, 1:-1] & padded[:, 2:, 1:-1]
              & padded[:, 1:-1, :-2] & padded[:, 1:-1, 2:]).reshape(clean.shape)
    return np.where(narrow.mean(axis=1, keepdims=True) >= 0.3, narrow, clean)


def _slopes(away: Array) -> Array:
    """Gentle slopes across patches: differences of like halves, by medians, shape as given."""
    side = int(np.sqrt(away.shape[1]))
    square = away.reshape(-1, side, side)
    ramp = (np.arange(side) - (side - 1) / 2.0) / side
    half = side // 2
    down = (np.nanmedian(square[:, -half:], axis=(1, 2))
            - np.nanmedian(square[:, :half], axis=(1, 2)))
    across = (np.nanmedian(square[:, :, -half:], axis=(1, 2))
              - np.nanmedian(square[:, :, :half], axis=(1, 2)))
    # a slope steeper than any lamp's is the edge of a stain
    down, across = (np.clip(2.0 * s, -0.02, 0.02) for s in (down, across))
    plane = down[:, None, None] * ramp[:, None] + across[:, None, None] * ramp
    return np.asarray(plane.reshape(away.shape))


def _scatter(blocks: Array) -> float:
    """Standard deviation of a patch's mean, from its squares; neighbours count as half."""
    kept = blocks[np.isfinite(blocks)]
    if kept.size < 4:
        return float("nan")
    spread = max(robust_spread(kept - np.median(kept)), 1e-5)
    return float(spread / np.sqrt(kept.size / 2.0))


def _doubts(
    patch: str, sample: Sample, beyond: ScannerResponse | None, spoilt: float, off: float | None
) -> tuple[findings.Doubt, ...]:
    """What may be wrong with a patch; ``beyond``: the response that does not reach it."""
    doubts: list[findings.Doubt] = []
    if sample.clipped > MOST_CLIPPED:
        white = sample.clipped_white > sample.clipped_black
        doubts.append(findings.PatchClipped(patch, "white" if white else "black", sample.clipped))
    elif beyond is not None:
        doubts.append(
            findings.PatchOutsideResponse(patch, beyond.lightest_density, beyond.darkest_density))
    if spoilt >= _SPOILT:
        doubts.append(findings.PatchSpoilt(patch, spoilt))
    if off is not None:
        doubts.append(findings.PatchUnlike(patch, off))
    return tuple(doubts)
