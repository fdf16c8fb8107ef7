"""Fields to fill in, and what is wrong beside the one that it concerns."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

from nicegui.element import Element
from nicegui.events import GenericEventArguments

from tonewright.bench.parts.tags import Tag
from tonewright.errors import DocumentError, TonewrightError, capital


class Fault:
    """A place for what is wrong."""

    def __init__(self, **props: Any) -> None:
        self.fault = Tag("p", "", "field-error", role="alert", **props)

    def show_error(self, error: TonewrightError | None) -> None:
        """What is wrong; None: nothing any more."""
        self.fault.say("" if error is None else capital(error.sentences()))


class _Input(Fault):
    """A fault of an input, which is told where a hint and the fault stand."""

    def __init__(self, made: Element, hint: str) -> None:
        own = f"field-{made.id}"
        said = [Tag("p", hint, "hint", id=f"{own}-hint")] if hint else []
        super().__init__(id=f"{own}-fault")
        told = " ".join(str(part.props["id"]) for part in (*said, self.fault))
        made.props.update({"id": own, "aria-describedby": told})
        self._input = made

    def show_error(self, error: TonewrightError | None) -> None:
        super().show_error(error)
        self._input.props.update({"aria-invalid": error is not None})


class Field(_Input):
    """A label, an input or a choice of several, a hint, and a place for a fault.

    Parameters
    ----------
    choices:
        Value and label of each, for a choice of several, or what makes them anew; None: a text.
    lines:
        Whether the text may have many lines.
    on_change:
        Called without arguments after every change.
    """

    def __init__(
        self, label: str, value: str = "", *, hint: str = "",
        on_change: Callable[[], Any] | None = None,
        choices: Mapping[str, str] | Callable[[], Mapping[str, str]] | None = None,
        lines: bool = False,
    ) -> None:
        self.label, self.value, self._on_change = label, value, on_change
        self._find, self._choices = choices, dict[str, str]()
        with Tag("div", classes="field") as self.box:
            name = Tag("label", label)
            super().__init__(_TextInput(value, lines) if choices is None else Tag("select"), hint)
            name.props.update({"for": self._input.props["id"]})
            if choices is None:
                self._input.on("typed", self._typed)
            else:
                self._input.on("change", lambda event: self._changed(str(event.args)),
                               js_handler="(event) => emit(event.target.value)")
                self.renew()

    @property
    def text(self) -> str:
        """What is typed, without spaces around it."""
        return self.value.strip()

    def renew(self, value: str | None = None) -> None:
        """Make the choices anew, and choose another of them if it is given.  What is chosen stays,
        also when it is gone: whoever uses it is told.  Where there was none, the first is chosen,
        which is told as a change."""
        found = dict(self._find() if callable(self._find) else self._find or {})
        first = value is None and not self.value and "" not in found and bool(found)
        self.value = next(iter(found)) if first else self.value if value is None else value
        if self.value and self.value not in found:
            found[self.value] = f"{self.value} (gone)"
        if value is None and found == self._choices:
            return  # else the list would close under the hand
        self._choices = found
        self._input.clear()
        with self._input:
            for one, label in found.items():
                chosen = {"selected": ""} if one == self.value else {}
                Tag("option", label, value=one, **chosen)
        if first and self._on_change:
            self._on_change()

    def set(self, value: str) -> None:
        """Another value, which is not told as a change."""
        self.value = value
        if isinstance(self._input, _TextInput):
            self._input.put(value)

    def _typed(self, event: GenericEventArguments) -> Any:
        if event.args["edition"] != self._input.props["edition"]:
            return None  # typed into what was replaced meanwhile
        return self._changed(str(event.args["text"]))

    def _changed(self, value: str) -> Any:
        self.value = value
        return self._on_change() if self._on_change else None


class _TextInput(Element, component="text_input.js"):
    """The input itself, which keeps what is typed in the browser."""

    def __init__(self, value: str, lines: bool) -> None:
        super().__init__()
        self._props.update(value=value, lines=lines, edition=0)

    def put(self, value: str) -> None:
        """Replace what is typed."""
        self._props.update(value=value, edition=self._props["edition"] + 1)
        self.update()


class Choice(_Input):
    """A box to tick, with a hint and a place for a fault."""

    def __init__(self, label: str, value: bool = False,
                 on_change: Callable[[], Any] | None = None, *, hint: str = "") -> None:
        self.value, self._on_change = value, on_change
        with Tag("div", classes="field") as self.box:
            with Tag("label", classes="field-choice"):
                made = Tag("input", type="checkbox")
                self._label = Tag("span", label)
            super().__init__(made, hint)
        made.on("change", self._changed, js_handler="(event) => emit(event.target.checked)")
        self.set(value)

    def set(self, value: bool, label: str | None = None) -> None:
        """Another value, which is not told as a change, and another label."""
        self.value = value
        self._input.props["checked"] = value
        if label is not None:
            self._label.say(label)

    def _changed(self, event: GenericEventArguments) -> Any:
        self.set(bool(event.args))
        return self._on_change() if self._on_change else None


class Ticks:
    """Files to tick, which follow what comes into the folder and what goes.

    Parameters
    ----------
    find:
        Their names, in order.
    on_change:
        Called with a name that is ticked or not any more.
    first:
        Whether the first is ticked where there was none before.
    none:
        What is said while there are none.
    """

    def __init__(
        self, find: Callable[[], Sequence[str]], on_change: Callable[[str], Any] = lambda _: None,
        *, first: bool = False, none: str = "",
    ) -> None:
        self._find, self._first = find, first
        self.boxes: dict[str, Choice] = {}
        with Tag("div", classes="ticks") as self.box:
            self._none = Tag("p", none, "hint")
            self._list = Tag("div")
        self._on_change: Callable[[str], Any] = lambda _: None  # until the page stands
        self.renew()
        self._on_change = on_change

    @property
    def ticked(self) -> list[str]:
        """The names of those that are ticked, in order."""
        return [name for name, box in self.boxes.items() if box.value]

    def renew(self) -> None:
        """Add what has come, and take away what is gone."""
        before, names = self.ticked, list(self._find())
        first = names[:1] if self._first and not self.boxes else []
        for name in {*self.boxes} - {*names}:
            self.boxes.pop(name).box.delete()
        for place, name in enumerate(names):
            if name not in self.boxes:  # the others stay where the focus may be
                with self._list:
                    self.boxes[name] = Choice(name, name in first, partial(self._told, name))
                self.boxes[name].box.move(target_index=place)
        self.boxes = {name: self.boxes[name] for name in names}
        self._none.set_visibility(not names)
        for name in {*before} ^ {*self.ticked}:
            self._on_change(name)

    def tick(self, name: str, *, alone: bool = False) -> None:
        """Tick one of those that are there now; ``alone``: no other."""
        self.renew()
        for other, box in self.boxes.items():
            if alone or other == name:
                box.set(other == name)

    def clear(self) -> None:
        """Begin anew, with other files."""
        for box in self.boxes.values():
            box.box.delete()
        self.boxes = {}
        self.renew()

    def _told(self, name: str) -> Any:
        return self._on_change(name)


class Refusal:
    """Where an error is shown: at the field that its code names, else here.

    Parameters
    ----------
    fields:
        The codes that each field is at fault of.
    document:
        The field of a document, for one that cannot be used.
    here:
        Where all else is shown; None: at the place where this is made.
    """

    def __init__(
        self, fields: Mapping[Fault, tuple[str, ...]] | None = None,
        document: Fault | None = None, here: Fault | None = None,
    ) -> None:
        self._fields = {code: field for field, codes in (fields or {}).items() for code in codes}
        self._document = document
        self._here = here or Fault()
        self._shown: Fault = self._here

    def show(self, error: TonewrightError, otherwise: Fault | None = None) -> None:
        """Show it, and nothing else; one that concerns no field of its own ``otherwise``."""
        self.clear()  # the browser is told at the end of the turn: what is said again stays
        place = self._fields.get(error.code or "", otherwise or self._here)
        if isinstance(error, DocumentError) and self._document is not None:
            place = self._document
        if place.fault.is_deleted:  # the fields were made anew while the work went on
            return
        place.show_error(error)
        place.fault.reveal()
        self._shown = place

    def clear(self) -> None:
        """Show none."""
        for place in (self._here, self._shown, self._document, *self._fields.values()):
            if place is not None and not place.fault.is_deleted:
                place.show_error(None)
