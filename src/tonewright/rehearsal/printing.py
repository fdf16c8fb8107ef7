"""What happens on paper in a rehearsal: strips and targets printed, measured and scanned.

Only the printing and the measuring are simulated.  What was measured is read back from its file
as the reading of a real print is.
"""

from __future__ import annotations

from dataclasses import replace

from tonewright.files.raster.pictures import read_codes, write_picture
from tonewright.files.scan.read import ReadRequest, read_print
from tonewright.files.strips import read_strip
from tonewright.files.tables import read_readings
from tonewright.files.targets import write_target
from tonewright.frozen import dataclass
from tonewright.measured.readings import Readings
from tonewright.record.times import PrintingTime
from tonewright.rehearsal.folder import INVENTED, File, Folder
from tonewright.scales import MM_PER_INCH, Array
from tonewright.strip.readings import Strip
from tonewright.strip.tablet import nominal_tablet
from tonewright.target.layout import LayoutSettings, even_levels, make_target
from tonewright.virtual import darkroom, scanroom

TABLET = nominal_tablet("31")
MEASURED = darkroom.Flaws(noise_density_sd=0.02, uneven_exposure_sd=0.005)
LOOKED_AT = darkroom.Flaws(noise_density_sd=0.0, texture_density_sd=0.01, uneven_exposure_sd=0.005)
GRAY_SCALE = tuple(round(0.08 + 0.14 * k, 2) for k in range(15))
"""Densities of the strip that lies beside the print on the scanner's glass."""
DESK_SCANNER = scanroom.Scanner(shading=0.08, lamp=1)
SHEET = scanroom.PaperFlaws(texture_density_sd=0.02, uneven_exposure_sd=0.01,
                            streak_exposure_sd=0.005, stains=2, dust=25)
CROOKED = scanroom.Lying(rotation_degrees=2.5)
BESIDE_MM = 25.0
"""Of glass for the gray scale, above the print."""


@dataclass(frozen=True)
class PrintRoom:
    """One printer's materials at one printing time, and where the readings go."""

    folder: Folder
    materials: darkroom.Darkroom
    seed: int

    def at(self, time: PrintingTime) -> PrintRoom:
        """The same with the timer set."""
        return replace(self, materials=replace(self.materials, printing_time=time.value))

    def strip(self, file: File, time: PrintingTime) -> Strip:
        """A tablet of 31 steps, half of it through film, printed and measured."""
        read = darkroom.measure_strip(self.materials, TABLET.density, time.value, flaws=MEASURED,
                                      seed=self.seed + 7)
        halves = (("film", read.density_film), ("bare", read.density_bare))
        self.folder.keep(file, ["step,density,through,time", *(
            f"{step},{density:.3f},{half},{time.value:g}s" for half, column in halves
            for step, density in zip(read.step, column, strict=True))])
        return read_strip([self.folder / file], TABLET)

    def target(self, file: File, levels: Array, repeats: int) -> Readings:
        """Patches of these levels, printed and measured one by one."""
        read = darkroom.measure_target(self.materials, levels, repeats, flaws=MEASURED,
                                       seed=self.seed + len(levels)).readings
        self.folder.keep(file, ["patch,level,density", *(
            f"{p.patch},{p.level:.4f},{p.density:.3f}" for p in read.patches)])
        return read_readings([self.folder / file])

    def scanned_target(self, name: str, levels: int, repeats: int) -> Readings:
        """A target drawn, printed on a sheet with all its flaws, scanned, found and read."""
        folder, seed = self.folder, self.seed
        target = make_target(even_levels(levels), LayoutSettings(
            name=name, seed=seed, repeats=repeats))
        write_target(folder / File.TARGET, target, force=folder.force)
        sheet = scanroom.print_sheet(read_codes(folder / File.TARGET), target.ppi, self.materials,
                                     SHEET, seed=seed)
        self._scan(sheet)
        folder.keep(File.GRAY_SCALE, ["density", *(f"{d:.2f}" for d in GRAY_SCALE)])
        read_print(folder / File.SCAN, folder / File.TARGET_LAYOUT, folder / File.READINGS,
                   ReadRequest(densities=folder / File.GRAY_SCALE, flat=folder / File.PLAIN_SCAN,
                               overlay=folder / File.OVERLAY, comments=(INVENTED,)),
                   force=folder.force)
        return read_readings([folder / File.READINGS])

    def picture(self, negative: File) -> Array:
        """The print of a negative, with the paper's grain: L*, shape (rows, columns)."""
        return darkroom.print_image(read_codes(self.folder / negative), self.materials,
                                    flaws=LOOKED_AT, seed=self.seed)

    def _scan(self, sheet: scanroom.PrintedSheet) -> None:
        """The print beside a gray scale, and a plain white sheet, each over the whole glass."""
        per_mm = sheet.ppi / MM_PER_INCH
        size = (sheet.density.shape[1] / per_mm + 20.0,
                sheet.density.shape[0] / per_mm + BESIDE_MM + 20.0)
        for file, things in ((File.SCAN, [
            scanroom.OnGlass(sheet, (5.0, BESIDE_MM + 5.0), CROOKED),
            scanroom.OnGlass(scanroom.gray_scale(GRAY_SCALE), (8.0, 3.0)),
        ]), (File.PLAIN_SCAN, [
            scanroom.OnGlass(scanroom.plain_sheet(size, seed=self.seed), (0.0, 0.0))])):
            codes, _ = scanroom.scan_glass(things, size, DESK_SCANNER, seed=self.seed + 1)
            write_picture(self.folder / file, codes, DESK_SCANNER.ppi, force=self.folder.force)
