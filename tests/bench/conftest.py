"""A bench over a folder of its own, and a browser to use it with."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest


@dataclass
class Served:
    """A bench that is open."""

    folder: Path
    address: str
    """With its token."""
    process: subprocess.Popen[str]

    @property
    def base(self) -> str:
        """Without it."""
        return self.address.partition("/?")[0]

    def paper(self, name: str, step: str) -> str:
        """Where a page is."""
        return f"{self.base}/paper/{name}/{step}"

    def end(self) -> str:
        """Ctrl-C, and what was said after the address."""
        self.process.send_signal(signal.SIGINT)
        said, _ = self.process.communicate(timeout=60)
        return said


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Open a bench; it is closed after the test."""
    pytest.importorskip("nicegui", reason="the bench is not installed")
    open_: list[Served] = []

    def begin(folder: Path | None = None, *options: str) -> Served:
        where = folder or tmp_path / "prints"
        where.mkdir(exist_ok=True)
        process = subprocess.Popen(
            [sys.executable, "-m", "tonewright", "bench", str(where), "--port", "0",
             "--no-browser", *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            cwd=tmp_path)
        assert process.stdout is not None
        served = Served(where, process.stdout.readline().strip(), process)
        open_.append(served)
        assert served.address.startswith("http://"), process.communicate()
        return served

    yield begin
    for served in open_:
        if served.process.poll() is None:
            served.process.kill()
            served.process.communicate()


@pytest.fixture
def window(chromium: Any) -> Iterator[Any]:
    """A window of 1280 x 800; what its scripts complain of fails the test."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.set_default_timeout(60_000)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    yield page
    context.close()
    assert not faults
