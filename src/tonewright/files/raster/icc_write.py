"""ICC profiles as bytes.

ICC.1:2022 (ISO 15076-1); the output profile is of version 2.4 (ICC.1:2001-04), because littleCMS
scales blacks of its own accord where both profiles have version 4.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonewright.frozen import dataclass
from tonewright.scales import Array

if TYPE_CHECKING:
    from tonewright.curve.export import PrintTables

HEADER = 128
D50 = struct.pack(">iii", 0xF6D6, 0x10000, 0xD32D)  # ICC.1, 7.2.16: 0.9642, 1, 0.8249
ENTRIES = 4096
"""Of a table of lut16Type, the most it has (ICC.1:2022, 10.10)."""
LINK_ENTRIES = 65535 // 3 + 1
"""Of the table of a link: one for every third value; littleCMS reads up to 32767."""
_LAB_WHITE, _LAB_NEUTRAL = 0xFF00, 0x8000
"""L* 100, and a* and b* 0, in the 16 bits of lut16Type (ICC.1:2022, table 42)."""
_NEUTRAL_AXIS = np.array([[0, _LAB_NEUTRAL, _LAB_NEUTRAL],
                          [_LAB_WHITE, _LAB_NEUTRAL, _LAB_NEUTRAL]])
_VERSION_2, _VERSION_4, _VERSION_FLOAT = 0x02400000, 0x04200000, 0x04300000
"""Floats came with 4.3."""
_NO_RIGHTS = "No copyright, use freely"


@dataclass(frozen=True)
class Kind:
    """What a profile is (ICC.1:2022, 7.2)."""

    device_class: bytes
    connection: bytes
    """Connection space; of a link the space that it leads to."""
    version: int = _VERSION_4


def profile(kind: Kind, elements: dict[bytes, bytes]) -> bytes:
    """A profile of gray values with these tagged elements; what several share stands there once.
    It has no date, so that the same elements give the same bytes."""
    start = HEADER + 4 + 12 * len(elements)
    table, body = struct.pack(">I", len(elements)), b""
    places: dict[bytes, int] = {}
    for tag, element in elements.items():
        if element not in places:
            places[element] = start + len(body)
            body += element + bytes(-len(element) % 4)
        table += struct.pack(">4sII", tag, places[element], len(element))
    head = struct.pack(">I4xI4s4s4s", start + len(body), kind.version, kind.device_class,
                       b"GRAY", kind.connection)
    head = head.ljust(36, b"\0") + b"acsp"
    head = head.ljust(68, b"\0") + D50
    return head.ljust(HEADER, b"\0") + table + body


def gray_profile(tone_curve: bytes, name: str) -> bytes:
    """A version 4 gray display profile with the given kTRC element (its bytes, with type)."""
    words = localized(name)
    white = b"XYZ " + bytes(4) + D50
    return profile(Kind(b"mntr", b"XYZ "), {
        b"desc": words, b"cprt": words, b"wtpt": white, b"kTRC": tone_curve})


def output_profile(tables: PrintTables, name: str) -> bytes:
    """A gray output profile (class ``prtr``) of a print.

    Its values are ink: 0 is clear film, full scale the heaviest ink.  So it runs from black to
    white like any gray, which programs count on: littleCMS takes the value 0 for the darkest when
    it looks for a black point, and makes white full scale.  Perceptual and saturation follow the
    curve's aim; the colorimetric tables say what prints how light, relative to the print's white.

    ``tables`` hold `ENTRIES` levels, and as many lightnesses as `connection_lightness` gives.
    """
    title = _described(name)
    white = [int(n * tables.white_luminance / 100.0) for n in struct.unpack(">iii", D50)]
    perceptual = _from_gray(tables.image_of_level), _to_gray(tables.level_of_image)
    measured = _from_gray(tables.print_of_level), _to_gray(tables.level_of_print)
    return profile(Kind(b"prtr", b"Lab ", _VERSION_2), {
        b"desc": title, b"cprt": b"text" + bytes(4) + _NO_RIGHTS.encode() + b"\0",
        b"wtpt": b"XYZ " + bytes(4) + struct.pack(">iii", *white),
        b"kTRC": curve_element(tables.image_of_level / 100.0),
        b"A2B0": perceptual[0], b"A2B1": measured[0], b"A2B2": perceptual[0],
        b"B2A0": perceptual[1], b"B2A1": measured[1], b"B2A2": perceptual[1]})


def connection_lightness() -> Array:
    """L* of the entries of a table from Lab to gray, shape (ENTRIES,): a little beyond 100."""
    return np.linspace(0.0, 100.0 * 0xFFFF / _LAB_WHITE, ENTRIES)


def device_link(codes: ArrayLike, name: str, source: str) -> bytes:
    """A link (class ``link``) from gray values to codes of the negative, both 0 to 65535.

    ``codes`` are those of the values 0 to 65535, shape (65536,).  They stand there twice.  D2B0 (a
    multiProcessElementsType, ICC.1:2022, 10.16) has every one as a float, and littleCMS prefers
    it.  Programs that do not know D2B0 take A2B0, a lutAToBType of a curve alone (10.12), of which
    littleCMS makes no coarse grid.  It has every third value: a curveType of more than 32767 is
    refused by littleCMS, and between three values a bend of the curve is up to a few codes off.
    """
    share = np.asarray(codes) / 65535.0
    curve = curve_element(share[:: 65535 // (LINK_ENTRIES - 1)])
    table = b"mAB " + bytes(4) + struct.pack(">BBxxIIIII", 1, 1, 32, 0, 0, 0, 0) + curve
    steps = b"".join(bytes(20) + localized(words) * 2 for words in (source, name))
    return profile(Kind(b"link", b"GRAY", _VERSION_FLOAT), {
        b"desc": localized(name), b"cprt": localized(_NO_RIGHTS), b"A2B0": table,
        b"D2B0": _float_curve(share),
        b"pseq": b"pseq" + bytes(4) + struct.pack(">I", 2) + steps})


def _float_curve(values: Array) -> bytes:
    """A multiProcessElementsType of one curve, even from 0 to 1 and constant beyond (ICC.1:2022,
    10.16); a sampled segment begins with the end of the one before.
    """
    ends = (b"parf" + bytes(8) + struct.pack(">4f", 1.0, 0.0, 0.0, v) for v in values[[0, -1]])
    sampled = (b"samf" + bytes(4) + struct.pack(">I", len(values) - 1)
               + values[1:].astype(">f4").tobytes())
    curve = (b"curf" + bytes(4) + struct.pack(">Hxxff", 3, 0.0, 1.0) + next(ends) + sampled
             + next(ends))
    curves = b"cvst" + bytes(4) + struct.pack(">HHII", 1, 1, 20, len(curve)) + curve
    return b"mpet" + bytes(4) + struct.pack(">HHIII", 1, 1, 1, 24, len(curves)) + curves


def curve_element(values: Array) -> bytes:
    """A curveType (ICC.1:2022, 10.6) of values from 0 to 1."""
    return b"curv" + bytes(4) + struct.pack(">I", len(values)) + _words(65535.0 * values)


def parametric(kind: int, numbers: Sequence[float]) -> bytes:
    """A parametricCurveType (ICC.1:2022, 10.18)."""
    head = b"para" + bytes(4) + struct.pack(">HH", kind, 0)
    return head + b"".join(struct.pack(">i", round(n * 65536)) for n in numbers)


def localized(text: str) -> bytes:
    """A multiLocalizedUnicodeType (ICC.1:2022, 10.15), padded to four bytes."""
    words = text.encode("utf-16-be", "replace")
    made = b"mluc" + bytes(4) + struct.pack(">II4sII", 1, 12, b"enUS", len(words), 28) + words
    return made + bytes(-len(made) % 4)


def _described(text: str) -> bytes:
    """A textDescriptionType (ICC.1:2001-04, 6.5.17): letters of ASCII, and all of them."""
    plain = text.encode("ascii", "replace") + b"\0"
    words = text.encode("utf-16-be", "replace") + b"\0\0"
    return (b"desc" + bytes(4) + struct.pack(">I", len(plain)) + plain
            + struct.pack(">4xI", len(words) // 2) + words + bytes(2 + 1 + 67))


def _from_gray(lightness: Array) -> bytes:
    """A table from even gray values to Lab, L* 0 to 100 (lut16Type)."""
    return _lut16(655.35 * lightness[None], _NEUTRAL_AXIS, 3)


def _to_gray(level: Array) -> bytes:
    """A table from Lab to gray values of 0 to 1 (lut16Type); a* and b* change nothing."""
    even = np.linspace(0.0, 65535.0, level.size)
    grid = np.repeat([0, 65535], 4)[:, None]
    return _lut16(np.stack([65535.0 * level, even, even]), grid, 1)


def _lut16(inputs: Array, grid: NDArray[Any], outputs: int) -> bytes:
    """ICC.1:2022, 10.10: input tables, shape (channels, entries); a grid of two nodes each way, the
    first channel slowest, shape (nodes, outputs); straight output tables."""
    channels, entries = inputs.shape
    straight = np.tile([0, 65535], (outputs, 1))
    unit = struct.pack(">9i", *(65536 * np.eye(3, dtype=int)).ravel())
    return (b"mft2" + bytes(4) + struct.pack(">BBBx", channels, outputs, 2) + unit
            + struct.pack(">HH", entries, 2) + _words(inputs) + _words(grid) + _words(straight))


def _words(values: ArrayLike) -> bytes:
    return np.floor(np.asarray(values) + 0.5).clip(0, 65535).astype(">u2").tobytes()
