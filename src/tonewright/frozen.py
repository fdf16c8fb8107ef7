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
            for name, method in (_SHARED | _VALUES if eq else _SHARED).items():
                if name not in vars(kind):
                    setattr(kind, name, method)
            made = standard.dataclass(kind, eq=False, repr=False, **others)
            names = [f.name for f in standard.fields(made) if f.compare]
            made._compared = attrgetter(*names) if names else staticmethod(lambda _: ())
            return made

        return made if cls is None else made(cls)


def _set(self: Any, name: str, value: Any) -> None:
    own = self.__dict__
    if name in own or name not in self.__dataclass_fields__:  # `__init__` sets each field once
        raise standard.FrozenInstanceError(f"cannot assign to field {name!r}")
    own[name] = value


def _delete(self: Any, name: str) -> Never:
    raise standard.FrozenInstanceError(f"cannot delete field {name!r}")


def _repr(self: Any) -> str:
    parts = (f"{f.name}={getattr(self, f.name)!r}" for f in standard.fields(self) if f.repr)
    return f"{type(self).__qualname__}({', '.join(parts)})"


def _equal(self: Any, other: Any) -> Any:
    if type(other) is not type(self):
        return NotImplemented
    return self._compared(self) == self._compared(other)


def _hash(self: Any) -> int:
    return hash(self._compared(self))


_SHARED = {"__setattr__": _set, "__delattr__": _delete, "__repr__": _repr}
_VALUES = {"__eq__": _equal, "__hash__": _hash}
