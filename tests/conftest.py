"""Before any test imports numpy: one thread, as the command line does it."""

from __future__ import annotations

import os

for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(name, "1")

from hypothesis import settings  # noqa: E402  (after the threads are set)

# a busy machine is slow, not wrong
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
