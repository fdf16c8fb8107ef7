"""Fields to fill in, and what is wrong beside the one that it concerns."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from nicegui.events import GenericEventArguments

from tonewright.bench.parts.tags import Tag
from tonewright.errors import TonewrightError

_TOLD = "(event) => emit(event.target.value)"


class Field:
    """A label, an input or a choice of several, a hint, and a place for a fault.

    Parameters
    ----------
    choices:
        Value and label of each, for a choice of several; None: a text.
    on_change:
        Called without arguments after every change.
    """

    def __init__(
        self, label: str, value: str = "", *, hint: str = "",
        on_change: Callable[[], Any] | None = None, choices: Mapping[str, str] | None = None,
        kind: str = "text",
    ) -> None:
        self.value, self._on_change = value, on_change
        with Tag("div", classes="field") as self.box:
            name = Tag("label", label)
            if choices is None:
                self._input = Tag("input", type=kind, value=value, autocomplete="off",
                                  spellcheck="false")
                self._input.on("input", self._changed, js_handler=_TOLD)
            else:
                with Tag("select") as self._input:
                    self._fill(choices)
                self._input.on("change", self._changed, js_handler=_TOLD)
            self._input.props.update({"id": f"field-{self._input.id}"})
            name.props.update({"for": f"field-{self._input.id}"})
            said = [Tag("p", hint, "hint")] if hint else []
            self._fault = Tag("p", "", "field-error", role="alert")
            for part in (*said, self._fault):
                part.props.update({"id": f"field-{self._input.id}-{part.id}"})
            self._input.props.update({"aria-describedby": " ".join(
                str(part.props["id"]) for part in (*said, self._fault))})

    def _fill(self, choices: Mapping[str, str]) -> None:
        for value, label in choices.items():
            chosen = {"selected": ""} if value == self.value else {}
            Tag("option", label, value=value, **chosen)

    def set_choices(self, choices: Mapping[str, str], value: str) -> None:
        """Other choices, one of them chosen."""
        self.value = value
        self._input.clear()
        with self._input:
            self._fill(choices)

    def set(self, value: str) -> None:
        """Another value, as if it were typed, but not told as a change."""
        self.value = value
        self._input.props.update({"value": value})
        self._input.client.run_javascript(
            f"document.getElementById('field-{self._input.id}').value = {json.dumps(value)}")

    def show_error(self, text: str | None) -> None:
        """What is wrong with the value; None: nothing any more."""
        self._fault.say(text or "")
        self._input.props.update({"aria-invalid": "true" if text else "false"})

    def _changed(self, event: GenericEventArguments) -> Any:
        self.value = str(event.args)
        with self._input.props.suspend_updates():  # the browser has it; drawn anew, it stays
            self._input.props["value"] = self.value
        return self._on_change() if self._on_change else None


class Choice:
    """A box to tick."""

    def __init__(self, label: str, value: bool = False,
                 on_change: Callable[[], Any] | None = None) -> None:
        self.value, self._on_change = value, on_change
        with Tag("div", classes="field"), Tag("label", classes="field-choice"):
            self._input = Tag("input", type="checkbox", **({"checked": ""} if value else {}))
            self._input.on("change", self._changed,
                           js_handler="(event) => emit(event.target.checked)")
            Tag("span", label)

    def _changed(self, event: GenericEventArguments) -> Any:
        self.value = bool(event.args)
        return self._on_change() if self._on_change else None


class Refusal:
    """Where an error is shown: at the field that its code names, else here.

    Parameters
    ----------
    fields:
        The field of each code.
    """

    def __init__(self, fields: Mapping[str, Field] | None = None) -> None:
        self._fields = dict(fields or {})
        self._here = Tag("p", "", "field-error", role="alert")

    def show(self, error: TonewrightError) -> None:
        """Show it, and nothing else."""
        self.clear()
        field = self._fields.get(error.code or "")
        if field is None:
            self._here.say(error.sentences())
        else:
            field.show_error(error.sentences())

    def clear(self) -> None:
        """Show none."""
        self._here.say("")
        for field in self._fields.values():
            field.show_error(None)
