"""The commands that pages show, as the command line takes them."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from tonewright.cli import main
from tonewright.show import commands

A, B, C = Path("a b.tif"), Path("b.csv"), Path("c.json")


@pytest.mark.parametrize(("command", "taken"), [
    (commands.Scanner(scan=A, densities=B, output=C, flat=A, channel="green"),
     {"scan": A, "channel": "green", "flat_file": A}),
    (commands.Read(source=A, target=C, output=B, channel="red", known=(("white", 0.07),)),
     {"channel": "red", "known": ("white=0.07",)}),
    (commands.Target(output=A, name="n", ink_colours=True,
                     chart_colour=("255,0,0", "0,0,255"),
                   no_mirror=True),
     {"chart": True, "chart_colours": ("255,0,0", "0,0,255"), "no_mirror": True}),
    (commands.Negative(images=(A,), curve=C, output=A, height="100mm", rotate="270", depth="8",
                     no_mirror=True, encoding="srgb", flatten=True),
     {"encoding": "srgb", "flatten": True, "height": 100, "rotate": "270", "depth": "8",
      "no_mirror": True, "width": None}),
])
def test_a_command_that_is_shown_is_taken_as_it_is_meant(
    command: object, taken: dict[str, object]
) -> None:
    _, name, *arguments = shlex.split(str(command))
    context = main.make_context("tonewright", [name, *arguments], resilient_parsing=True)
    chosen = main.get_command(context, name)
    assert chosen is not None
    found = chosen.make_context(name, arguments, parent=context).params
    assert {key: found[key] for key in taken} == taken
