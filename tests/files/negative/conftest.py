"""What tests of negatives share."""

from __future__ import annotations

import numpy as np
import pytest
from click.testing import CliRunner

from tonewright.cli import main


@pytest.fixture(scope="session")
def curve_file(tmp_path_factory):
    """A real curve, from invented readings."""
    from tonewright.virtual.darkroom import Darkroom, measure_target

    folder = tmp_path_factory.mktemp("curve")
    readings = measure_target(Darkroom(), np.linspace(0.0, 1.0, 31), 2, seed=1).readings
    rows = [f"{p.level:.5f},{p.density:.4f}" for p in readings.patches]
    (folder / "r.csv").write_text("\n".join(["level,density", *rows]), encoding="utf-8")
    made = folder / "k.curve.json"
    done = CliRunner().invoke(main, ["fit", str(folder / "r.csv"), "-o", str(made)])
    assert done.exit_code == 0, done.output
    return made
