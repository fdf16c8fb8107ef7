"""How often a drift is called, and how often nothing is: checks and strips of the virtual darkroom.

    python tests/benchmarks/drift_calls.py 30 [checks]

For each invented process a curve by a strip and a target, then the tone scale beside a negative,
in a row along one edge, printed and checked week by week, and strips: even sheets at first, then a
sixth of a stop less light.  Sheets differ by 0.8 L* in each room, as in ``print_checks.py``; every
sheet and its noise has its own seed.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path += [str(Path(__file__).parents[1]), str(Path(__file__).parent)]
from print_checks import even_sheets, made_curve, strip_process, tone_row

from rooms import random_darkroom
from tonewright.check.aims import printed_tones
from tonewright.check.make import PrintRequest, check_print
from tonewright.errors import TonewrightError
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime
from tonewright.shelf.drift import Dated, find_drift
from tonewright.shelf.findings import TimeDrifted
from tonewright.virtual import darkroom

BEFORE, AFTER, STEADY, LOST = 10, 5, 25, 1.0 / 6.0
FIRST = date(2020, 1, 4)


def day(week):
    return FIRST + timedelta(7 * week)


def checks(room, curve, lost, seed, sheets, noise=0.01):
    image = np.linspace(0.0, 100.0, 11)
    level, aim = curve.level_at(image), curve.print_lightness_at(image)
    flaws = darkroom.Flaws(noise_density_sd=noise, **sheets)
    for week, stops in enumerate(lost):
        dim = replace(room, printing_time=room.base_time * 2.0**-stops)
        read = tone_row(dim, level, flaws, 1, seed + week)
        check = check_print(PrintRequest(
            curve, "ab" * 32, f"{week}", printed_tones(curve, read, aim),
            Setup(date=day(week).isoformat()), PrintingTime(room.base_time)))
        yield Dated(f"{week}", f"{seed}-{week}", check)


def strips(room, lost, seed, sheets, noise=0.01):
    for week, stops in enumerate(lost):
        slow = replace(room, process=replace(
            room.process, speed_exposure=room.process.speed_exposure + stops * np.log10(2.0)))
        made = strip_process(slow, round(room.base_time * 1.4), seed + week,
                             darkroom.Flaws(noise_density_sd=noise, **sheets))
        yield Dated(f"{week}", f"{seed}-{week}", replace(
            made, setup=Setup(paper="p", date=day(week).isoformat())))


def calls(prints, first):
    """Whether any chart is out, and whether the time is, after each print from the first on."""
    for n in range(first, len(prints) + 1):
        drift = find_drift(prints[:n], date(2030, 1, 1))
        yield (any(s.out_since for s in drift.series),
               next((f for f in drift.findings if isinstance(f, TimeDrifted)), None))


def alarms(prints):
    out = [False, *(any_out for any_out, _ in calls(prints, 2))]
    return sum(now and not was for was, now in pairwise(out))


def main():
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    found = {kind: [] for kind in sys.argv[2:] or ("checks", "strips")}
    false, judged, sizes = dict.fromkeys(found, 0), dict.fromkeys(found, 0), []
    for number in range(wanted):
        room = random_darkroom(np.random.default_rng(4000 + number))
        sheets = even_sheets(room)
        try:
            curve = made_curve(room, "strip + 21 x 1", 100 * number, 0.01, sheets)
        except TonewrightError as error:
            print("no curve:", error)
            continue
        steady, moved = [0.0] * STEADY, [0.0] * BEFORE + [LOST] * AFTER
        for kind, histories in (
                ("checks", (checks(room, curve, moved, 10**6 + 100 * number, sheets),
                            checks(room, curve, steady, 2 * 10**6 + 100 * number, sheets))),
                ("strips", (strips(room, moved, 3 * 10**6 + 100 * number, sheets),
                            strips(room, steady[:15], 4 * 10**6 + 100 * number, sheets)))):
            if kind not in found:
                continue
            history, still = map(list, histories)
            times = [time for _, time in calls(history, BEFORE + 1)]
            found[kind].append(any(t is not None and t.slower_stops > 0 for t in times))
            if kind == "checks" and times[-1] is not None:
                sizes.append(times[-1].slower_stops - LOST)
            false[kind] += alarms(still)
            judged[kind] += len(still)
        print(number, {k: (np.mean(found[k]).round(3), false[k], judged[k]) for k in found},
              flush=True)
    for kind in found:
        print(f"{kind}: called within {AFTER} in {np.mean(found[kind]):.0%} of {len(found[kind])};"
              f" {false[kind]} false alarms in {judged[kind]} prints")
    if sizes:
        print(f"size off by {np.median(np.abs(sizes)):.3f} stop (median of those called)")


if __name__ == "__main__":
    main()
