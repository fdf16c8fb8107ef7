"""What a strip's findings mean to the printer."""

from __future__ import annotations

from tonewright.show.sentence import says
from tonewright.strip import findings


def step_name(place: findings.StepPlace) -> str:
    """What a step is called where several strips and halves have one of its number."""
    half = "under the film" if place.through == "film" else "on the bare half"
    return f"step {place.step} {half}" + (f" of {place.print_name}" if place.print_name else "")


def _odd(step: findings.OddStep) -> str:
    way = "darker" if step.off_density > 0.0 else "lighter"
    return (f"{step_name(step)} ({abs(step.off_density):.2f} {way} than expected, density"
            f" {step.density:.2f})")


says(findings.ReadingsWet,
     "{file}: some readings are marked as wet or not yet dry. Prints dry down: blacks change by"
     " several L*. Measure again when the strip is dry.")
says(findings.PaperDensityAdded,
     "The readings count from the bare paper: its density, {paper_density:g}, was added.")
says(findings.ReadingsScatter,
     "The readings scatter by {density_sd:.2f} in density, more than an instrument and an even"
     " coating do. Look at the strip and measure it again.")
says(findings.FilmTooDense,
     "The film seems to take {film_density:.2f} of density; clear film takes 0.03 to 0.15. The two"
     " halves may be two prints, or one of them was read one or more steps off.")
says(findings.ZeroedOnPaper,
     "The lightest steps have almost no density, and few papers are that white: the instrument"
     " seems to have been zeroed on the paper. If so, the readings count from the"
     " paper: say so, and give its own density (usually 0.05 to 0.12), for correct blacks"
     " (--relative-to-paper, --paper-density).")
says(findings.StripTooShort,
     "Maximum black was not reached: even the clearest step prints lighter than this paper can."
     " The times are extrapolated; print another strip for {next_time}.")
says(findings.TimeUnsure,
     "The base printing time is known only to ±{halfwidth_stops:.1f} stop. Measure the dark steps"
     " again, or print a second strip, to settle it.")
says(findings.FilmUnsure, "The film's density is known only to ±{film_density_sd:.2f}.")
says(findings.RangeUnusual,
     "A log exposure range of {log_exposure_range:.2f} is unusual: most processes have"
     f" {findings.RangeUnusual.USUAL[0]} to {findings.RangeUnusual.USUAL[1]}. Check that you"
     " printed the tablet {tablet}; if it was another, the times are wrong too.")
says(findings.StripWhiteNotReached,
     "Paper white was not reached: the densest step still prints {above_white_density:.2f} in"
     " density above it. White and range are extrapolated. A tablet with denser steps would show"
     " them, or a second strip for a quarter of the time, evaluated together with this one.")
says(findings.EyeCountsDiffer, "The strips disagree, by no more than one miscounted step.")
says(findings.EyeStripFarTooLong,
     "So many merged steps show only that the strip is far too long, or that it is fogged or not"
     " cleared.")
says(findings.TimeNotUsed,
     "The file itself says what it was printed for ({those|list}); the other time, {given}, is not"
     " used.", those=lambda f: map(str, f.named))
says(findings.StepsSetAside,
     "Set aside: {those|list}. {they} with neighbouring steps. Look for a stain or a typing error"
     " and measure again, or count every step (--count-all).",
     they=lambda f: "They disagree" if f.steps[1:] else "It disagrees",
     those=lambda f: map(_odd, f.steps))
says(findings.StripsDisagree,
     "The {which} do not lie on one curve: together they scatter by {joint_density_sd:.2f} in"
     " density, each by itself by {own_density_sd:.2f}. {why}",
     which=lambda f: "two halves" if f.parts == "halves" else "strips",
     why=lambda f: "One of them may be from another print." if f.parts == "halves" else
     "One of the times may be wrong, or one strip may be on another paper or chemistry. Evaluate"
     " each by itself before you print anything for these times.")
says(findings.LighterAgain,
     "The print gets lighter again towards step 1 (from {where}), although the light increases:"
     " stains, or a black that solarises with too much exposure. The times depend on these steps:"
     " measure them again, print for a shorter time, or leave them out (--skip).",
     where=lambda f: " and ".join(map(step_name, f.darkest)))
says(findings.CornerFound,
     "This paper {turns} abruptly, at a corner near step {step} under the film (log exposure"
     " {log_exposure:.2f} from clear film at {time}).",
     turns=lambda f: "reaches black" if f.end == "black" else "leaves white")
