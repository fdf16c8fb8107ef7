"""What was found, as every page shows it: the figure, facts, doubts, cautions, the command."""

from __future__ import annotations

from tonewright.bench.parts.tags import Tag
from tonewright.bench.tasks.views import View
from tonewright.show.cautions import CAUTIONS


def show_result(view: View, label: str = "", unknown: str = "not known yet") -> None:
    """The parts of a result beside its picture; ``label`` names its one figure."""
    if label:
        with Tag("p", classes="big-number"):
            Tag("span", view.result or unknown)
            Tag("small", label)
    Tag("p", _sentence(view.next), "next-step")
    for kind, said in view.doubts:
        Tag("p", said, "finding serious" if kind == "warning" else "finding")
    with Tag("dl", classes="facts"):
        for name, text in view.facts:
            Tag("dt", name)
            Tag("dd", text)
    if view.exposes:
        show_cautions()
    if view.command:
        same_command(view.command)


def show_cautions() -> None:
    """What goes with having someone coat, mix or expose something."""
    with Tag("div", classes="caution", role="note", aria_label="Safety"):
        for caution in CAUTIONS:
            Tag("p", caution)


def same_command(text: str) -> None:
    """The command that does the same, folded in."""
    with Tag("details", classes="same-command"):
        Tag("summary", "The same as a command")
        Tag("code", text)


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}" + ("" if words.endswith(".") else ".")
