"""The contributors' page holds what the code holds: the closed list of findings.

``python tests/test_developers.py`` writes the list anew.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

import tonewright
from tonewright.record.findings import Finding, all_codes, finding_class

SOURCE = Path(tonewright.__file__).parent
for path in SOURCE.rglob("findings.py"):
    import_module("tonewright." + ".".join(path.relative_to(SOURCE).with_suffix("").parts))

PAGE = Path(__file__).parents[1] / "DEVELOPERS.md"
HEADING = "## Findings\n"


def meaning(finding: type[Finding]) -> str:
    """The first sentence of what the class says of itself, on one line."""
    first = " ".join((finding.__doc__ or "").split("\n\n")[0].split())
    return first.rstrip(".")


def ours() -> list[type[Finding]]:
    """The closed list, without what other tests add to it."""
    return [c for c in map(finding_class, all_codes()) if c.__module__.startswith("tonewright.")]


def listed() -> str:
    """The section as it should stand."""
    rows = [f"| `{c.code}` | {c.__module__.removeprefix('tonewright.')} |"
            f" {'yes' if c.bears_on_print else ''} | {meaning(c)} |" for c in ours()]
    return "\n".join([
        HEADING,
        "Every code that documents and `--json` may hold. Those that bear on the print are"
        " repeated when a negative is made.", "",
        "| code | declared in | bears on the print | what it says |",
        "|---|---|---|---|", *rows, ""])


def test_the_list_of_findings_is_the_code_s():
    page = PAGE.read_text(encoding="utf-8")
    assert page[page.index(HEADING):] == listed()


def test_every_finding_says_what_it_is():
    assert len(ours()) > 10
    for finding in ours():
        assert len(meaning(finding)) > 10, finding.code


if __name__ == "__main__":
    text = PAGE.read_text(encoding="utf-8").partition(HEADING)[0]
    PAGE.write_text(text + listed(), encoding="utf-8", newline="\n")
