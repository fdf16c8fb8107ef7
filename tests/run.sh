#!/usr/bin/env bash
# Set up if needed, then lint, type-check and run every test.
set -eu
cd "$(dirname "$0")/.."
. examples/environment.sh
tonewright_environment dev
ruff check src tests examples
mypy
python -m pytest "$@"
