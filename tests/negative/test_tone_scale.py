"""The tone scale on a negative prints the tones that its document says (virtual darkroom)."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile

from rooms import density_in
from tonewright import scales
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.targets import read_target
from tonewright.negative.sheet import SheetSettings
from tonewright.record.setup import Setup
from tonewright.virtual import scanroom
from tonewright.virtual.darkroom import Darkroom, measure_target


@pytest.mark.parametrize("border", ["clear", "opaque"])
@pytest.mark.parametrize("shape", [(1200, 900), (900, 1200)])
def test_the_print_of_the_tone_scale_shows_its_aims(tmp_path, border, shape):
    """Curve, sheet, mirroring, contact print and the document's places, all at once."""
    room = Darkroom()
    readings = measure_target(room, np.linspace(0.0, 1.0, 41), 2, seed=1).readings
    curve = make_curve(readings, Settings(Aim()), Setup(), "invented")
    values = np.random.default_rng(2).integers(0, 65536, shape).astype(np.uint16)
    source = tmp_path / "i.tif"
    tifffile.imwrite(
        source, values, photometric="minisblack", metadata=None, resolution=(300, 300)
    )
    around = SheetSettings(marks=True, tone_scale=True, caption=True, border=border)
    report = make_negative(
        source, curve, tmp_path / "n.tif", NegativeSettings(encoding="lightness", sheet=around)
    )
    target = read_target(report.target)
    sheet = scanroom.print_sheet(tifffile.imread(tmp_path / "n.tif"), 300.0, room)
    assert len(target.patches) == 11
    for patch in target.patches:
        inside = patch.x_mm + 1, patch.y_mm + 1, patch.width_mm - 2, patch.height_mm - 2
        lightness = float(scales.density_to_lightness(density_in(sheet, *inside)))
        assert lightness == pytest.approx(patch.aim_lightness, abs=1.5)
