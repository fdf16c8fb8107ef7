# Sourced by the scripts: a virtual environment in .venv with the package in it, made once.
# Needs Python 3.11 or newer with pip and venv; works in bash on Linux, macOS and Windows.

tonewright_python() {
    for name in python3 python python3.13 python3.12 python3.11; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"
            return 0
        fi
    done
    echo "tonewright needs Python 3.11 or newer; none was found." >&2
    return 1
}

# tonewright_environment [EXTRA]: make .venv if there is none, install if anything changed.
tonewright_environment() {
    extra="${1:-}"
    if [ ! -f .venv/pyvenv.cfg ]; then
        python="$(tonewright_python)" || return 1
        echo "Making a virtual environment in .venv …" >&2
        "$python" -m venv .venv || return 1
    fi
    if [ -f .venv/bin/activate ]; then . .venv/bin/activate; else . .venv/Scripts/activate; fi
    stamp=".venv/installed-${extra:-plain}"
    if [ ! -f "$stamp" ] || [ pyproject.toml -nt "$stamp" ]; then
        echo "Installing tonewright and what it needs …" >&2
        python -m pip install --quiet --disable-pip-version-check -e ".${extra:+[$extra]}" || return 1
        touch "$stamp"
    fi
}
