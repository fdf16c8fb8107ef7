"""Our frozen dataclasses behave as those of the standard library."""

from __future__ import annotations

import dataclasses
import pickle
from dataclasses import FrozenInstanceError, field

import pytest

from tonewright import frozen


def declared(decorator):
    """One class and another that derives from it, by either decorator."""

    @decorator(frozen=True)
    class Place:
        x: float
        y: float = 2.0
        note: str = field(default="", compare=False)
        secret: int = field(default=0, repr=False)

    @decorator(frozen=True, kw_only=True)
    class Named(Place):
        name: str

        def __post_init__(self) -> None:
            object.__setattr__(self, "name", self.name.strip())

    Place.__qualname__, Named.__qualname__ = "Place", "Named"
    return Place, Named


@dataclasses.dataclass
class Pair:
    """What both decorators make of the same arguments."""

    ours: object
    theirs: object


@pytest.fixture
def both():
    return [Pair(*made) for made in zip(declared(frozen.dataclass),
                                        declared(dataclasses.dataclass), strict=True)]


def test_repr_fields_and_replacing_are_alike(both):
    place, named = both
    for make, more in ((place, {}), (named, {"name": " a "})):
        ours, theirs = (kind(1.5, note="n", secret=3, **more) for kind in (make.ours, make.theirs))
        assert repr(ours) == repr(theirs)
        assert dataclasses.asdict(ours) == dataclasses.asdict(theirs)
        moved = dataclasses.replace(ours, y=9.0)
        assert repr(moved) == repr(dataclasses.replace(theirs, y=9.0)) != repr(ours)


def test_equality_and_hash_are_alike(both):
    pairs = [((1.0,), {}), ((1.0,), {"note": "n"}), ((1.0, 3.0), {}), ((1.0,), {"secret": 4})]
    for one, more in pairs:
        for other, others in pairs:
            said = [kind(*one, **more) == kind(*other, **others)
                    for kind in (both[0].ours, both[0].theirs)]
            assert said[0] == said[1]
            if said[0]:
                assert hash(both[0].ours(*one, **more)) == hash(both[0].ours(*other, **others))
    assert both[0].ours(1.0) != both[1].ours(1.0, name="a")  # another class is never equal


def test_nothing_is_set_or_deleted_once_it_is_made(both):
    for kind in (both[0].ours, both[0].theirs):
        made = kind(1.0)
        for change in (lambda: setattr(made, "x", 2.0), lambda: setattr(made, "z", 2.0),  # noqa: B023
                       lambda: delattr(made, "x")):  # noqa: B023
            with pytest.raises(FrozenInstanceError):
                change()
        assert made.x == 1.0


@frozen.dataclass(frozen=True)
class Kept:
    """To be found by pickle."""

    x: float


@frozen.dataclass(frozen=True, eq=False)
class Alone:
    """Equal to itself only."""

    x: float = 1.0


def test_it_goes_through_pickle_and_without_eq_it_is_itself_alone():
    assert pickle.loads(pickle.dumps(Kept(2.0))) == Kept(2.0)
    one = Alone()
    assert one == one != Alone()
    assert len({one, Alone()}) == 2
