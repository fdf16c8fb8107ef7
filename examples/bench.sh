#!/usr/bin/env bash
# The job as pages in the browser, with a rehearsal's paper to try it on: bash examples/bench.sh [FOLDER]
set -eu
cd "$(dirname "$0")/.."
. examples/environment.sh
tonewright_environment bench
folder="${1:-prints}"
mkdir -p "$folder"
if [ ! -d "$folder/rehearsal" ]; then
    tonewright rehearse -o "$folder/rehearsal" > /dev/null
fi
exec tonewright bench "$folder"
