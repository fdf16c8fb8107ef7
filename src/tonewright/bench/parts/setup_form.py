"""What a paper is used with, as a form."""

from __future__ import annotations

from tonewright.bench.parts.field import Field
from tonewright.bench.parts.tags import link
from tonewright.errors import TonewrightError
from tonewright.record.setup import Setup, ink_colour_text, parse_colour

_ENTRIES = (("coating", "Coating", "Sensitiser, and how it is put on"),
            ("developer", "Developer", ""), ("lamp", "Lamp", "Light, and its distance"),
            ("film", "Film", "What negatives are printed on"), ("printer", "Printer", ""),
            ("ink", "Ink", "Ink set and driver settings"),
            ("ink_colour", "Colour of the ink",
             "Red, green and blue of the heaviest ink, as 255,120,0; blank for black"),
            ("notes", "Notes", ""))


class SetupForm:
    """A field for each entry of a setup but the paper's name; ``inks`` is where the page that
    compares inks is, blank for no link to it."""

    def __init__(self, setup: Setup, inks: str = "") -> None:
        self.fields: dict[str, Field] = {}
        for entry, label, hint in _ENTRIES:
            self.fields[entry] = Field(label, getattr(setup, entry) or "", hint=hint)
            if entry == "ink_colour" and inks:
                link("Compare colours of ink", inks, "beside")

    def said(self) -> dict[str, str | None] | None:
        """What stands in the fields, None for what is blank; None where a field is at fault, which
        is said beside it."""
        said = {entry: field.text or None for entry, field in self.fields.items()}
        colour = self.fields["ink_colour"]
        colour.show_error(None)
        try:
            if said["ink_colour"] is not None:
                said["ink_colour"] = ink_colour_text(parse_colour(said["ink_colour"]))
        except TonewrightError as error:
            colour.show_error(error)
            return None
        return said

    def show(self, setup: Setup) -> None:
        """Another setup."""
        for entry, field in self.fields.items():
            field.set(getattr(setup, entry) or "")
