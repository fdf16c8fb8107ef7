"""What a fit, a strip, a scan or a negative found: codes from a closed list, with numbers.

A finding holds numbers, and the names of places such as a patch or a step; never a sentence.
The part of the library that makes a finding declares it::

    class BlackNotReached(Finding, kind="warning", bears_on_print=True):
        \"\"\"The darkest patch is not yet the paper's maximum black.\"\"\"

        still_gaining_lightness: float
        \"\"\"L* that the last step still gained.\"\"\"

Each field's unit and scale stand in its name and its docstring.
"""

from __future__ import annotations

import re
from dataclasses import MISSING, FrozenInstanceError, dataclass, fields
from typing import Any, ClassVar, Literal, Never, dataclass_transform

Kind = Literal["warning", "note"]
_classes: dict[str, type[Finding]] = {}
_RESERVED = {"code", "kind", "bears_on_print"}


@dataclass_transform(frozen_default=True)
class Finding:
    """Base of all findings; each is a frozen dataclass of its own.

    Its methods serve them all: writing six anew for each of a hundred classes, as the decorator
    does, would take a tenth of the time that a small negative needs.  Declaring two of one name, or
    a field with the name of a fact below, raises `TypeError`.
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
        dataclass(init=False, repr=False, eq=False)(cls)
        _classes[code] = cls

    def __init__(self, *values: Any, **named: Any) -> None:
        """Take the fields in their order or by name; `TypeError` if they are not these."""
        own: Any = self
        known = fields(own)
        given = dict(zip((f.name for f in known), values, strict=False)) | named
        if len(given) != len(values) + len(named) or not given.keys() <= {f.name for f in known}:
            raise TypeError(f"{type(self).__name__} has the fields"
                            f" {', '.join(f.name for f in known) or 'none'}, each given once")
        for f in known:
            value = given.get(f.name, f.default)
            if value is MISSING:
                raise TypeError(f"{type(self).__name__} needs {f.name}")
            object.__setattr__(self, f.name, value)

    def __repr__(self) -> str:
        values = ", ".join(f"{name}={value!r}" for name, value in vars(self).items())
        return f"{type(self).__name__}({values})"

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and vars(other) == vars(self)

    def __hash__(self) -> int:
        return hash((type(self), *vars(self).values()))

    def __setattr__(self, name: str, value: Any) -> Never:
        raise FrozenInstanceError(f"a finding does not change: {name}")

    def __delattr__(self, name: str) -> Never:
        raise FrozenInstanceError(f"a finding does not change: {name}")


def finding_class(code: str) -> type[Finding]:
    """The finding with this code; `KeyError` if no imported module declares it."""
    return _classes[code]


def all_codes() -> tuple[str, ...]:
    """The codes declared by the modules imported so far, in alphabetical order."""
    return tuple(sorted(_classes))
