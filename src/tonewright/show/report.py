"""What every command says: read, found, doubtful, written, next; and the same as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from tonewright.record.codec import encode
from tonewright.record.findings import Finding
from tonewright.show.cautions import with_cautions
from tonewright.show.findings import sentence
from tonewright.show.words import Fact, headed, set_facts


def report(
    head: str, facts: Iterable[Fact | str], written: Path | str | None, then: str, *others: Fact,
    plot: Path | None = None, exposes: bool = False,
) -> str:
    """A whole report.

    Parameters
    ----------
    facts:
        What was read, found and is doubtful; a text is a line of its own, as of a table.
    written:
        The file, or what is said of several; None: none was.
    plot:
        The picture that was written as well.
    then, others, exposes:
        As in `ending`.
    """
    return "\n".join([head, *set_facts(facts), "",
                      ending((written, plot), then, *others, exposes=exposes)])


def ending(
    written: Iterable[Path | str | None], then: str, *others: Fact, exposes: bool = False
) -> str:
    """How every report ends: with what was written, and what to do next.

    Parameters
    ----------
    written:
        Each file, or what is said of it; None: none was.
    then:
        What to do next; ``others`` are further lines of this kind.
    exposes:
        Whether that is to coat, mix or expose, as in `with_cautions`.
    """
    facts = [*(("Written:", file) for file in written if file is not None),
             ("Next:", then), *others]
    return with_cautions([_end(*fact) for fact in facts], exposes)


def _end(head: str, text: Path | str) -> str:
    """A line that ends a report; a path or a command by itself is not wrapped."""
    whole = isinstance(text, Path) or text.startswith("tonewright ")
    return f"{head:<10}{text}" if whole else headed(head, str(text))


def doubts(findings: Iterable[Finding]) -> list[Fact]:
    """Findings in words, each under its kind."""
    return [(f.kind, sentence(f)) for f in findings]


def found_json(findings: Iterable[Finding]) -> dict[str, Any]:
    """Findings as data, and in words."""
    found = [*findings]
    return {"findings": [*map(encode, found)], "warnings": [*map(sentence, found)]}


def taken(thing: Any, *names: str) -> dict[str, Any]:
    """Some of what a thing holds, under its own names."""
    return {name: getattr(thing, name) for name in names}
