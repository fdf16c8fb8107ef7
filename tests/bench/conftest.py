"""A bench over a folder, and a browser to use it with."""

from __future__ import annotations

import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
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
def bench(tmp_path_factory: pytest.TempPathFactory, windows: Any) -> Iterator[Served]:
    """One bench for every test of a worker: each begins papers of its own."""
    with opened(tmp_path_factory.mktemp("bench") / "prints") as served:
        yield served
        _closed(served, windows)


def _closed(bench: Served, windows: Any) -> None:
    """It leaves nothing, and what is cut off at the end, with a page open, is no fault."""
    told = bench.complaints.stat().st_size
    (bench.folder / "Linen").mkdir()
    page = windows.new_page()
    page.goto(bench.address)
    page.get_by_role("heading", name="Linen").wait_for()
    cookie, host = windows.cookies()[0], bench.base.removeprefix("http://")
    with socket.create_connection(("127.0.0.1", int(host.partition(":")[2]))) as cut:
        cut.sendall((f"PUT /files/Linen/cut.tif HTTP/1.1\r\nHost: {host}\r\nCookie: "
                     f"{cookie['name']}={cookie['value']}\r\nContent-Length: 9000\r\n\r\nII"
                     ).encode())
        page.wait_for_timeout(300)
        bench.process.send_signal(signal.SIGINT)
        said = bench.process.communicate(timeout=60)[0]
    assert said.endswith("The bench is closed.\n")
    assert bench.complaints.read_text(encoding="utf-8")[told:] == ""
    assert [*bench.folder.rglob("*")] == [bench.folder / "Linen"], "nothing is left"


@pytest.fixture
def begin(window: Any) -> Iterator[Callable[[Served, str], Path]]:
    """Make a paper and let the window in; afterwards no other page finds what the paper holds."""
    begun: list[Path] = []

    def paper(bench: Served, name: str) -> Path:
        begun.append(bench.folder / name)
        begun[-1].mkdir()
        base, _, token = bench.address.partition("/?token=")
        window.context.add_cookies([{  # as the address gives it
            "name": f"tonewright_bench_{base.rpartition(':')[2]}", "value": token, "url": base}])
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
    except Error:  # it crashed
        page.close()
