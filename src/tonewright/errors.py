"""The errors that tonewright raises on purpose.

Each one says three things: what was given, the rule it breaks, and the way out.  The command
line prints them as one message and ends with exit code 2; a library user can catch
`TonewrightError` for all of them.
"""

from __future__ import annotations


class TonewrightError(Exception):
    """Base of every error raised on purpose.

    Parameters
    ----------
    given:
        What was found, with its value: ``"row 7: level is 1.3"``.
    rule:
        What holds instead: ``"a level lies between 0 (clear film) and 1 (heaviest ink)"``.
    way_out:
        What the reader can do now: ``"if these are percent, name the column ink_percent"``.
    """

    def __init__(self, given: str, rule: str, way_out: str) -> None:
        self.given, self.rule, self.way_out = given, rule, way_out
        first, *others = (p.strip().rstrip(".") for p in (given, rule, way_out))
        # what was given may start with a file's name, which keeps its spelling
        sentences = [first, *(_capital(p) for p in others)]
        super().__init__(" ".join(f"{s}." for s in sentences if s))


def _capital(sentence: str) -> str:
    word = sentence.split(" ", 1)[0]
    if word == "tonewright" or not word.isalpha():
        return sentence
    return sentence[:1].upper() + sentence[1:]


def counted(count: int, thing: str) -> str:
    """``1 patch``, ``3 patches``."""
    ending = "es" if thing.endswith(("ch", "x", "s")) else "s"
    return f"{count} {thing}" if count == 1 else f"{count} {thing}{ending}"


class FileError(TonewrightError):
    """A file cannot be opened, read or written, or is not of the kind it should be."""


class ReadingsError(TonewrightError):
    """Measurements that cannot be what they say they are."""


class FitError(TonewrightError):
    """Readings that no honest curve can be drawn through."""


class DocumentError(TonewrightError):
    """A curve, process, target or setup document that does not hold together."""


class ImageError(TonewrightError):
    """An image that cannot become a negative as it is."""


class OptionError(TonewrightError):
    """Options that contradict each other or have an impossible value."""
