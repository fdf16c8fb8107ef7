"""What holds for every test: a patient hypothesis, and nothing found twice.

Hundreds of tests start from the same few prints and scans.  A fit of the same numbers, and a
search in the same scan, is done once and then remembered by all workers of the run; tests of the
fits themselves, and those that want them done again, are marked ``fits_anew``.
"""

from __future__ import annotations

import hashlib
import importlib
import os
import pickle
import shutil
from collections.abc import Callable, Iterator
from functools import wraps
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import settings

from tonewright.errors import TonewrightError
from tonewright.numeric import chain, monotone, sigmoid
from tonewright.scan import find_steps, place, response, uneven

# a busy machine is slow, not wrong; what fails once fails every time
settings.register_profile("patient", deadline=None, derandomize=True)
settings.load_profile("patient")

CHROMIUM = os.environ.get("TONEWRIGHT_CHROMIUM") or next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)

if "TONEWRIGHT_REMEMBERED" not in os.environ:  # the workers are started with it
    OF_THIS_RUN = TemporaryDirectory()
    os.environ["TONEWRIGHT_REMEMBERED"] = OF_THIS_RUN.name
remember = {"fits": True}


def outcome(fit: Callable[..., Any], *arguments: Any, **named: Any) -> tuple[Any, Any]:
    """What it finds, or what makes its refusal; None for the other."""
    try:
        return fit(*arguments, **named), None
    except TonewrightError as error:
        return None, (type(error), (error.given, error.rule, error.way_out),
                      {"code": error.code, **error.values})


def remembered(fit: Callable[..., Any]) -> Callable[..., Any]:
    """The same, which looks up what it found, or why it refused, for the same arguments, to the
    last bit."""
    folder = Path(os.environ["TONEWRIGHT_REMEMBERED"])

    @wraps(fit)
    def fit_or_look_up(*arguments: Any, **named: Any) -> Any:
        if not remember["fits"]:
            return fit(*arguments, **named)
        key = hashlib.sha256(pickle.dumps((fit.__name__, arguments, named))).hexdigest()
        if not (folder / key).exists():
            (own := folder / f"{key}.{os.getpid()}").write_bytes(
                pickle.dumps(outcome(fit, *arguments, **named)))
            own.replace(folder / key)  # whole, whoever reads it meanwhile
        # a copy: what one test does to it no other sees
        found, refusal = pickle.loads((folder / key).read_bytes())
        if refusal is not None:
            kind, said, values = refusal
            raise kind(*said, **values)
        return found

    return fit_or_look_up


# before any module takes them by name
monotone.fit_smooth = remembered(monotone.fit_smooth)
monotone.deleted_deviations = remembered(monotone.deleted_deviations)
chain.fit_chain = remembered(chain.fit_chain)
sigmoid.sample_rises = remembered(sigmoid.sample_rises)
find_steps.find_row = remembered(find_steps.find_row)
find_steps._tilt = remembered(find_steps._tilt)  # the same for another number of steps
place.locate = remembered(place.locate)
place.find_marks = remembered(place.find_marks)  # the same for another target
response.response_from_gray_scale = remembered(response.response_from_gray_scale)
uneven.find_unevenness = remembered(uneven.find_unevenness)

# those that use them
from tonewright.curve import fit  # noqa: E402
from tonewright.strip import check  # noqa: E402

fit.fit_print = remembered(fit.fit_print)
check.judge_strip = remembered(check.judge_strip)


if os.environ.get("TONEWRIGHT_EVERY_CHECK"):
    # in continuous integration a missing library is a failure, not a check left out
    pytest.importorskip = lambda name, *_, **__: importlib.import_module(name)


def pytest_runtest_setup(item: pytest.Item) -> None:  # quicker than a fixture
    remember["fits"] = item.get_closest_marker("fits_anew") is None


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser, for every test of a worker."""
    if CHROMIUM is None:
        pytest.skip("no Chromium is found, so nothing is tried in a browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[
            "--no-sandbox", "--animation-duration-scale=0",  # its own, of tabs: half its work
            "--js-flags=--no-maglev --no-turbofan"])  # no page is open for so long that it pays
        yield browser
        browser.close()
