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
from dataclasses import MISSING, dataclass, fields
from typing import Any, ClassVar, Literal, dataclass_transform

from tonewright.frozen import Frozen

Kind = Literal["warning", "note"]
_classes: dict[str, type[Finding]] = {}
_RESERVED = {"code", "kind", "bears_on_print"}


@dataclass_transform(frozen_default=True)
class Finding(Frozen):
    """Base of all findings; each is a frozen dataclass of its own.

    Its ``__init__`` serves them all, as the methods of `Frozen` do: writing them anew for each of a
    hundred classes would take a tenth of the time that a small negative needs.  Declaring two of
    one name, or a field with the name of a fact below, raises `TypeError`.
    """

    code: ClassVar[str] = ""
    """The class's name in snake case: ``black_not_reached``."""
    kind: ClassVar[Kind] = "warning"
    bears_on_print: ClassVar[bool] = False
    """Whether it is said again when a negative is made."""
    _compared = staticmethod(lambda found: tuple(vars(found).values()))

    def __init_subclass__(
        cls, *, kind: Kind = "warning", bears_on_print: bool = False, declared: bool = True
    ) -> None:
        """Enter the class in the list of findings, unless it is only what several share."""
        code = re.sub(r"(?<!^)(?=[A-Z])", "_", cls.__name__).lower()
        if code in _classes:
            raise TypeError(f"the finding {code} is declared twice, in"
                            f" {_classes[code].__module__} and {cls.__module__}")
        if taken := _RESERVED & set(vars(cls).get("__annotations__", {})):
            raise TypeError(f"the finding {code} has a field named {', '.join(sorted(taken))}")
        cls.code, cls.kind, cls.bears_on_print = code, kind, bears_on_print
        dataclass(init=False, repr=False, eq=False)(cls)
        if declared:
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
            setattr(self, f.name, value)


def finding_class(code: str) -> type[Finding]:
    """The finding with this code; `KeyError` if no imported module declares it."""
    return _classes[code]


def all_codes() -> tuple[str, ...]:
    """The codes declared by the modules imported so far, in alphabetical order."""
    return tuple(sorted(_classes))
