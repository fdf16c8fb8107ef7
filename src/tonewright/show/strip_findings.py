"""What a strip's findings mean to the printer."""

from __future__ import annotations

from tonewright.show.sentence import sentence
from tonewright.strip.findings import (
    EyeCountsDiffer,
    EyeStripFarTooLong,
    FilmTooDense,
    FilmUnsure,
    LighterAgain,
    PaperDensityAdded,
    RangeUnusual,
    ReadingsScatter,
    ReadingsWet,
    StepPlace,
    StepsSetAside,
    StripsDisagree,
    StripTooShort,
    StripWhiteNotReached,
    TimeNotUsed,
    TimeUnsure,
    ZeroedOnPaper,
)


def step_name(place: StepPlace) -> str:
    """What a step is called where several strips and halves have one of its number."""
    half = "under the film" if place.through == "film" else "on the bare half"
    return f"step {place.step} {half}" + (f" of {place.print_name}" if place.print_name else "")


@sentence.register
def _(found: ReadingsWet) -> str:
    return (f"{found.file}: some readings are marked as wet or not yet dry. Prints dry down: blacks"
            " change by several L*. Measure again when the strip is dry.")


@sentence.register
def _(found: TimeNotUsed) -> str:
    return (f"The file itself says what it was printed for ({', '.join(map(str, found.named))});"
            f" the other time, {found.given}, is not used.")


@sentence.register
def _(found: PaperDensityAdded) -> str:
    return (f"The readings count from the bare paper: its density, {found.paper_density:g}, was"
            " added.")


@sentence.register
def _(found: StepsSetAside) -> str:
    listed = ", ".join(
        f"{step_name(s)} ({abs(s.off_density):.2f} {'darker' if s.off_density > 0.0 else 'lighter'}"
        f" than expected, density {s.density:.2f})" for s in found.steps)
    they = "They disagree" if found.steps[1:] else "It disagrees"
    return (f"Set aside: {listed}. {they} with neighbouring steps. Look for a stain or a typing"
            " error and measure again; --count-all counts every step.")


@sentence.register
def _(found: StripsDisagree) -> str:
    halves = found.parts == "halves"
    return (f"The {'two halves' if halves else 'strips'} do not lie on one curve: together they"
            f" scatter by {found.joint_density_sd:.2f} in density, each by itself by"
            f" {found.own_density_sd:.2f}. "
            + ("One of them may be from another print." if halves else
               "One of the times may be wrong, or one strip may be on another paper or chemistry."
               " Evaluate each by itself before you print anything for these times."))


@sentence.register
def _(found: LighterAgain) -> str:
    return (f"The print gets lighter again towards step 1, from"
            f" {' and '.join(map(step_name, found.darkest))} on, although there was more light:"
            " stains, or a black that solarises with too much exposure. The times depend on these"
            " steps: measure them again, leave them out with --skip, or print for a shorter time.")


@sentence.register
def _(found: ReadingsScatter) -> str:
    return (f"The readings scatter by {found.density_sd:.2f} in density, more than an instrument"
            " and an even coating do. Look at the strip and measure it again.")


@sentence.register
def _(found: FilmTooDense) -> str:
    return (f"The film seems to take {found.film_density:.2f} of density; clear film takes 0.03 to"
            " 0.15. The two halves may be two prints, or one of them was read one or more steps"
            " off.")


@sentence.register
def _(_found: ZeroedOnPaper) -> str:
    return ("The lightest steps have almost no density, and few papers are that white: the"
            " instrument seems to have been zeroed on the paper. If so, add --relative-to-paper,"
            " and --paper-density with the paper's own density (usually 0.05 to 0.12), for correct"
            " blacks.")


@sentence.register
def _(found: StripTooShort) -> str:
    return ("Maximum black was not reached: even the clearest step prints lighter than this paper"
            f" can. The times are extrapolated; print another strip for {found.next_time}.")


@sentence.register
def _(found: TimeUnsure) -> str:
    return (f"The base printing time is known only to ±{found.halfwidth_stops:.1f} stop. Measure"
            " the dark steps again, or print a second strip, to settle it.")


@sentence.register
def _(found: FilmUnsure) -> str:
    return f"The film's density is known only to ±{found.film_density_sd:.2f}."


@sentence.register
def _(found: RangeUnusual) -> str:
    least, most = found.USUAL
    return (f"A log exposure range of {found.log_exposure_range:.2f} is unusual: most processes"
            f" have {least} to {most}. Check that you printed the tablet {found.tablet}; if it was"
            " another, the times are wrong too.")


@sentence.register
def _(found: StripWhiteNotReached) -> str:
    return ("Paper white was not reached: the densest step still prints"
            f" {found.above_white_density:.2f} in density above it. White and range are"
            " extrapolated. A tablet with denser steps would show them, or a second strip for a"
            " quarter of the time, evaluated together with this one.")


@sentence.register
def _(_found: EyeCountsDiffer) -> str:
    return "The strips disagree, by no more than a count by eye can be off."


@sentence.register
def _(_found: EyeStripFarTooLong) -> str:
    return ("So many merged steps show only that the strip is far too long, or that it is fogged or"
            " not cleared.")
