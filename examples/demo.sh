#!/usr/bin/env bash
# The whole job on invented data, on a fresh machine: bash examples/demo.sh [FOLDER]
set -eu
cd "$(dirname "$0")/.."
. examples/environment.sh
tonewright_environment
folder="${1:-demo}"
tonewright rehearse -o "$folder" --force
