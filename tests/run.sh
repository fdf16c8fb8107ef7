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
python -m pytest -n auto --dist worksteal --durations 20 "$@" || tests=$?
wait "$types"
exit "$tests"
