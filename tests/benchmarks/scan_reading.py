"""How well targets are read from scans, over many invented prints and scanners.

Run ``python tests/benchmarks/scan_reading.py [renders] [--speed]``.  Prints and scans are made by
the virtual scanner, each with its own seed, so the truth is known: turned up to 10 degrees and
any quarter turn, mirrored or not, perspective up to 1e-4, lamp shading up to 15 percent, four
stains, dust, texture, brush strokes, 300 ppi.  Printed:

- found: scans whose every patch was placed within 0.2 mm; the rest read with corners by hand;
- lost: the same with one mark covered over;
- density: RMS distance of a patch's density up to 1.6 from what the sheet really has there, with
  a scanner response from a scan of 15 known densities, the scan evenly lit and as it came;
- curve: RMS distance from the aim in L* of a print through the curve, against the curve from an
  instrument that reads the same sheet with the same noise.

- beside: RMS distance of a print's densities by a gray scale that lies beside it in the same scan,
  with a plain sheet and without, the lamp up to 15 percent darker in a corner (`random_glass`).

``--beside``: the last alone.
``--speed``: seconds and peak memory of the command on a letter-size target at 600 ppi, 16 bit.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import tifffile

sys.path.append(str(Path(__file__).parents[1]))
from rooms import density_in, random_glass, random_spoilt, scan_sheet
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.errors import TonewrightError
from tonewright.files.lettering import text_mask
from tonewright.files.targets import write_target
from tonewright.measured.readings import Reading, Readings
from tonewright.record.setup import Setup
from tonewright.scan.flat import flat_of
from tonewright.scan.image import Scan
from tonewright.scan.place import locate
from tonewright.scan.read import ReadSettings, read_target_scan
from tonewright.scan.response import response_from_gray_scale
from tonewright.scan.sample import INNER
from tonewright.target.draw import draw
from tonewright.target.layout import PAPERS, LayoutSettings, even_levels, make_target
from tonewright.virtual import darkroom, scanroom

SCALE = np.round(np.linspace(0.08, 2.04, 15), 2)
TONES = np.linspace(0.01, 0.99, 99)
NEAR_MM = 0.2
_CHILD = """
import atexit, pathlib, re, time
atexit.register(lambda: print(f"{time.process_time():.1f} s of processor time"))
status = pathlib.Path("/proc/self/status")  # its own peak: that of rusage is inherited
if status.exists():
    atexit.register(lambda: print(re.search(r"VmHWM.*", status.read_text())[0]))
from tonewright.__main__ import run
run()
"""


def negative_of(target):
    return np.concatenate(list(draw(target, text_mask)))


def response_of(scanner, seed):
    """From the scan of a gray scale, its steps sampled where they are known to lie."""
    card = scanroom.gray_scale(SCALE, border_density=0.02)
    render = scan_sheet(card, replace(scanner, shading=0.0, ppi=300.0), seed=seed)
    code, sd = [], []
    for i in range(SCALE.size):
        corners = render.corners(8.0 * i + 2.0, 3.0, 4.0, 8.0)
        (left, top), (right, bottom) = corners[0].astype(int), corners[2].astype(int)
        part = render.pixels[top:bottom, left:right]
        code.append(float(np.median(part)))
        sd.append(float(part.std() / np.sqrt(part.size / 10.0)))
    return response_from_gray_scale(SCALE, code, sd)


def room_of(seed):
    process = (darkroom.KALLITYPE, darkroom.CYANOTYPE)[seed % 2]
    return darkroom.Darkroom(darkroom.DEMO_INK, process)


def placed(target, located, render) -> float:
    """Largest distance of a patch from its place, mm."""
    wide = np.column_stack([target.patch_centres, np.ones(len(target.patches))]) @ render.matrix.T
    truth = wide[:, :2] / wide[:, 2:]
    away = located.placement.to_scan(target.patch_centres) - truth
    return float(np.max(np.linalg.norm(away, axis=1))) / (render.ppi / 25.4)


def with_lost_mark(sheet, mark):
    """The sheet with a blot over one mark."""
    density, per_mm = sheet.density.copy(), sheet.ppi / 25.4
    x, y = (o + 0.5 + per_mm * a for o, a in zip(sheet.origin_px, (mark.x_mm, mark.y_mm),
                                                 strict=True))
    rows, columns = np.ogrid[: density.shape[0], : density.shape[1]]
    density[np.hypot(rows - y, columns - x) < 0.7 * per_mm * mark.size_mm] = 0.5
    return replace(sheet, density=density)


def found(renders: int) -> None:
    target = make_target(even_levels(21), LayoutSettings(repeats=2, seed=3))
    negative = negative_of(target)
    for what in ("found", "lost"):
        good, by_hand, seconds, trouble = 0, 0, [], []
        for seed in range(renders):
            rng = np.random.default_rng(seed)
            spoilt = random_spoilt(rng)
            sheet = scanroom.print_sheet(negative, target.ppi, room_of(seed), spoilt.flaws,
                                         seed=seed)
            if what == "lost":
                sheet = with_lost_mark(sheet, target.marks[seed % 4])
            render = scan_sheet(sheet, spoilt.scanner, spoilt.lying, seed=seed)
            started = time.perf_counter()
            try:
                away = placed(target, locate(render.pixels, target), render)
                seconds.append(time.perf_counter() - started)
                if away <= NEAR_MM:
                    good += 1
                    continue
                trouble.append(f"{seed}: {away:.2f} mm off")
            except TonewrightError as error:
                trouble.append(f"{seed}: {error.given}")
            wide = np.column_stack([target.mark_centres, np.ones(4)]) @ render.matrix.T
            corners = (wide[:, :2] / wide[:, 2:] + rng.normal(0, 4, (4, 2))).ravel().tolist()
            by_hand += placed(target, locate(render.pixels, target, corners), render) <= NEAR_MM
        print(f"{what}: {good} of {renders} ({np.median(seconds):.2f} s), by hand {by_hand} of"
              f" {renders - good}", *trouble, sep="\n   ", flush=True)


def distance(curve, room) -> float:
    """RMS in L* of a print through the curve from the true aim."""
    ends = room.print_lightness(np.array([0.0, 1.0]))
    aim = ends.min() + TONES * np.ptp(ends)
    return float(np.sqrt(np.mean((room.print_lightness(curve.level_at(100 * TONES)) - aim) ** 2)))


def fitted(level, density, sd):
    patches = tuple(Reading(float(u), float(d), float(s), None, f"p{i}")
                    for i, (u, d, s) in enumerate(zip(level, density, sd, strict=True)))
    return make_curve(Readings(patches, "visual-density", False), Settings(Aim()), Setup(), "t")


def densities(renders: int) -> None:
    target = make_target(even_levels(21), LayoutSettings(repeats=2, seed=3))
    negative = negative_of(target)
    rows = []
    for seed in range(renders):
        rng = np.random.default_rng(seed)
        spoilt = random_spoilt(rng)
        room = room_of(seed)
        sheet = scanroom.print_sheet(negative, target.ppi, room, spoilt.flaws, seed=seed)
        response = response_of(spoilt.scanner, seed)
        row = []
        for shading in (0.0, spoilt.scanner.shading):
            scanner = replace(spoilt.scanner, shading=shading)
            render = scan_sheet(sheet, scanner, spoilt.lying, seed=seed)
            read = read_target_scan(Scan(render.pixels, 16, 300.0, None), target,
                                    ReadSettings(response=response))
            row += judge(target, sheet, room, read, rng)
        rows.append(row)
    table = np.array(rows)
    for shift, light in ((0, "evenly lit"), (6, "up to 15 % shading")):
        names = ("density RMS", "the same without its mean", "evened out: RMS from the ideal",
                 "curve by scan, L*", "curve by instrument, L*", "ratio")
        part = table[:, shift : shift + 6]
        for name, column in zip(names, part.T, strict=True):
            print(f"{light}: {name}: median {np.median(column):.4f},"
                  f" 90 % {np.percentile(column, 90):.4f}, worst {column.max():.4f}")
        both = np.sqrt(np.mean(part[:, 3:5] ** 2, axis=0))
        print(f"{light}: curve by scan over by instrument, all renders (RMS):"
              f" {both[0] / both[1]:.2f}", flush=True)


def beside(renders: int) -> None:
    target = make_target(even_levels(21), LayoutSettings(repeats=2, seed=3))
    negative = negative_of(target)
    errors, refused = [], []
    for seed in range(renders):
        glass = random_glass(target, negative, seed)
        scan, plain = (Scan(r.pixels, 16, r.ppi, None) for r in (glass.print_, glass.plain))
        try:
            read = [read_target_scan(scan, target, ReadSettings(beside=glass.density, flat=flat))
                    for flat in (flat_of(plain), None)]
        except TonewrightError as error:
            refused.append(f"{seed}: {error.given}")
            continue
        sheet = glass.print_.sheet
        errors.append([float(np.sqrt(np.mean(distances(target, sheet, one) ** 2))) for one in read])
    for name, column in zip(("with a plain sheet", "without"), np.array(errors).T, strict=True):
        print(f"beside, {name}: median {np.median(column):.4f},"
              f" 90 % {np.percentile(column, 90):.4f}, worst {column.max():.4f}")
    print(f"beside: {len(refused)} of {renders} refused", *refused, sep="\n   ", flush=True)


def true_densities(target, sheet):
    edge = 0.5 * (1.0 - INNER)
    return np.array([density_in(sheet,
        p.x_mm + edge * p.width_mm, p.y_mm + edge * p.height_mm, INNER * p.width_mm,
        INNER * p.height_mm) for p in target.patches])


def distances(target, sheet, read):
    """Of sound patches up to a density of 1.6, from what the sheet really has there."""
    value = np.array([np.nan if p.density is None else p.density for p in read.patches])
    truth = true_densities(target, sheet)
    sound = np.array([not p.doubts for p in read.patches]) & (truth <= 1.6) & np.isfinite(value)
    return (value + read.unevenness.shift - truth)[sound]


def judge(target, sheet, room, read, rng) -> list[float]:
    level = target.level
    value = np.array([np.nan if p.density is None else p.density for p in read.patches])
    sd = np.array([np.nan if p.density_sd is None else p.density_sd for p in read.patches])
    truth = true_densities(target, sheet)
    ideal = room.print_density(level)
    sound = np.array([not p.doubts for p in read.patches]) & (truth <= 1.6) & np.isfinite(value)
    off = distances(target, sheet, read)
    kept = np.isfinite(value)
    scan_curve = fitted(level[kept], value[kept], sd[kept])
    seen = [p.density is not None for p in read.patches]
    noise = float(np.median(read.unevenness.scatter[seen])) or read.density_sd_median
    seen = np.maximum(truth + noise * rng.standard_normal(truth.size), 0.0)
    instrument = fitted(level, seen, np.full(level.size, noise))
    by_scan, by_instrument = distance(scan_curve, room), distance(instrument, room)
    return [float(np.sqrt(np.mean(off**2))), float(off.std()),
            float(np.sqrt(np.mean((value - ideal)[sound] ** 2))), by_scan, by_instrument,
            by_scan / by_instrument]


def speed() -> None:
    """The command on a letter-size target at 600 ppi."""
    width, height = PAPERS["letter"]
    target = make_target(even_levels(31), LayoutSettings(
        name="letter", width_mm=width, height_mm=height, repeats=2))
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        write_target(place / "T.tif", target)
        spoilt = random_spoilt(np.random.default_rng(1), 600.0)
        sheet = scanroom.print_sheet(tifffile.imread(place / "T.tif"), target.ppi, room_of(0),
                                     replace(spoilt.flaws, paper_margin_mm=4.0))
        lying = scanroom.Lying(2.0, border_mm=1.0)
        render = scan_sheet(sheet, spoilt.scanner, lying)
        tifffile.imwrite(place / "scan.tif", render.codes, photometric="minisblack",
                         resolution=(600, 600))
        print("scan of", render.codes.shape, "pixels")
        del render, sheet
        command = [sys.executable, "-c", _CHILD, "read", str(place / "scan.tif"), "--target",
                   str(place / "T.target.json"), "-o", str(place / "r.csv"), "--known",
                   "white=0.07", "--known", "black=1.5", "--force"]
        for extra in ([], ["--overlay", str(place / "o.png")]):
            started = time.perf_counter()
            done = subprocess.run([*command, *extra], check=True, stdout=subprocess.PIPE, text=True)
            said = ", ".join(done.stdout.splitlines()[-2:])
            print(f"read {' '.join(extra[:1])}: {time.perf_counter() - started:.1f} s, {said}")


if __name__ == "__main__":
    count = int(next((a for a in sys.argv[1:] if a.isdigit()), "100"))
    if "--speed" in sys.argv:
        speed()
    elif "--beside" in sys.argv:
        beside(count)
    else:
        beside(count)
        found(count)
        densities(min(count, 40))
