"""The correction curve as a frozen document; evaluates with numpy alone."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright import __version__, scales
from tonewright.aim import Aim, aim_from_dict
from tonewright.errors import DocumentError
from tonewright.numeric.inverse import invert, invert_band
from tonewright.readings import Readings
from tonewright.responses import PrintResponse, response_from_dict, table_from_dict
from tonewright.scales import Array
from tonewright.setup import Setup, setup_from_dict

FORMAT, VERSION = "tonewright-curve", 1
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
    readings: Readings
    ancestor: Ancestor | None = None

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
            "summary": asdict(self.summary),
            "correction": self.correction.to_dict(),
            "response": self.response.to_dict(),
            "readings": self.readings.to_dict(),
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


def make_name(path_stem: str) -> str:
    """A curve's name from its file name: ``kallitype.curve.json`` is called kallitype."""
    return path_stem.removesuffix(".json").removesuffix(".curve")


def made_by() -> str:
    """Program and version, as documents carry it."""
    return f"tonewright {__version__}"


def _ancestor_to_dict(ancestor: Ancestor | None) -> dict[str, Any] | None:
    if ancestor is None:
        return None
    return {"name": ancestor.name, "sha256": ancestor.sha256, "setup": ancestor.setup.to_dict()}


_DAMAGED = "take an unedited copy, or make the curve again from its readings"
_PARTS = {"made_by": str, "name": str, "setup": dict, "settings": dict, "summary": dict,
          "correction": dict, "response": dict, "readings": dict}


def curve_from_dict(data: Any) -> Curve:
    """Check a document and rebuild the curve.

    Raises
    ------
    DocumentError
        Another format or version, a missing part, a table that is not monotone, or a value of
        the wrong kind; the message names it.
    """
    check_header(data, FORMAT, VERSION, "correction curve")
    for part, kind in _PARTS.items():
        if not isinstance(data.get(part), kind):
            raise DocumentError(f"the curve's {part} is missing or not a {kind.__name__}",
                                "a curve has " + ", ".join(_PARTS), _DAMAGED)
    return Curve(
        name=data["name"], made_by=data["made_by"], setup=setup_from_dict(data["setup"]),
        settings=_settings_from_dict(data["settings"]),
        summary=_summary_from_dict(data["summary"]),
        response=response_from_dict(data["response"]),
        correction=_correction_from_dict(data["correction"]),
        readings=Readings.from_dict(data["readings"]),
        ancestor=_ancestor_from_dict(data.get("ancestor")),
    )


def check_header(data: Any, fmt: str, version: int, what: str) -> None:
    """Hold the format and version of a document.

    Raises
    ------
    DocumentError
        With the value found and what to do.
    """
    found = data.get("format") if isinstance(data, dict) else None
    if found != fmt:
        raise DocumentError(f"this document says it is {found!r}" if found
                            else "this document does not say what it is",
                            f"a {what} has the format {fmt!r}", f"give a {what}")
    if data.get("version") != version:
        raise DocumentError(
            f"this {what} has version {data.get('version')!r}",
            f"this program, {made_by()}, reads version {version}",
            "use the program version that made it, or make it again from its readings")


def _settings_from_dict(data: dict[str, Any]) -> Settings:
    left_out = data.get("left_out")
    if not isinstance(left_out, list) or not all(isinstance(n, str) for n in left_out):
        raise DocumentError(f"left_out is {left_out!r}", "it is a list of patch names", _DAMAGED)
    return Settings(aim_from_dict(data.get("aim")), tuple(left_out))


def _summary_from_dict(data: dict[str, Any]) -> Summary:
    names = [f.name for f in fields(Summary)]
    if sorted(data) != sorted(names):
        raise DocumentError(f"the summary has {', '.join(sorted(data))}",
                            f"it has {', '.join(names)}", _DAMAGED)
    lists = {"doubtful", "warnings"}
    may_be_none = {"print_to_print_lightness_sd", "negative_density_range"}
    for name in names:
        value = data[name]
        number = isinstance(value, int | float) and np.isfinite(value)
        if not (isinstance(value, list) if name in lists
                else number or (value is None and name in may_be_none)):
            raise DocumentError(f"the summary's {name} is {value!r}", "it is a number", _DAMAGED)
    values: dict[str, Any] = {k: tuple(v) if k in lists else v for k, v in data.items()}
    return Summary(**values)


def _correction_from_dict(data: Any) -> Correction:
    names = [f.name for f in fields(Correction)]
    correction = Correction(**table_from_dict(data, names, "correction"))
    levels = np.concatenate([correction.level, correction.level_low, correction.level_high])
    if levels.min() < 0.0 or levels.max() > 1.0:
        raise DocumentError(f"the correction holds levels from {levels.min():g} to"
                            f" {levels.max():g}", "a level lies between 0 and 1", _DAMAGED)
    ends = correction.image_lightness[[0, -1]]
    if ends[0] != 0.0 or ends[1] != 100.0:
        raise DocumentError(f"the correction runs from {ends[0]:g} to {ends[1]:g}",
                            "image lightness runs from 0 to 100", _DAMAGED)
    return correction


def _ancestor_from_dict(data: Any) -> Ancestor | None:
    if data is None:
        return None
    try:
        name, digest = str(data["name"]), str(data["sha256"])
        return Ancestor(name, digest, setup_from_dict(data["setup"]))
    except (TypeError, KeyError) as error:
        raise DocumentError("the ancestor is not complete",
                            "it has a name, a sha256 and a setup", _DAMAGED) from error
