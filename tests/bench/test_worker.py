"""The process beside the page's."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest

from loops import in_a_loop
from tonewright.bench.worker import Cancelled, Overtaken, Worker
from tonewright.errors import OptionError, TonewrightError
from tonewright.files.safe import whole_file

pytestmark = pytest.mark.skipif(os.name != "posix", reason="locks and signals")


def where() -> str:
    print("stray")
    return str(Path.cwd())


def refused() -> None:
    raise OptionError("it is 3", "it is 2", "make it 2", code="a_code", value="3")


def lost() -> None:
    os._exit(9)


class OfTheParentAlone:
    """What the process beside cannot make again."""

    def __reduce__(self) -> tuple[Callable[[str], int], tuple[str]]:
        return int, ("nothing",)


def broken() -> None:
    raise ZeroDivisionError


def unsendable() -> Callable[[], None]:
    return lambda: None


def writing(path: Path, seconds: float) -> None:
    with whole_file(path) as temp:
        temp.write_bytes(b"half")
        time.sleep(seconds)


def told(path: Path, progress: Callable[[int, int], None]) -> str:
    with whole_file(path):
        for done in range(20):
            progress(done, 20)
            time.sleep(0.05)
    return "told"


def telling(progress: Callable[[int, int], None]) -> int:
    for done in range(4):
        progress(done, 4)
    return 4


def busy(seconds: float) -> int:
    end, count = time.monotonic() + seconds, 0
    while time.monotonic() < end:
        count += 1
    return count


def with_worker(folder: Path, use: Callable[[Worker], Awaitable[Any]]) -> Any:
    async def run() -> Any:
        worker = Worker(folder)
        try:
            return await use(worker)
        finally:
            worker.close()

    return in_a_loop(run())


def test_it_works_in_its_folder_and_tells_how_far_it_is(tmp_path: Path) -> None:
    async def use(worker: Worker) -> None:
        assert await worker.call(where) == str(tmp_path.resolve())
        told: list[tuple[int, int]] = []
        assert await worker.call(telling, progress=lambda *done: told.append(done)) == 4
        assert told == [(n, 4) for n in range(4)]

    with_worker(tmp_path, use)


def test_a_refusal_comes_with_its_code_and_a_loss_is_told(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    async def use(worker: Worker) -> None:
        with pytest.raises(OptionError) as caught:
            await worker.call(refused)
        assert (caught.value.code, caught.value.values) == ("a_code", {"value": "3"})
        assert str(caught.value) == "it is 3. It is 2. Make it 2."
        for faulty in (broken, unsendable):
            with pytest.raises(TonewrightError, match="Nothing half-finished was written") as fault:
                await worker.call(faulty)
            assert fault.value.code == "fault"
        for call in ((lost,), (print, OfTheParentAlone())):
            with pytest.raises(TonewrightError) as gone:
                await asyncio.wait_for(worker.call(*call), 30.0)
            assert gone.value.code == "worker_lost"
            assert await worker.call(where), "another process has taken its place"

    with_worker(tmp_path, use)
    told = capfd.readouterr().err
    assert "ZeroDivisionError" in told
    assert "in broken" in told, "the terminal shows where it came from"


def test_what_is_cancelled_ends_at_once_and_leaves_nothing(tmp_path: Path) -> None:
    async def use(worker: Worker) -> None:
        call = asyncio.create_task(worker.call(writing, tmp_path / "a.tif", 30.0))
        while not [*tmp_path.glob(".*.part*")]:
            await asyncio.sleep(0.01)
        began = time.monotonic()
        worker.cancel()
        with pytest.raises(Cancelled):
            await call
        assert time.monotonic() - began < 10.0, "at once, and later on a busy machine"
        assert not [*tmp_path.iterdir()]
        assert await worker.call(where)

    with_worker(tmp_path, use)


def test_a_call_that_nobody_waits_for_any_more_ends_and_answers_no_other(tmp_path: Path) -> None:
    async def use(worker: Worker) -> None:
        await worker.call(abs, -1)
        left = asyncio.create_task(worker.call(told, tmp_path / "a.tif", progress=print))
        while not [*tmp_path.iterdir()]:
            await asyncio.sleep(0.01)
        left.cancel()
        assert await worker.call(abs, -7) == 7
        assert left.cancelled()
        assert not [*tmp_path.iterdir()]

    with_worker(tmp_path, use)


def test_an_answer_that_comes_too_late_is_none(tmp_path: Path) -> None:
    async def use(worker: Worker) -> None:
        await worker.call(where)
        call = asyncio.create_task(worker.call(refused))
        await asyncio.sleep(0)  # it is sent
        time.sleep(1.0)  # and answered, while nobody here can look
        worker.cancel()
        with pytest.raises(Cancelled):
            await call

    with_worker(tmp_path, use)


def test_calls_that_were_overtaken_are_not_made(tmp_path: Path) -> None:
    async def use(worker: Worker) -> None:
        page, other = asyncio.Event(), asyncio.Event()
        calls = [asyncio.create_task(worker.call_newest(of, busy, 0.2))
                 for of in (page, page, page, other, page)]
        found = await asyncio.gather(*calls, return_exceptions=True)
        assert [type(one) for one in found] == [
            int, Overtaken, Overtaken, int, int], "the first had begun, the other page is another"

    with_worker(tmp_path, use)


def test_the_page_goes_on_while_something_is_worked_at(tmp_path: Path) -> None:
    async def use(worker: Worker) -> None:
        await worker.call(where)
        call = asyncio.create_task(worker.call(busy, 0.6))
        gaps = []
        while not call.done():
            began = time.monotonic()
            await asyncio.sleep(0.005)
            gaps.append(time.monotonic() - began)
        assert sorted(gaps)[len(gaps) // 2] < 0.05

    with_worker(tmp_path, use)


_PARENT = """
import asyncio, sys, time
from pathlib import Path
from tonewright.bench.worker import Worker
if __name__ == "__main__":
    async def run():
        worker = Worker(Path(sys.argv[1]))
        print(worker._process.pid, flush=True)
        await worker.call(time.sleep, 60.0)
    asyncio.run(run())
"""


def test_it_ends_with_its_parent_however_that_ends(tmp_path: Path) -> None:
    script = tmp_path / "parent.py"
    script.write_text(_PARENT, encoding="utf-8")
    with subprocess.Popen([sys.executable, str(script), str(tmp_path)], text=True,
                          stdout=subprocess.PIPE) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        time.sleep(0.5)
        parent.send_signal(signal.SIGKILL)
    end = time.monotonic() + 5.0
    while _alive(child):
        assert time.monotonic() < end
        time.sleep(0.02)


def _alive(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except FileNotFoundError:
        return False
    return state[0] != "Z"
