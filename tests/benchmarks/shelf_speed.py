"""Time of `tonewright shelf` on many documents, as a command of its own.

    python tests/benchmarks/shelf_speed.py 10000

A third each of curves (100 KB), strips (13 KB) and checks, of forty setups; then curves alone.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
import shelves


def fill(folder: Path, count: int, kinds: str) -> None:
    """Documents that differ in name and paper, a thousand to a folder."""
    texts = {}
    for kind, one in (("curve", shelves.curve("name-0", shelves.FIRST)),
                      ("process", shelves.process(shelves.FIRST)),
                      ("check", shelves.check(shelves.FIRST))):
        texts[kind] = shelves.write(folder / "first", "one", one).read_text(encoding="utf-8")
    wanted = [k for k in texts if k[:2] in kinds.split()]
    for i in range(count):
        kind = wanted[i % len(wanted)]
        inside = folder / f"{i // 1000:02d}"
        inside.mkdir(exist_ok=True)
        text = texts[kind].replace("cotton (invented)", f"cotton {i % 40}")
        (inside / f"{i}.{kind}.json").write_text(text.replace("name-0", f"name-{i}"), "utf-8")


def measure(folder: Path, *more: str) -> tuple[float, float, float]:
    """Seconds on the clock and of the processor, and MB."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "tonewright", "shelf", str(folder), *more], check=True,
                   stdout=subprocess.DEVNULL)
    clock = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return clock, used, after.ru_maxrss / 1024.0


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    for title, kinds in (("curves, strips, checks", "cu pr ch"), ("curves alone", "cu")):
        with tempfile.TemporaryDirectory() as folder:
            fill(Path(folder), count, kinds)
            for more in ((), ("--json",)):
                runs = [measure(Path(folder), *more) for _ in range(3)]
                clock, used, memory = (min(column) for column in zip(*runs, strict=True))
                print(f"{count} {title} {' '.join(more)}: {clock:.1f} s on the clock,"
                      f" {used:.1f} s of the processor, {memory:.0f} MB (best of 3)", flush=True)


if __name__ == "__main__":
    main()
