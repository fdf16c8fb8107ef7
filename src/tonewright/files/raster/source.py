"""An open image, what its file says of it, and what it is opened for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import field, replace
from pathlib import Path

from tonewright.errors import ImageError, OptionError
from tonewright.files.opening import Closing
from tonewright.files.raster.bands import Job, Wanted
from tonewright.files.raster.page import LONGEST_SIDE, ByteSource, Page, Resolution
from tonewright.frozen import dataclass
from tonewright.record.findings import Finding

TURNS = {
    1: (False, False, False), 2: (False, False, True), 3: (False, True, True),
    4: (False, True, False), 5: (True, False, False), 6: (True, False, True),
    7: (True, True, True), 8: (True, True, False),
}  # fmt: skip
"""EXIF 2.32, Orientation: transposed first, then upside down, then left to right."""
_QUARTER = {1: 6, 6: 3, 3: 8, 8: 1, 2: 7, 7: 4, 4: 5, 5: 2}
"""An orientation followed by a quarter turn clockwise."""

MANY_PIXELS = 75_000_000


@dataclass(frozen=True)
class Use:
    """What images are opened for, and what they have to be for that."""

    noun: str
    rule: str
    """What is read at all."""
    way_out: str
    """From what is not."""
    tones: tuple[str, str]
    """Rule and way out where something stands beside the tones."""
    pages: tuple[str, str]
    """The same for several pages."""
    lossy: tuple[str, str] | None = None
    """The same for a JPEG; None: it may be one."""
    pixels: tuple[int, int] = (1, LONGEST_SIDE**2)
    """The least on each side, and the most in all."""
    densest: int | None = None
    """Pixels that a byte of the file can stand for, where there are more than `MANY_PIXELS`; None:
    any number."""


PICTURE = Use(
    "image",
    "a picture has gray or RGB pixels whose values have 16 bits, or at least 8",
    "open it in your editor, convert it to 16-bit gray and save it as TIFF",
    ("a negative is made from what would be seen on paper",
     "lay it on white, or flatten it in your editor and save it as 16-bit gray TIFF"),
    ("a negative is made from one image",
     "name the page, or save the one you want as a TIFF of its own (flatten layers if there are"
     " any)"),
)  # fmt: skip


@dataclass(frozen=True)
class OpenOptions:
    """What an image is opened for, and what else it may be."""

    page: int | None = None
    """Which of several pages, counted from 1; None: there may be one only."""
    flatten: bool = False
    """Lay transparency on white."""
    use: Use = PICTURE
    lossy: bool = False
    """Take a JPEG even where the use has none."""

    def refused(
        self, source: ByteSource, what: str, rule: str = "", way_out: str = "", code: str = ""
    ) -> ImageError:
        """The error for an image that is not read: ``its pixels are a palette``."""
        return ImageError(
            f"the {self.use.noun} {source.path}: {what}", rule or self.use.rule,
            way_out or self.use.way_out, code=code or None,
        )  # fmt: skip

    def chosen_page(self, source: ByteSource, count: int, stacked: int = 1) -> int:
        """Which page of so many to read, from 0; ``stacked``: how many are said to lie in it."""
        if self.page is not None and not 1 <= self.page <= count:
            raise OptionError(
                f"page {self.page} is asked for",
                f"the {self.use.noun} {source.path} has "
                + (f"the pages 1 to {count}" if count > 1 else "one page"),
                "name one of them" if count > 1 else "name no page",
            )
        if self.page is None and max(count, stacked) > 1:
            raise self.refused(source, f"it has {max(count, stacked)} pages", *self.use.pages,
                               code=f"{self.use.noun}_pages")
        return (self.page or 1) - 1

    def check_flat(self, source: ByteSource, what: str) -> None:
        """Raise `ImageError` for what stands beside the tones, unless it may."""
        if not self.flatten:
            raise self.refused(source, f"it has {what} beside its tones", *self.use.tones,
                               code=f"{self.use.noun}_transparent")

    def check_lossy(self, source: ByteSource) -> None:
        """Raise `ImageError` for a JPEG, unless it may be one."""
        if self.use.lossy and not self.lossy:
            raise self.refused(source, "it is JPEG-compressed", *self.use.lossy,
                               code=f"{self.use.noun}_lossy")

    def check_size(self, source: ByteSource, width: int, height: int) -> None:
        """Raise `ImageError` for an impossible size, and for one that is not taken."""
        if not (1 <= width <= LONGEST_SIDE and 1 <= height <= LONGEST_SIDE):
            raise source.damaged(f"it claims to be {width} x {height} pixels")
        said, (least, most) = f"it has {width} x {height} pixels", self.use.pixels
        if min(width, height) < least:
            raise self.refused(source, said, f"a {self.use.noun} has at least {least} on each side",
                               "check that this is the file you meant")
        if width * height > most:
            raise self.refused(source, said, f"up to {most // 1_000_000} million are read",
                               "scan at 300 to 600 ppi, and crop to the sheet")
        if width * height > max(MANY_PIXELS, (self.use.densest or width * height) * source.size):
            raise self.refused(source, f"{said} in {source.size / 1e6:.1f} MB",
                               "paper has a texture and does not pack so small",
                               "check that this is the file you meant")


@dataclass(frozen=True)
class SourceImage(Closing):
    """An image that is open, and what its file says of it, checked.

    It is open until `close`: what is read of its pixels belongs to what was read of its header.
    """

    source: ByteSource
    page: Page
    """How its pixels are stored."""
    reader: Callable[[ByteSource, Page, Wanted], Iterator[Job]] = field(repr=False)
    """Reads them."""
    orientation: int
    """TIFF tag 274, 1 to 8."""
    resolution: Resolution | None
    """As the image is looked at (turned with it); None if the file does not say."""
    profile: bytes | None
    """Embedded ICC profile."""
    findings: tuple[Finding, ...]
    said_encoding: str | None = None
    """What a PNG says of its values without a profile: ``srgb`` or ``gamma:2.2``."""
    lossy: bool = False
    """Whether it is a JPEG."""
    description: str = ""
    """What a TIFF says of itself (tag 270)."""
    device: str | None = None
    """Make, model and program that made it; None where the file does not say."""

    @property
    def path(self) -> Path:
        """The file."""
        return self.source.path

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

    def turned(self, degrees: int) -> SourceImage:
        """The same turned clockwise, by 0, 90, 180 or 270 degrees; both close together."""
        image = self
        for _ in range(degrees // 90):
            image = replace(image, orientation=_QUARTER[image.orientation],
                            resolution=image.resolution and image.resolution.turned())
        return image

    def jobs(self, wanted: Wanted | None = None) -> Iterator[Job]:
        """Jobs for all bands as stored, top to bottom or as wanted.

        They raise `ImageError` where the file contradicts itself and `FileError` if reading fails.
        """
        return self.reader(self.source, self.page, wanted or Wanted())

    def close(self) -> None:
        """Close the file."""
        self.source.close()
