"""One thread for the linear algebra of small matrices.

The threads of a BLAS cost more than they bring on matrices of ours: they wait for one another,
and on a busy machine the same work takes ten times the processor time.
"""

from __future__ import annotations

import sys
import threading
from contextlib import ContextDecorator
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from threadpoolctl import ThreadpoolController


@cache
def _libraries(_with_scipy: bool) -> ThreadpoolController:
    """The BLAS libraries of numpy and, once it is loaded, of scipy, which brings its own."""
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController().select(user_api="blas")


class _OneThread(ContextDecorator):
    """The number of threads belongs to the whole process, so one Python thread at a time minds
    it: the first to come in sets it, and puts it back when it leaves."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._minder: threading.Thread | None = None
        self._inside = 0

    def __enter__(self) -> None:
        with self._lock:
            if self._minder is None:
                self._limiter = _libraries("scipy.linalg" in sys.modules).limit(limits=1)
                self._minder = threading.current_thread()
            if self._minder is threading.current_thread():
                self._inside += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            if self._minder is not threading.current_thread():
                return
            self._inside -= 1
            if self._inside == 0:
                self._limiter.restore_original_limits()
                self._minder = None


one_blas_thread = _OneThread()
"""A decorator, or a context: inside, linear algebra runs in one thread.

May be nested and used from several threads at once; one that overlaps with another may be left
with more threads, never with fewer than before.
"""
