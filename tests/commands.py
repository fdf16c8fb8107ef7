"""What tests of the command line share: a command that must fail having changed nothing."""

from __future__ import annotations

import builtins
import io
from collections import Counter
from pathlib import Path
from typing import Any


def files() -> dict[str, bytes]:
    """What the files of the folder hold."""
    return {p.name: p.read_bytes() for p in Path().iterdir() if p.is_file()}


def opened(monkeypatch: Any) -> Counter[str]:
    """How often each file is opened, counted from now on."""
    count: Counter[str] = Counter()
    own = io.open

    def counting(file: Any, *more: Any, **settings: Any) -> Any:
        if isinstance(file, str | Path):
            count[Path(file).name] += 1
        return own(file, *more, **settings)

    for module in (io, builtins):
        monkeypatch.setattr(module, "open", counting)
    return count


def refused(call: Any, *arguments: Any) -> str:
    """What a command says that may not do, write or lose anything: exit 2, no traceback."""
    before = files()
    done = call(*arguments)
    assert done.exit_code == 2, done.output
    assert done.exception is None or isinstance(done.exception, SystemExit)
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    assert files() == before
    return str(done.stderr)


def said(call: Any, *arguments: Any) -> str:
    """The same as one line, whatever the width it was wrapped to."""
    return " ".join(refused(call, *arguments).split())
