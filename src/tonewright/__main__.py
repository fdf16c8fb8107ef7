"""The command ``tonewright``; also ``python -m tonewright``, where scripts are not on the path."""

from __future__ import annotations

import sys

from tonewright import INTERRUPTED, STOPPED


def run() -> None:
    """Run the command line; Ctrl-C ends it in one line even while it is still loading."""
    try:
        from tonewright.cli import main

        main(prog_name="tonewright")
    except KeyboardInterrupt:
        sys.stderr.write(f"tonewright: {STOPPED}\n")
        sys.exit(INTERRUPTED)


if __name__ == "__main__":
    run()
