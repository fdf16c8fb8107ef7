"""What the findings in a chart of inks mean to the printer."""

from __future__ import annotations

from tonewright.inks import findings
from tonewright.record.times import PrintingTime
from tonewright.scales import STOP
from tonewright.show.sentence import says


def typed(time: PrintingTime) -> str:
    """A time as it is typed."""
    if time.unit == "unit":
        return f"{time.value:g}units"
    return f"{time.value / 60.0:g}min" if time.value % 60.0 == 0.0 else f"{time.value:g}s"


def _paper_white(found: findings.InksPaperWhite) -> str:
    """How many colours are known by a bound alone, and what would show more."""
    one, time, stops = found.paper_white == 1, found.next_time, found.longer_stops
    said = ("One colour prints" if one else
            f"{found.paper_white} of {found.colours} colours print")
    said += (" paper white at full ink, which tells only the least density"
             f" {'it' if one else 'they'} can have.")
    if time is None or stops is None:
        return said
    said += (f" To see more, print the same chart for {time} ({stops} stop{'s' * (stops > 1)}"
             f" longer), and say so (--time {typed(time)}).")
    if found.full_ink_only:
        said += (" Or draw it with lighter levels as well (tonewright target --ink-colours"
                 " --ink-levels 1,0.5).")
    return said


says(findings.ColoursNotMeasured, "Not measured, and so not compared: {them}.",
     them=lambda f: "; ".join(f.ink_colours))
says(findings.ClearFilmOff,
     "Clear film printed {stops:.1f} stops {way} than the strip of {process} predicts for {time}."
     " The time may be wrong (--time), or the chart is on another paper or chemistry.",
     stops=lambda f: abs(f.lighter_log_exposure) / STOP,
     way=lambda f: "lighter" if f.lighter_log_exposure > 0 else "darker")
says(findings.InkPatchesDiffer,
     "Patches {patches|list} are of one ink and differ by {difference_density:.2f} in density."
     " Look at them and measure them again, or leave out the bad one (--leave-out PATCH).")
says(findings.InksPaperWhite, _paper_white)
