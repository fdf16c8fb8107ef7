"""Our linear algebra runs in one thread, and what others set is left as it was."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest
import scipy.linalg  # noqa: F401  (the second BLAS)
from threadpoolctl import ThreadpoolController

from tonewright.numeric import chain, monotone, robust, sigmoid
from tonewright.numeric.threads import one_blas_thread

pytestmark = pytest.mark.fits_anew

BLAS = ThreadpoolController().select(user_api="blas")
LIBRARIES = len(BLAS.info())


def threads() -> list[int]:
    return [library["num_threads"] for library in BLAS.info()]


@pytest.fixture(autouse=True)
def two_threads():
    """As a Python user may have it; every check here would pass by itself with one."""
    with BLAS.limit(limits=2):
        if threads() != [2] * LIBRARIES:
            pytest.skip("this BLAS knows one thread only")
        yield


def test_inside_there_is_one_and_outside_as_many_as_before():
    with one_blas_thread:
        assert threads() == [1] * LIBRARIES
    assert threads() == [2] * LIBRARIES


def test_an_error_restores_them():
    @one_blas_thread
    def fail() -> None:
        assert threads() == [1] * LIBRARIES
        raise ValueError

    with pytest.raises(ValueError):
        fail()
    assert threads() == [2] * LIBRARIES


def test_calls_within_calls_restore_them_once():
    with one_blas_thread:
        with one_blas_thread:
            pass
        assert threads() == [1] * LIBRARIES
    assert threads() == [2] * LIBRARIES


@pytest.mark.parametrize("first_out", ["first in", "last in"])
def test_calls_that_overlap_in_time_leave_what_they_found(first_out):
    inside, may_end = threading.Event(), threading.Event()

    def other_call() -> None:
        with one_blas_thread:
            inside.set()
            may_end.wait(60)

    other = threading.Thread(target=other_call)
    with one_blas_thread:
        other.start()
        assert inside.wait(60)
        assert threads() == [1] * LIBRARIES
        if first_out == "last in":
            may_end.set()
            other.join(60)
            assert threads() == [1] * LIBRARIES
    may_end.set()
    other.join(60)
    assert threads() == [2] * LIBRARIES


def test_many_threads_at_once_leave_what_they_found():
    @one_blas_thread
    def rest() -> None:
        time.sleep(0.001)  # meanwhile others come in and leave

    def call() -> None:
        monotone.fit_smooth(X, X, np.ones(24), X, monotone.SmoothSettings(smoothing=1.0))
        for _ in range(30):
            rest()

    crowd = [threading.Thread(target=call) for _ in range(6)]
    for one in crowd:
        one.start()
    call()
    for one in crowd:
        one.join(60)
    assert threads() == [2] * LIBRARIES


X = np.linspace(0.0, 1.0, 24)


@pytest.mark.parametrize(
    ("module", "within", "call"),
    [
        (monotone, "_make_basis", lambda: monotone.fit_smooth(X, X, np.ones(24), X)),
        (robust, "stray_limit", lambda: robust.find_strays(X, X + 0.01 * np.sin(9 * X), X + 1)),
        (chain, "RiseModel", lambda: chain.model_from_sample(X, [X, X**2], [1.0, 1.0])),
        (sigmoid, "_draw", lambda: sigmoid.sample_rises(X, X, X * 0 + 0.02, X, (1.0, 0.1), 8)),
    ],
)
def test_the_fits_run_in_one(monkeypatch, module, within, call):
    inside, whole = [], getattr(module, within)

    def watched(*arguments, **named):
        inside.append(threads())
        return whole(*arguments, **named)

    monkeypatch.setattr(module, within, watched)
    call()
    assert inside
    assert all(count == [1] * LIBRARIES for count in inside)
    assert threads() == [2] * LIBRARIES
