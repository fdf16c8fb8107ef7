#!/usr/bin/env bash
# Set up if needed, then lint, type-check and run every test on all cores.
# The longest tests are named at the end; arguments go to pytest.
set -eu
cd "$(dirname "$0")/.."
. examples/environment.sh
tonewright_environment dev
# compiled once and kept: tests start the program some hundred times
unset PYTHONDONTWRITEBYTECODE
ruff check src tests examples
mypy &
types=$!
tests=0
# a second thread of the linear algebra mostly waits, and takes a core to do so
export OPENBLAS_NUM_THREADS=${OPENBLAS_NUM_THREADS:-1}
# browser tests and new processes are waited for: three workers keep two cores busy
export PYTEST_XDIST_AUTO_NUM_WORKERS=${PYTEST_XDIST_AUTO_NUM_WORKERS:-$(
  python -c 'import os; n = os.cpu_count() or 1; print(n + (n + 1) // 2)')}
python -m pytest -n auto --dist worksteal --durations 20 "$@" || tests=$?
wait "$types"
exit "$tests"
