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
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass
from typing import Any, ClassVar, Literal, NoReturn, dataclass_transform

Kind = Literal["warning", "note"]
_classes: dict[str, type[Finding]] = {}
_RESERVED = {"code", "kind", "bears_on_print"}


@dataclass_transform(frozen_default=True)
class Finding:
    """Base of all findings; each is a frozen dataclass of its own, by its declaration alone.

    What dataclasses generate for each class stands here once for all: there are over a hundred,
    and to generate it takes a tenth of a short command.  Declaring two of one name, or a field
    with the name of a fact below, raises `TypeError`.
    """

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

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
        _classes[code] = dataclass(init=False, repr=False, eq=False)(cls)

    def __init__(self, *values: Any, **named: Any) -> None:
        """Take the fields in their order or by name; `TypeError` if they are not these."""
        fields = self.__dataclass_fields__
        given = dict(zip(fields, values, strict=False)) | named
        if len(given) < len(values) + len(named) or not given.keys() <= fields.keys():
            raise TypeError(f"{self.code} takes {', '.join(fields)}")
        for name, one in fields.items():
            if name not in given:
                if one.default is MISSING:
                    raise TypeError(f"{self.code} needs {name}")
                given[name] = one.default
        self.__dict__.update((name, given[name]) for name in fields)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        """Raise `FrozenInstanceError`."""
        raise FrozenInstanceError(f"{self.code}.{name} is not changed")

    def __delattr__(self, name: str) -> NoReturn:
        """Raise `FrozenInstanceError`."""
        raise FrozenInstanceError(f"{self.code}.{name} is not changed")

    def __eq__(self, other: object) -> bool:
        """Whether it is the same kind of finding with the same values."""
        return vars(self) == vars(other) if type(other) is type(self) else NotImplemented

    def __hash__(self) -> int:
        """The same for equal findings."""
        return hash((type(self), *vars(self).values()))

    def __repr__(self) -> str:
        """As it would be written."""
        return f"{type(self).__name__}({', '.join(f'{n}={v!r}' for n, v in vars(self).items())})"


def finding_class(code: str) -> type[Finding]:
    """The finding with this code; `KeyError` if no imported module declares it."""
    return _classes[code]


def all_codes() -> tuple[str, ...]:
    """The codes declared by the modules imported so far, in alphabetical order."""
    return tuple(sorted(_classes))
