"""The long hunt, by hand:

    python tests/hunts/run.py 100000 --kills 1000 --workers 2

Harms so many files of every format, gives each to a command, kills so many commands, and counts
tracebacks, hangs, memory and half or wrong files.  Harmed files that did harm are kept in --keep.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from kills import kills

BATCH = 250
LONGEST = BATCH * 12
"""Seconds: by then the worker is stuck where no signal reaches it."""


def batch(cases: int, seed: int, kinds: list[str]) -> dict[str, object]:
    """One worker process."""
    command = [sys.executable, str(Path(__file__).with_name("hunt.py")), str(cases), str(seed)]
    try:
        done = subprocess.run([*command, *kinds], capture_output=True, text=True, timeout=LONGEST)
        return dict(json.loads(done.stdout.splitlines()[-1]))
    except (subprocess.TimeoutExpired, IndexError, ValueError) as error:
        return {"files": 0, "faults": [{"seed": seed, "fault": f"worker lost: {error}"}]}


def main() -> int:
    """Hunt and report; 1 if anything was found."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", type=int)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=1e9)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--kinds", nargs="*", default=[])
    wanted = parser.parse_args()
    if wanted.keep:
        wanted.keep.mkdir(parents=True, exist_ok=True)
        os.environ["TONEWRIGHT_HUNT_KEEP"] = str(wanted.keep.resolve())
    counts: Counter[str] = Counter()
    end = time.monotonic() + 60.0 * wanted.minutes
    sizes = [min(BATCH, wanted.files - at) for at in range(0, wanted.files, BATCH)]

    def work(job: tuple[int, int]) -> dict[str, object] | None:
        number, size = job
        if time.monotonic() > end:
            return None
        return batch(size, 1000 * wanted.seed + number, wanted.kinds)

    with ThreadPoolExecutor(wanted.workers) as pool:
        for found in pool.map(work, enumerate(sizes)):
            if found is None:
                continue
            counts.update({k: v for k, v in found.items() if isinstance(v, int)})
            for fault in found["faults"]:  # type: ignore[attr-defined]
                counts[fault["fault"].split(":")[0]] += 1
                print(json.dumps(fault), flush=True)
    for fault in kills(wanted.kills, wanted.seed) if wanted.kills else []:
        counts["kills that left harm"] += 1
        print(fault, flush=True)
    counts["kills"] = wanted.kills
    print(dict(counts))
    return int(sum(counts.values()) > sum(counts[k] for k in (
        "files", "accepted", "refused", "kills")))


if __name__ == "__main__":
    sys.exit(main())
