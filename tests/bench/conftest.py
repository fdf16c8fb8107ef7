"""A bench over a folder, and a browser to use it with."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
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


@contextmanager
def opened(folder: Path) -> Iterator[Served]:
    """Open a bench, and close it if that was not done."""
    pytest.importorskip("nicegui", reason="the bench is not installed")
    folder.mkdir()
    process = subprocess.Popen(
        [sys.executable, "-m", "tonewright", "bench", str(folder), "--port", "0", "--no-browser"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=folder.parent)
    try:
        assert process.stdout is not None
        served = Served(folder, process.stdout.readline().strip(), process)
        assert served.address.startswith("http://"), process.communicate()
        yield served
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)  # so that it leaves nothing behind
            try:
                process.communicate(timeout=30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.communicate()


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[[], Served]]:
    """Open a bench of the test's own."""
    with ExitStack() as until_the_end:
        yield lambda: until_the_end.enter_context(opened(tmp_path / "prints"))


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One bench for every test of a worker: each begins papers of its own."""
    with opened(tmp_path_factory.mktemp("bench") / "prints") as served:
        yield served


@pytest.fixture
def begin(window: Any) -> Iterator[Callable[[Served, str], Path]]:
    """Make a paper and let the window in; afterwards no other page finds what the paper holds."""
    begun: list[Path] = []

    def paper(bench: Served, name: str) -> Path:
        begun.append(bench.folder / name)
        begun[-1].mkdir()
        window.context.request.get(bench.address, max_redirects=0)  # for the cookie alone
        return begun[-1]

    yield paper
    for folder in begun:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def windows(chromium: Any) -> Iterator[Any]:
    """What the windows of a worker share: scripts that were fetched and compiled for one of them
    serve the next."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(60_000)
    yield context
    context.close()


@pytest.fixture
def window(windows: Any) -> Iterator[Any]:
    """A window of 1280 x 800 that knows nothing of those before it; what its scripts complain of
    fails the test."""
    page = windows.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    yield page
    if page.url.startswith("http"):
        page.evaluate("localStorage.clear()")
    for opened_ in windows.pages:
        opened_.close()
    windows.clear_cookies()
    assert not faults
