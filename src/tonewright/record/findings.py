"""What a fit, a strip, a scan or a negative found: codes from a closed list, with numbers.

A finding holds numbers, and the names of places such as a patch or a step; never a sentence.
The part of the library that makes a finding declares it::

    @dataclass(frozen=True)
    class BlackNotReached(Finding, kind="warning", bears_on_print=True):
        \"\"\"The darkest patch is not yet the paper's maximum black.\"\"\"

        still_gaining_lightness: float
        \"\"\"L* that the last step still gained.\"\"\"

Each field's unit and scale stand in its name and its docstring.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import ClassVar, Literal

Kind = Literal["warning", "note"]
_classes: dict[str, type[Finding]] = {}
_RESERVED = {"code", "kind", "bears_on_print"}


@dataclass(frozen=True)
class Finding:
    """Base of all findings; each is a frozen dataclass of its own.

    Declaring two of one name, or a field with the name of a fact below, raises `TypeError`.
    """

    code: ClassVar[str] = ""
    """The class's name in snake case: ``black_not_reached``."""
    kind: ClassVar[Kind] = "warning"
    bears_on_print: ClassVar[bool] = False
    """Whether it is said again when a negative is made."""

    def __init_subclass__(cls, *, kind: Kind = "warning", bears_on_print: bool = False) -> None:
        """Enter the class in the list of findings."""
        code = re.sub(r"(?<!^)(?=[A-Z])", "_", cls.__name__).lower()
        if code in _classes:
            raise TypeError(f"the finding {code} is declared twice, in"
                            f" {_classes[code].__module__} and {cls.__module__}")
        if taken := _RESERVED & set(vars(cls).get("__annotations__", {})):
            raise TypeError(f"the finding {code} has a field named {', '.join(sorted(taken))}")
        cls.code, cls.kind, cls.bears_on_print = code, kind, bears_on_print
        _classes[code] = cls


def finding_class(code: str) -> type[Finding]:
    """The finding with this code; `KeyError` if no imported module declares it."""
    return _classes[code]


def all_codes() -> tuple[str, ...]:
    """The codes declared by the modules imported so far, in alphabetical order."""
    return tuple(sorted(_classes))
