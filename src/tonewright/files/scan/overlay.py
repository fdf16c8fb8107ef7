"""A picture that shows what was read where: the scan set upright, with everything marked on it.

Drawn with Pillow pixel by pixel, because what matters is exactly which pixels were read.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tonewright.files.negative.again import OVERLAY_OF
from tonewright.record.provenance import made_by
from tonewright.scan.read import PatchReading, ScanReading
from tonewright.scan.rectify import Placement, shrink
from tonewright.scan.sample import BLOCKS, INNER

LONGEST = 1800
"""Pixels of the sheet's longer side in the picture."""
READ, DOUBTFUL, UNREAD = (64, 170, 255), (255, 159, 28), (255, 64, 160)
"""Blue, orange, pink: apart for colour-blind eyes too."""
_FOOT = 84


def overlay_png(pixels: NDArray[np.float32], reading: ScanReading) -> bytes:
    """The overlay as a PNG file's bytes; ``pixels`` as in `overlay`."""
    from PIL.PngImagePlugin import PngInfo

    stream = io.BytesIO()
    says = PngInfo()
    says.add_text("Description", f"{OVERLAY_OF} a scan by {made_by()}")
    overlay(pixels, reading).save(stream, "PNG", compress_level=1, pnginfo=says)
    return stream.getvalue()


def overlay(pixels: NDArray[np.float32], reading: ScanReading) -> Any:
    """The overlay as a Pillow image, RGB; ``pixels`` are the scan, 0 to 1, shape (rows,
    columns)."""
    from PIL import Image, ImageDraw

    target, located = reading.target, reading.located
    per_mm = LONGEST / max(target.width_mm, target.height_mm)
    scanned = located.placement.per_mm((target.width_mm / 2, target.height_mm / 2))
    factor = max(1, int(scanned / per_mm))  # averaged down first: no moire, and quick
    straight = upright(shrink(pixels, factor), located.placement.scaled(factor),
                       (target.width_mm, target.height_mm), per_mm)
    gain, lift = (255.0, 0.5) if located.light else (-255.0, 255.5)
    gray = straight.point(lambda code: code * gain + lift).convert("L")
    image = Image.new("RGB", (gray.width, gray.height + _FOOT), (24, 24, 28))
    image.paste(gray.convert("RGB"), (0, 0))
    draw = ImageDraw.Draw(image)
    _border(draw, reading, per_mm)
    for patch in reading.patches:
        _patch(draw, patch, per_mm)
    _foot(draw, reading, gray.height, gray.width)
    return image


def upright(
    pixels: NDArray[np.float32], placement: Placement, size_mm: tuple[float, float],
    per_mm: float,
) -> Any:
    """The print as it reads right, straight and without perspective, as a Pillow image of mode F; 0
    outside of the scan.

    ``pixels`` are the scan, shape (rows, columns).  The result has ``per_mm`` pixels to the mm of a
    sheet of ``size_mm`` (width, height); its pixel (0, 0) covers the sheet's corner.
    """
    from PIL import Image

    width, height = (max(round(side * per_mm), 1) for side in size_mm)
    # Pillow's pixels have their corners at whole numbers
    shift = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
    matrix = shift @ placement.matrix @ np.diag([1.0 / per_mm, 1.0 / per_mm, 1.0])
    return Image.fromarray(pixels).transform(
        (width, height), Image.Transform.PERSPECTIVE, (matrix / matrix[2, 2]).ravel()[:8].tolist(),
        Image.Resampling.BILINEAR)


def colour(patch: PatchReading) -> tuple[int, int, int]:
    """Of a patch's outline."""
    if patch.density is None:
        return UNREAD
    return DOUBTFUL if patch.doubts else READ


def _font(size: float) -> Any:
    from PIL import ImageFont

    return ImageFont.load_default(max(size, 7.0))


def _patch(draw: Any, read: PatchReading, per_mm: float) -> None:
    """The part that was sampled, what of it was left aside, and the density."""
    patch, ink = read.patch, colour(read)
    inner = INNER * patch.width_mm, INNER * patch.height_mm
    left = per_mm * (patch.x_mm + 0.5 * (patch.width_mm - inner[0]))
    top = per_mm * (patch.y_mm + 0.5 * (patch.height_mm - inner[1]))
    wide, high = per_mm * inner[0], per_mm * inner[1]
    heavy = 2 if ink == READ else 4
    draw.rectangle((left, top, left + wide, top + high), outline=ink, width=heavy)
    for i, kept in enumerate(read.kept):
        if not kept:
            x, y = left + wide * (i % BLOCKS) / BLOCKS, top + high * (i // BLOCKS) / BLOCKS
            draw.line((x, y, x + wide / BLOCKS, y + high / BLOCKS), fill=ink, width=2)
            draw.line((x, y + high / BLOCKS, x + wide / BLOCKS, y), fill=ink, width=2)
    text = "not read" if read.density is None else f"{read.density:.2f}"
    middle = (left + wide / 2, top + high / 2)
    size = min(0.3 * high, 26.0)
    label = (255, 255, 255) if read.code < 0.5 else (0, 0, 0)
    spoilt = any(not kept for kept in read.kept)
    draw.text(middle, text, font=_font(size), anchor="mm", fill=label,
              stroke_width=3 if spoilt else 0,
              stroke_fill=(0, 0, 0) if read.code < 0.5 else (255, 255, 255))


def _border(draw: Any, reading: ScanReading, per_mm: float) -> None:
    """A ring where each mark and dot should lie: the picture shows whether it does."""
    target = reading.target
    places = [(m.x_mm, m.y_mm, m.size_mm) for m in target.marks]
    places += [(d.x_mm, d.y_mm, d.size_mm) for d in target.dots]
    for x_mm, y_mm, size_mm in places:
        x, y, radius = per_mm * x_mm, per_mm * y_mm, per_mm * (size_mm / 2 + 0.5)
        draw.ellipse((x - radius, y - radius, x + radius, y + radius), outline=READ, width=2)


def _foot(draw: Any, reading: ScanReading, top: int, width: int) -> None:
    located, doubtful = reading.located, reading.doubtful
    unread = sum(p.density is None for p in reading.patches)
    placed = "corners by hand" if located.by_hand else "marks found"
    if located.mark_error_px is not None:
        placed = f"marks within {located.mark_error_px:.2f} pixels"
    lines = [
        f"{len(reading.patches) - unread} of {len(reading.patches)} patches read, the numbers are"
        f" densities;  {placed};  print turned by"
        f" {located.rotation_degrees:.1f} degrees{', mirrored' if located.mirrored else ''}",
    ]
    size = min(22.0, width / 70)
    draw.text((16, top + 14), lines[0], font=_font(size), fill=(235, 235, 235))
    x = 16.0
    legend = ((READ, "read"), (DOUBTFUL, f"doubtful ({len(doubtful) - unread})"),
              (UNREAD, f"not read ({unread})"))
    for ink, text in legend:
        draw.rectangle((x, top + 48, x + 22, top + 68), outline=ink, width=4)
        draw.text((x + 32, top + 58), text, font=_font(size), anchor="lm", fill=(235, 235, 235))
        x += 60 + draw.textlength(text, font=_font(size))
    draw.text((x, top + 58), "crossed squares were left aside as scratched or stained",
              font=_font(size), anchor="lm", fill=(170, 170, 170))
