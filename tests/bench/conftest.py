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

from windows import needs_bench


@dataclass
class Served:
    """A bench that is open."""

    folder: Path
    address: str
    """With its token."""
    process: subprocess.Popen[str]
    complaints: Path
    """What it says on stderr."""

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
    needs_bench()
    folder.mkdir()
    with (complaints := folder.with_suffix(".txt")).open("w", encoding="utf-8") as stderr:
        process = subprocess.Popen([sys.executable, "-m", "tonewright", "bench", str(folder),
                                    "--port", "0", "--no-browser"], text=True,
                                   stdout=subprocess.PIPE, stderr=stderr, cwd=folder.parent)
    try:
        assert process.stdout is not None
        served = Served(folder, process.stdout.readline().strip(), process, complaints)
        assert served.address.startswith("http://"), complaints.read_text(encoding="utf-8")
        yield served
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)  # so that it leaves nothing behind
            try:
                process.communicate(timeout=30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.communicate()


@pytest.fixture(scope="session")
def benches(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[], Served]]:
    """The bench of a worker; another, where it was closed."""
    with ExitStack() as until_the_end:
        opened_: list[Served] = []

        def bench() -> Served:
            if not opened_ or opened_[-1].process.poll() is not None:
                folder = tmp_path_factory.mktemp("bench") / "prints"
                opened_.append(until_the_end.enter_context(opened(folder)))
            return opened_[-1]

        yield bench


@pytest.fixture
def bench(benches: Callable[[], Served]) -> Served:
    """One bench for every test of a worker: each begins papers of its own."""
    return benches()


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
    """A window of 1280 x 800 that knows nothing of those before it; what its scripts complain of,
    and any alarm, fails the test."""
    page = windows.pages[0] if windows.pages else windows.new_page()
    faults: list[str] = []

    def alarmed(dialog: Any) -> None:
        faults.append(f"{dialog.type}: {dialog.message}")
        dialog.dismiss()

    def failed(error: Any) -> None:
        faults.append(str(error))

    page.on("dialog", alarmed)
    page.on("pageerror", failed)
    yield page
    for opened_ in windows.pages[1:]:
        opened_.close()
    _forget(page)
    page.remove_listener("dialog", alarmed)
    page.remove_listener("pageerror", failed)
    windows.clear_cookies()
    assert not faults


def _forget(page: Any) -> None:
    """Empty a window for the next test: of the same bench, since a new window, and one that was
    elsewhere meanwhile, costs two processes more."""
    from playwright.sync_api import Error

    try:
        if page.url.startswith("http"):
            page.evaluate("localStorage.clear(); sessionStorage.clear()")
            page.goto(f"{page.evaluate('location.origin')}/files/-/nothing")
        page.set_viewport_size({"width": 1280, "height": 800})
    except Error:  # it crashed, or the bench was closed
        page.close()
