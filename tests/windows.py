"""What tests of the bench do in a browser's window."""

from __future__ import annotations

import importlib.util
import os
import shlex
import shutil
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tonewright.cli import main

SHOTS = os.environ.get("TONEWRIGHT_SCREENSHOTS")
"""A folder to keep pictures of the pages in."""


def needs_bench() -> None:
    """Leave a test out where there is no bench, without the second that its import takes."""
    if importlib.util.find_spec("nicegui") is None:
        pytest.importorskip("nicegui", reason="the bench is not installed")


def shot(page: Any, name: str) -> None:
    """Keep a picture of the page where that is asked for."""
    if SHOTS:
        height = page.evaluate("document.documentElement.scrollHeight")
        page.set_viewport_size({"width": 1280, "height": height})  # the foot stays where it ends
        page.screenshot(path=str(Path(SHOTS) / f"{name}.png"))
        page.set_viewport_size({"width": 1280, "height": 800})


def read_by_two_densities(page: Any, scan: str) -> None:
    """Have a scan read that has no scanner response, on its page."""
    page.get_by_label("What to read").select_option(scan)
    page.get_by_label("Density of the bare paper").fill("0.09")
    page.get_by_label("Density of the blackest").fill("1.55")
    page.get_by_role("button", name="Read it", exact=True).click()


def same(page: Any, folder: Path, tmp_path: Path, *outputs: str) -> None:
    """The command that the page shows writes the same bytes."""
    command = page.locator(".same-command code").last.text_content()
    again = tmp_path / f"again-{len([*tmp_path.iterdir()])}"
    for paper in {Path(output).parts[0] for output in outputs}:
        shutil.copytree(folder / paper, again / paper)
    for output in outputs:
        (again / output).unlink()
    before = Path.cwd()
    os.chdir(again)
    try:
        done = CliRunner().invoke(main, shlex.split(command)[1:])
    finally:
        os.chdir(before)
    assert done.exit_code in (0, 1), done.output
    for output in outputs:
        assert (again / output).read_bytes() == (folder / output).read_bytes(), output


def paste(page: Any, cell: str, *texts: str) -> None:
    """Paste a text into a cell, or several one right after the other."""
    page.locator(f'[data-cell="{cell}"]').focus()
    page.evaluate("""texts => { for (const text of texts) {
        const data = new DataTransfer(); data.setData('text', text);
        document.activeElement.dispatchEvent(new ClipboardEvent('paste',
            {clipboardData: data, bubbles: true, cancelable: true})); } }""", texts)


@contextmanager
def held(process: int) -> Iterator[None]:
    """Hold the processes that this one has started."""
    found = subprocess.run(["pgrep", "-P", str(process)], capture_output=True, check=True)
    started = [int(one) for one in found.stdout.split()]
    for one in started:
        os.kill(one, signal.SIGSTOP)
    try:
        yield
    finally:
        for one in started:
            with suppress(ProcessLookupError):  # it was ended meanwhile
                os.kill(one, signal.SIGCONT)
