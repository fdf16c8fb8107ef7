"""Finished images in: what a TIFF, PNG or JPEG says about itself, checked.

`open_image` refuses what cannot become a negative, with the way out; no pixel is decoded.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path

from tonewright.errors import FileError, OptionError
from tonewright.files.raster.tiff import ByteSource, Page, Resolution, is_tiff

_OTHER_FILES = {b"%PDF": "a PDF", b"GIF8": "a GIF", b"8BPS": "an editor's own layered file"}
_OTHER_FILES |= {b"RIFF": "a WebP or a recording", b"\0\0\0\x0cJXL ": "a JPEG XL"}

PNG_SIGNATURE, JPEG_SIGNATURE = b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff"

RESOLUTION_UNKNOWN = "it does not say its resolution: set the size yourself when you print"


@dataclass(frozen=True)
class OpenOptions:
    """What the printer allows an image to be."""

    page: int | None = None
    """Which of several pages, counted from 1; None: there may be one only."""
    flatten: bool = False
    """Lay transparency on white."""


def refuse_pages(path: Path, options: OpenOptions, kind: str) -> None:
    """Raise `OptionError` if another page than the first is asked of what has only one."""
    if options.page not in (None, 1):
        raise OptionError(
            f"--page is {options.page}",
            f"the image {path} is a {kind}, which has one page",
            "leave --page out",
        )


@dataclass(frozen=True)
class SourceImage:
    """What an image file says about itself, checked."""

    path: Path
    page: Page
    """How its pixels are stored."""
    orientation: int
    """TIFF tag 274, 1 to 8."""
    resolution: Resolution | None
    """As the image is looked at (turned with it); None if the file does not say."""
    profile: bytes | None
    """Embedded ICC profile."""
    warnings: tuple[str, ...]
    said_encoding: str | None = None
    """What a PNG says of its values without a profile: ``srgb`` or ``gamma:2.2``."""

    @property
    def width(self) -> int:
        """Pixels across, as the image is looked at."""
        return self.page.height if self.orientation > 4 else self.page.width

    @property
    def height(self) -> int:
        """Pixels down, as the image is looked at."""
        return self.page.width if self.orientation > 4 else self.page.height

    @property
    def values(self) -> int:
        """How many values a pixel can have: 256 or 65536."""
        return 1 << self.page.bits


def _refuse_folder(path: Path) -> None:
    with contextlib.suppress(OSError, ValueError):  # whoever opens it says what is wrong
        if path.is_dir():
            raise FileError(
                f"the image {path} is a folder",
                "a negative is made from image files",
                f"name the files in it, for example {path / '*.tif'}",
            )


def open_image(
    path: str | os.PathLike[str], options: OpenOptions | None = None
) -> SourceImage:
    """Read and check the header of a TIFF, PNG or JPEG; no pixel is decoded.

    Raises
    ------
    FileError
        It cannot be opened or is no image of these kinds.
    ImageError
        It is damaged, or of a kind that cannot become a negative as it is.
    OptionError
        There is no such page.
    """
    choice = options or OpenOptions()
    _refuse_folder(Path(path))
    with ByteSource(Path(path)) as source:
        head = source.read(0, min(12, source.size))
        if is_tiff(head):
            from tonewright.files.raster.tiff_image import open_tiff

            return open_tiff(source, choice)
        if head.startswith(PNG_SIGNATURE):
            from tonewright.files.raster.png import open_png

            return open_png(source, choice)
        if head.startswith(JPEG_SIGNATURE):
            from tonewright.files.raster.jpeg import open_jpeg

            return open_jpeg(source, choice)
        kinds = (name for start, name in _OTHER_FILES.items() if head.startswith(start))
        kind = next(kinds, None if head else "empty")
        raise FileError(
            f"the file {source.path} is {kind or 'not a TIFF, PNG or JPEG'}",
            "a negative is made from a TIFF, a PNG or, at need, a JPEG",
            "open the image in your editor, convert it to 16-bit gray and save it as TIFF",
        )
