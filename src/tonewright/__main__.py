"""``python -m tonewright``, where scripts are not on the path."""

from tonewright.cli import main

main(prog_name="tonewright")
