"""Frozen dataclasses that load fast.

Before Python 3.13 the standard decorator compiles six methods for each class, which took a fifth of
a small negative's time.  Here all classes share five of them, and behave alike.
"""

from __future__ import annotations

import dataclasses as standard
from operator import attrgetter
from typing import TYPE_CHECKING, Any, Never

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls=None, /, *, frozen=False, eq=True, repr=True, **others):
        """As `dataclasses.dataclass`."""

        def made(kind):
            if not frozen or not repr or others.keys() - {"kw_only"}:
                return standard.dataclass(kind, frozen=frozen, eq=eq, repr=repr, **others)
            for name in _SHARED if eq else _SHARED[:3]:
                if name not in vars(kind):
                    setattr(kind, name, vars(Frozen)[name])
            made = standard.dataclass(kind, eq=False, repr=False, **others)
            names = [f.name for f in standard.fields(made) if f.compare]
            made._compared = attrgetter(*names) if names else staticmethod(lambda _: ())
            return made

        return made if cls is None else made(cls)


_SHARED = ("__setattr__", "__delattr__", "__repr__", "__eq__", "__hash__")


class Frozen:
    """The methods that frozen dataclasses share; what `_compared` gives tells two apart."""

    _compared: Any

    def __setattr__(self, name: str, value: Any) -> None:
        own = self.__dict__
        # `__init__` sets each field once
        if name in own or name not in self.__dataclass_fields__:  # type: ignore[attr-defined]
            raise standard.FrozenInstanceError(f"cannot assign to field {name!r}")
        own[name] = value

    def __delattr__(self, name: str) -> Never:
        raise standard.FrozenInstanceError(f"cannot delete field {name!r}")

    def __repr__(self) -> str:
        shown = (f for f in standard.fields(self) if f.repr)  # type: ignore[arg-type]
        parts = (f"{f.name}={getattr(self, f.name)!r}" for f in shown)
        return f"{type(self).__qualname__}({', '.join(parts)})"

    def __eq__(self, other: object) -> Any:
        if type(other) is not type(self):
            return NotImplemented
        return self._compared(self) == self._compared(other)

    def __hash__(self) -> int:
        return hash(self._compared(self))
