"""The correction curve as a frozen document; evaluates with numpy alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright import scales
from tonewright.curve.aim import Aim, aim_from_dict
from tonewright.curve.responses import (
    NegativeResponse,
    PrintResponse,
    negative_from_dict,
    response_from_dict,
)
from tonewright.errors import DocumentError, OptionError
from tonewright.numeric.inverse import invert, invert_band
from tonewright.record.codec import decode, encode
from tonewright.record.provenance import check_header
from tonewright.record.schema import (
    NUMBER,
    TABLE,
    TABLES,
    TEXT,
    TEXTS,
    Rule,
    check_entries,
    check_names,
    is_number,
    or_none,
)
from tonewright.record.setup import Setup, setup_from_dict
from tonewright.record.tables import check_levels, table_from_dict
from tonewright.scales import Array

if TYPE_CHECKING:  # a negative needs none of what a curve was made from
    from tonewright.curve.recipe import Recipe
    from tonewright.measured.columns import Weighting
    from tonewright.measured.readings import Readings

FORMAT, VERSION = "tonewright-curve", 1
_Part = TypeVar("_Part")
ROWS = 1001
"""Rows of the correction table: every 0.1 L* of the image."""


@dataclass(frozen=True, eq=False)
class Correction:
    """``C``: image lightness to ink level, all arrays of shape (m,).

    ``image_lightness`` (L*) increases from 0 to 100; ``print_lightness`` is the aim within what
    the print can reach; ``level`` prints it; between ``level_low`` and ``level_high`` the true
    level lies 95 times in 100.
    """

    image_lightness: Array
    print_lightness: Array
    level: Array
    level_low: Array
    level_high: Array

    def to_dict(self) -> dict[str, list[float]]:
        """Arrays as lists."""
        return {f.name: getattr(self, f.name).tolist() for f in fields(self)}


@dataclass(frozen=True)
class Summary:
    """What was found, in numbers; None where it is not known."""

    black_lightness: float
    white_lightness: float
    level_black: float
    level_white: float
    noise_density_sd: float
    print_to_print_lightness_sd: float | None
    doubtful: tuple[dict[str, Any], ...]
    """Patch, level, off_by_density and deviations of each doubtful reading, worst first."""
    band_halfwidth_mean: float
    band_halfwidth_max: float
    least_sure_level: float
    negative_density_range: float | None
    warnings: tuple[str, ...]
    few_patches_followed: float | None = None
    """Which part (0 to 1) of the way that a few patches point to the curve was moved."""
    disagreement: float | None = None
    """How many times worse strips and targets agree than their readings should; None: they do."""


@dataclass(frozen=True)
class Settings:
    """What the fit was told, so that it can be done again."""

    aim: Aim
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ancestor:
    """The curve that this one renews."""

    name: str
    sha256: str
    setup: Setup


@dataclass(frozen=True, eq=False)
class Curve:
    """A finished correction curve with all that it came from."""

    name: str
    made_by: str
    setup: Setup
    settings: Settings
    summary: Summary
    response: PrintResponse
    correction: Correction
    readings: Readings | None
    """Those that lie on the curve; None where it was derived without such a print."""
    ancestor: Ancestor | None = None
    recipe: Recipe | None = None
    """What a curve by way of process and negative was made from; None for a plain fit."""
    negative: NegativeResponse | None = None
    """Printing density of the ink, where a process response made it known."""
    plan: tuple[float, ...] = ()
    """Ink levels that would help most if they were printed and measured next."""

    @property
    def scale(self) -> Weighting:
        """What the densities behind the curve were weighted with."""
        if self.readings is not None:
            return self.readings.scale
        assert self.recipe is not None
        return self.recipe.processes[self.recipe.process].strip.scale

    @property
    def relative_to_paper(self) -> bool:
        """Whether lightness counts from the bare paper."""
        return self.readings is not None and self.readings.relative_to_paper

    def level_at(self, image_lightness: ArrayLike) -> Array:
        """Ink level (0 to 1) for image lightness (L*, 0 to 100), any shape."""
        return np.asarray(np.interp(np.asarray(image_lightness, dtype=np.float64),
                                    self.correction.image_lightness, self.correction.level))

    def print_lightness_at(self, image_lightness: ArrayLike) -> Array:
        """Print lightness (L*) aimed at for image lightness (L*, 0 to 100), any shape."""
        return np.asarray(np.interp(np.asarray(image_lightness, dtype=np.float64),
                                    self.correction.image_lightness,
                                    self.correction.print_lightness))

    def code_at(self, image_lightness: ArrayLike) -> NDArray[np.uint16]:
        """16-bit code of the negative (65535 clear film) for image lightness (L*)."""
        return scales.level_to_code(self.level_at(image_lightness))

    def to_dict(self) -> dict[str, Any]:
        """The document as plain numbers and texts, in the order it is written."""
        return {
            "format": FORMAT, "version": VERSION, "made_by": self.made_by, "name": self.name,
            "setup": self.setup.to_dict(),
            "settings": {"aim": self.settings.aim.to_dict(),
                         "left_out": list(self.settings.left_out)},
            "ancestor": _ancestor_to_dict(self.ancestor),
            "summary": {k: list(v) if isinstance(v, tuple) else v
                        for k, v in asdict(self.summary).items()},
            "correction": self.correction.to_dict(),
            "response": self.response.to_dict(),
            "negative": None if self.negative is None else self.negative.to_dict(),
            "plan": list(self.plan),
            "readings": None if self.readings is None else encode(self.readings),
            "recipe": None if self.recipe is None else self.recipe.to_dict(),
        }


def make_correction(
    response: PrintResponse, aim: Aim, usable: tuple[float, float]
) -> Correction:
    """Invert a print response at the aim, using only levels between ``usable`` (black, white)."""
    image = np.linspace(0.0, 100.0, ROWS)
    black, white = float(response.lightness[0]), float(response.lightness[-1])
    wanted = aim.print_lightness(image, black, white)
    level = np.clip(invert(response.level, response.lightness, wanted), min(usable), max(usable))
    low, high = invert_band(response.level, response.lightness_low, response.lightness_high,
                            wanted)
    # rounded, so that a rebuild on another machine gives the same bytes
    level, low, high = (_rising(v) for v in (level, low, high))
    return Correction(np.round(image, 9), np.round(wanted, 6), level,
                      np.minimum(low, level), np.maximum(high, level))


def _rising(values: Array) -> Array:
    return np.asarray(np.round(np.maximum.accumulate(values), 9), dtype=np.float64)


def refuse_two_zeros(theirs: bool, mine: bool, whose: str) -> None:
    """Raise `OptionError` if one counts from the bare paper (True) and the other does not.

    The two differ by the paper's own density: some 8 L* in the light tones.
    """
    if theirs == mine:
        return
    from_paper, absolute = "counts from the bare paper", "is absolute"
    here, there = (from_paper, absolute) if mine else (absolute, from_paper)
    raise OptionError(
        f"{whose} {there}, the new measurement {here}",
        "the two are not compared: they differ by the density of the paper",
        "measure both in the same way; --relative-to-paper with --paper-density makes a"
        " measurement absolute")


def make_name(file_name: str) -> str:
    """A document's name from its file: ``kallitype.curve.json`` is called kallitype."""
    return file_name.removesuffix(".json").removesuffix(".curve").removesuffix(".process")


def _ancestor_to_dict(ancestor: Ancestor | None) -> dict[str, Any] | None:
    if ancestor is None:
        return None
    return {"name": ancestor.name, "sha256": ancestor.sha256, "setup": ancestor.setup.to_dict()}


_DAMAGED = "take an unedited copy, or make the curve again from its readings"
_OPTIONAL = ("ancestor", "negative", "plan", "readings", "recipe")
_PARTS = {"made_by": TEXT, "name": TEXT, "setup": TABLE, "settings": TABLE, "summary": TABLE,
          "correction": TABLE, "response": TABLE}


def curve_from_dict(data: Any, *, sources: bool = True) -> Curve:
    """Check a document and rebuild the curve.

    Without ``sources`` readings and recipe are left out: a negative needs neither, and starts
    sooner.

    Raises
    ------
    DocumentError
        Another format or version, a missing part, a table that is not monotone, or a value of
        the wrong kind; the message names it.
    """
    check_header(data, FORMAT, VERSION, "correction curve")
    check_entries(data, _PARTS, "the curve", _DAMAGED)
    check_names(data, ("format", "version", *_PARTS, *_OPTIONAL), "the curve", _DAMAGED, _OPTIONAL)
    if data.get("readings") is None and data.get("recipe") is None:
        raise DocumentError("the curve has neither readings nor a recipe",
                            "a curve carries what it was made from", _DAMAGED)
    return Curve(
        name=data["name"], made_by=data["made_by"], setup=setup_from_dict(data["setup"], _DAMAGED),
        settings=_settings_from_dict(data["settings"]),
        summary=_summary_from_dict(data["summary"]),
        response=response_from_dict(data["response"]),
        correction=_correction_from_dict(data["correction"]),
        readings=_optional(data, "readings", _readings_from_dict) if sources else None,
        ancestor=_ancestor_from_dict(data.get("ancestor")),
        recipe=_optional(data, "recipe", _recipe_from_dict) if sources else None,
        negative=_optional(data, "negative", negative_from_dict),
        plan=_plan_from_list(data.get("plan", [])),
    )


def _readings_from_dict(data: Any) -> Readings:
    from tonewright.measured.readings import Readings

    return decode(Readings, data, "the readings", _DAMAGED)


def _recipe_from_dict(data: Any) -> Recipe:
    from tonewright.curve.recipe import recipe_from_dict  # a plain curve does without

    return recipe_from_dict(data)


def _optional(data: dict[str, Any], name: str, rebuild: Callable[[Any], _Part]) -> _Part | None:
    return None if data.get(name) is None else rebuild(data[name])


_LEVELS = Rule(lambda v: is_number(v) and 0.0 <= v <= 1.0, "it is a list of levels, 0 to 1",
               each=True)


def _plan_from_list(data: Any) -> tuple[float, ...]:
    check_entries({"plan": data}, {"plan": _LEVELS}, "the curve", _DAMAGED)
    return tuple(float(v) for v in data)


def _settings_from_dict(data: dict[str, Any]) -> Settings:
    check_names(data, ("aim", "left_out"), "the settings", _DAMAGED)
    check_entries(data, {"aim": TABLE, "left_out": TEXTS}, "the settings", _DAMAGED)
    return Settings(aim_from_dict(data["aim"]), tuple(data["left_out"]))


_MAY_BE_NONE = ("print_to_print_lightness_sd", "negative_density_range", "few_patches_followed",
                "disagreement")
_DOUBT = {"patch": TEXT, "level": NUMBER, "off_by_density": NUMBER, "deviations": NUMBER}


def _summary_from_dict(data: dict[str, Any]) -> Summary:
    names = [f.name for f in fields(Summary)]
    # curves made before these were told lack them
    data = {"few_patches_followed": None, "disagreement": None, **data}
    rules = {name: or_none(NUMBER) if name in _MAY_BE_NONE else NUMBER for name in names}
    rules |= {"doubtful": TABLES, "warnings": TEXTS}
    check_names(data, names, "the summary", _DAMAGED)
    check_entries(data, rules, "the summary", _DAMAGED)
    for number, doubt in enumerate(data["doubtful"], 1):
        what = f"doubtful patch {number} of the summary"
        check_names(doubt, _DOUBT, what, _DAMAGED)
        check_entries(doubt, _DOUBT, what, _DAMAGED)
    lists = {"doubtful", "warnings"}
    values: dict[str, Any] = {k: tuple(v) if k in lists else v for k, v in data.items()}
    return Summary(**values)


def _correction_from_dict(data: Any) -> Correction:
    names = [f.name for f in fields(Correction)]
    correction = Correction(**table_from_dict(data, names, "correction"))
    low, level, high = correction.level_low, correction.level, correction.level_high
    check_levels(np.concatenate([low, level, high]), "correction")
    if np.any(low > level) or np.any(level > high):
        row = int(np.flatnonzero((low > level) | (level > high))[0])
        raise DocumentError(f"the correction has the level {level[row]:g} between {low[row]:g} and"
                            f" {high[row]:g} (row {row + 1})",
                            "level_low, level and level_high stand in this order", _DAMAGED)
    ends = correction.image_lightness[[0, -1]]
    if ends[0] != 0.0 or ends[1] != 100.0:
        raise DocumentError(f"the correction runs from {ends[0]:g} to {ends[1]:g}",
                            "image lightness runs from 0 to 100", _DAMAGED)
    return correction


def _ancestor_from_dict(data: Any) -> Ancestor | None:
    if data is None:
        return None
    check_entries(data, {"name": TEXT, "sha256": TEXT, "setup": TABLE}, "the ancestor", _DAMAGED)
    return Ancestor(data["name"], data["sha256"], setup_from_dict(data["setup"], _DAMAGED))
