"""A disk that fills up."""

from __future__ import annotations

import signal
from contextlib import contextmanager

import pytest


@contextmanager
def disk_of(size):
    """The system itself stops the writing of any file at so many bytes (setrlimit)."""
    resource = pytest.importorskip("resource", reason="sizes cannot be limited here")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
