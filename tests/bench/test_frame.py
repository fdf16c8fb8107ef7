"""What a page sees of its folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from loops import in_a_loop
from tonewright.errors import FileError
from tonewright.files.papers import HERE, Papers


def test_a_paper_that_goes_while_the_page_looks_is_looked_past(tmp_path: Path) -> None:
    """The list of papers still names it; the next look does not."""
    pytest.importorskip("nicegui", reason="the bench is not installed")
    from tonewright.bench.frame import Foot  # a second's work, for the worker that needs it

    (tmp_path / "Linen").mkdir()
    foot = Foot.__new__(Foot)  # without the page that it stands on
    foot._papers, foot._paper, foot._seen = Papers(tmp_path), HERE, ""
    names: list[tuple[str, ...]] = []

    def list_papers() -> None:
        names.append(foot._papers.names())
        if (tmp_path / "Linen").exists():
            (tmp_path / "Linen").rmdir()
        for paper in names[-1]:
            foot._papers.folder(paper)

    foot.calls = [list_papers]
    in_a_loop(foot._look())
    in_a_loop(foot._look())
    assert names == [("Linen",), ()]
    foot._seen, foot.calls = "", [lambda: foot._papers.folder("Hessian")]
    with pytest.raises(FileError, match="there is no paper Hessian"):
        in_a_loop(foot._look())
