"""An event loop of a test's own: the browser's may be running in this thread."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any


def in_a_loop(work: Coroutine[Any, Any, Any]) -> Any:
    """What it gives, in a thread with a new loop."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()
