"""What a call from Python costs against the command that does the same, in processor time.

Run ``python tests/benchmarks/call_cost.py [repeats]``.  Each runs in a fresh interpreter on the
files of ``curves/``, with no thread settings in its environment; the processor time is that of
the whole interpreter with all its threads, the least of the repeats.  Exits with 1 if a call
costs more than 1.3 times its command.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

CURVES = Path(__file__).parents[2] / "curves"
MOST = 1.3
COMMAND = """
import sys
from tonewright.cli import main
main(sys.argv[1:], standalone_mode=False)
"""
STRIP = """
from pathlib import Path
from tonewright.files.documents import read_setup, read_tablet, write_document
from tonewright.files.tables import read_table
from tonewright.strip.fit import make_process
from tonewright.strip.readings import StripOptions, strip_from_table
tablet = read_tablet("31")
strip = strip_from_table(read_table(Path("kallitype-strip.csv"), "step"), tablet, StripOptions())
process = make_process(strip, tablet, read_setup(Path("kallitype-setup.toml")), "kallitype")
write_document(Path(sys.argv[1]), process)
"""
TARGET = """
from pathlib import Path
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.files.documents import read_setup, write_document
from tonewright.files.tables import read_table
from tonewright.measured.readings import readings_from_table
readings = readings_from_table(read_table(Path("kallitype-target.csv")))
curve = make_curve(readings, Settings(Aim()), read_setup(Path("kallitype-setup.toml")), "kallitype")
write_document(Path(sys.argv[1]), curve)
"""
JOBS = {
    "a strip's fit": (STRIP, ["strip", "kallitype-strip.csv", "--tablet", "31"]),
    "a target's fit": (TARGET, ["fit", "kallitype-target.csv"]),
}


def processor_time(code: str, arguments: list[str]) -> float:
    """Seconds of a fresh interpreter from its start, all threads together."""
    plain = {name: value for name, value in os.environ.items() if not name.endswith("_THREADS")}
    code = f"import sys, time\n{code}\nprint('took', time.process_time(), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code, *arguments], env=plain, cwd=CURVES,
                          capture_output=True, encoding="utf-8", check=True)
    return float(done.stderr.split("took")[1])


def main() -> int:
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    worst = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for name, (code, command) in JOBS.items():
            setup = ["--setup", "kallitype-setup.toml", "--force", "-o"]
            out = str(Path(folder) / "made.json")
            call, typed = [], []
            for _ in range(repeats):
                Path(out).unlink(missing_ok=True)
                call.append(processor_time(code, [out]))
                typed.append(processor_time(COMMAND, [*command, *setup, out]))
            ratio = min(call) / min(typed)
            worst = max(worst, ratio)
            print(f"{name}: call {min(call):.2f} s, command {min(typed):.2f} s of processor time,"
                  f" call / command {ratio:.2f}")
    return int(worst > MOST)


if __name__ == "__main__":
    sys.exit(main())
