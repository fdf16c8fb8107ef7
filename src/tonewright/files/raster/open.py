"""Opening an image, whatever its format: the one place that knows them all.

`open_image` refuses what cannot be used, with the way out; no pixel is decoded.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from tonewright.errors import FileError
from tonewright.files.raster import findings
from tonewright.files.raster.page import ByteSource
from tonewright.files.raster.source import TURNS, OpenOptions, SourceImage
from tonewright.files.raster.tiff import MARKS
from tonewright.record.findings import Finding

_PNG, _JPEG = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"
_OTHER_FILES = {b"%PDF": "a PDF", b"GIF8": "a GIF", b"8BPS": "an editor's own layered file"}
_OTHER_FILES |= {b"RIFF": "a WebP or a recording", b"\0\0\0\x0cJXL ": "a JPEG XL"}


def is_picture(source: ByteSource) -> bool:
    """True for a TIFF, PNG or JPEG by its first bytes."""
    return source.read(0, min(16, source.size)).startswith((*MARKS, _PNG, _JPEG))


def open_image(
    file: str | os.PathLike[str] | ByteSource, options: OpenOptions | None = None
) -> SourceImage:
    """Open a TIFF, PNG or JPEG, and read and check its header; no pixel is decoded.

    Close it, or use it in a ``with`` statement; a ``file`` that is open already closes with it.

    Raises `FileError`: it cannot be opened or is no image of these kinds; `ImageError`: it is
    damaged, or of a kind that cannot be used as it is; `OptionError`: there is no such page.
    """
    choice = options or OpenOptions()
    source = file if isinstance(file, ByteSource) else ByteSource(Path(file), choice.use.rule)
    try:
        return _described(_opened(source, choice))
    except BaseException:
        source.close()
        raise


def _opened(source: ByteSource, options: OpenOptions) -> SourceImage:
    head = source.read(0, min(16, source.size))
    if head.startswith(MARKS):
        from tonewright.files.raster.tiff_image import open_tiff

        return open_tiff(source, options)
    if head.startswith(_PNG):
        from tonewright.files.raster.png import open_png

        return open_png(source, options)
    if head.startswith(_JPEG):
        from tonewright.files.raster.jpeg import open_jpeg

        return open_jpeg(source, options)
    kinds = (name for start, name in _OTHER_FILES.items() if head.startswith(start))
    kind = next(kinds, "not a TIFF, PNG or JPEG" if head else "empty")
    raise FileError(f"the file {source.path} is {kind}", options.use.rule, options.use.way_out)


def _described(image: SourceImage) -> SourceImage:
    """The same upright, with what is to be said of it."""
    found: list[Finding] = list(image.findings)
    if image.lossy:
        found.insert(0, findings.LossyImage())
    elif image.page.bits == 8:
        found.insert(0, findings.FewTones(image.page.colour))
    orientation, resolution = image.orientation, image.resolution
    if orientation not in TURNS:
        found.append(findings.OrientationIgnored(orientation))
        orientation = 1
    if resolution is not None and orientation > 4:
        resolution = resolution.turned()
    if resolution is None or resolution.unit == 1:
        found.append(findings.ResolutionUnknown(without_unit=resolution is not None))
    if resolution is not None and resolution.across_by_down != 1.0:
        found.append(findings.PixelsNotSquare(resolution.across_by_down))
    return replace(
        image, orientation=orientation, resolution=resolution, findings=tuple(found)
    )
