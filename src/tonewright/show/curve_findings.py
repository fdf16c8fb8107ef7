"""What is found when a curve is made or renewed, in words."""

from __future__ import annotations

from tonewright.curve.findings import (
    AbruptEnd,
    AddedToCurve,
    AimBeyondPrint,
    BlackStillDarkening,
    ClearFilmNotMeasured,
    DoubtfulPatchesCount,
    FewLevels,
    HeaviestInkNotMeasured,
    InkExtrapolated,
    InkToSpare,
    LightDiffers,
    MaximumBlackNotReached,
    NothingMoved,
    PaleBlack,
    PaperWhiteNotReached,
    PatchesSetAside,
    PrintsDisagree,
    SheetsBorrowed,
    StripGivenUp,
    TakenAsBefore,
    TargetFarFromTime,
    ToneReversal,
    TonesTogether,
    TooUnsure,
    TwoWeightings,
    WhiteDarkerThanPaper,
    WhiteStillLightening,
    WideGap,
)
from tonewright.errors import counted
from tonewright.show.sentence import says, sentence
from tonewright.show.words import percent

_LONGER = "A longer printing time would print a deeper black."
_MORE_INK = "Heavier or better-blocking ink, or a process of higher contrast, would reach further."
_CAUSE = {
    "black": "Far too much exposure can solarise blacks: try a shorter printing time.",
    "white": "Very heavy ink can pool and let light through: print with less ink, or let the film"
             " dry longer.",
}
WEIGHTINGS = {"luminance": "luminance", "visual-density": "visual density"}


@sentence.register
def _(found: ToneReversal) -> str:
    where = f"between {percent(found.level_from)} and {percent(found.level_to)} ink"
    said = (f"The print gets darker by {found.drop_lightness:.1f} L* {where}, although the ink"
            " gets heavier.")
    if found.used_from is None or found.used_to is None:
        return f"{said} Those patches are not used."
    unused = f"{counted(found.unused_patches, 'patch')} beyond" \
             f" {'is' if found.unused_patches == 1 else 'are'} not used"
    return (f"{said} The curve uses only {percent(found.used_from)} to {percent(found.used_to)}"
            f" ink; {unused}. {_CAUSE[found.end]}")


@sentence.register
def _(found: BlackStillDarkening) -> str:
    return ("Maximum black may not be reached: towards clear film the print still gets darker"
            f" ({found.still_gaining_lightness:.1f} L* over the first tenth of the ink). {_LONGER}")


@sentence.register
def _(found: WhiteStillLightening) -> str:
    return ("Paper white is not reached: at the heaviest ink the print still gets lighter"
            f" ({found.still_gaining_lightness:.1f} L* over the last tenth of the ink), so the"
            f" whites stay gray by at least about that much. {_MORE_INK}")


@sentence.register
def _(found: WhiteDarkerThanPaper) -> str:
    short = found.paper_lightness - found.white_lightness
    return (f"The lightest tone has L* {found.white_lightness:.0f}, darker than bare papers"
            f" (L* {found.paper_lightness:.0f} and more): paper white is missed by about"
            f" {short:.0f} L*. The heaviest ink still lets light through, or the print was fogged."
            " Measure the bare paper to be sure.")


@sentence.register
def _(found: PaleBlack) -> str:
    return (f"The black has L* {found.black_lightness:.0f}, pale for any process: check coating,"
            " exposure and development.")


@sentence.register
def _(found: ClearFilmNotMeasured) -> str:
    return (f"No patch of clear film was measured. The lowest ink level, {found.lowest_level:.3g},"
            " counts as the print's black.")


@sentence.register
def _(found: HeaviestInkNotMeasured) -> str:
    return (f"The heaviest ink was not measured. The curve stops at the highest level,"
            f" {found.highest_level:.3g}.")


@sentence.register
def _(found: WideGap) -> str:
    return (f"No patch was measured between {percent(found.level_from)} and"
            f" {percent(found.level_to)} ink; the curve is guessed there.")


@sentence.register
def _(found: FewLevels) -> str:
    return (f"Only {found.levels} different levels were measured; with 21 or more the curve is far"
            " surer.")


@sentence.register
def _(found: DoubtfulPatchesCount) -> str:
    return ("Doubtful patches count fully: each level was measured once, so nothing tells a stain"
            " from a tone. Measure them again, or leave them out (--leave-out PATCH).")


@sentence.register
def _(found: AimBeyondPrint) -> str:
    way = "darker" if found.end == "black" else "lighter"
    return (f"The aim asks for tones up to {found.beyond_lightness:.1f} L* {way} than this print's"
            f" {found.end}; they all print as {found.end}.")


@sentence.register
def _(found: AbruptEnd) -> str:
    does = "leaves black" if found.end == "black" else "reaches white"
    return f"The print {does} abruptly, at {percent(found.level)} ink."


@sentence.register
def _(found: TonesTogether) -> str:
    way = "darker" if found.end == "black" else "lighter"
    return (f"With this aim all picture tones {way} than L* {found.image_lightness:.0f} print as"
            f" {found.end}.")


@sentence.register
def _(found: PatchesSetAside) -> str:
    fit = "fit" if len(found.patches) > 1 else "fits"
    return (f"Set aside: {', '.join(found.patches)}, which {fit} neither the strip nor the other"
            " patches. Look for a stain or a misread value, and measure again.")


@sentence.register
def _(found: PrintsDisagree) -> str:
    return (f"Strips and targets disagree {found.times_noise:.1f} times more than reading noise"
            " explains: one of the times may be wrong, or one print may be on another paper,"
            " chemistry or ink. The band is widened accordingly.")


@sentence.register
def _(found: MaximumBlackNotReached) -> str:
    return (f"Maximum black is not reached at {found.printing_time}: clear film prints"
            f" {found.above_black_lightness:.1f} L* too light. {_LONGER}")


@sentence.register
def _(found: PaperWhiteNotReached) -> str:
    return (f"Paper white is not reached: the heaviest ink prints {found.below_white_lightness:.1f}"
            f" L* darker. {_MORE_INK}")


@sentence.register
def _(found: InkToSpare) -> str:
    level = percent(found.level)
    if found.seen_to_level is not None:
        return (f"There may be ink to spare: {level} ink should print paper white, but no print"
                f" shows the ink above {percent(found.seen_to_level)}. Print that level before you"
                " choose a lighter ink setting.")
    if not found.sure:
        return (f"There may be ink to spare: {level} ink should print paper white, but that is not"
                " sure yet. Print that level before you choose a lighter ink setting.")
    return (f"There is ink to spare: {level} ink already prints paper white. A lighter ink setting"
            " would dry faster and give finer steps.")


@sentence.register
def _(found: InkExtrapolated) -> str:
    return (f"No print shows how dense the ink is above {percent(found.above_level)}. It is"
            " extrapolated there; the band is widened accordingly.")


@sentence.register
def _(found: TargetFarFromTime) -> str:
    return (f"Target {found.target} was printed for {found.target_time}, far from"
            f" {found.printing_time}. A target printed near that time makes a surer curve.")


@sentence.register
def _(found: LightDiffers) -> str:
    return (f"The {found.entry} was {found.before!r} and is {found.now!r}: treated as the same, as"
            " you asked. If the ink blocks more light with one than with the other, the tones will"
            " be off.")


@sentence.register
def _(found: TooUnsure) -> str:
    return (f"The curve is too unsure for a picture: ±{found.halfwidth_lightness:.1f} L* at"
            f" {percent(found.level)} ink.")


@sentence.register
def _(found: TwoWeightings) -> str:
    return (f"The old curve was measured as {WEIGHTINGS[found.old]}, the new one as"
            f" {WEIGHTINGS[found.new]}. On a neutral print the two agree; on a blue one they differ"
            " by up to 0.07 in density, which may be part of what moved.")


@sentence.register
def _(found: StripGivenUp) -> str:
    return ("A whole target replaces all that was known: the strip behind the old curve no longer"
            " counts, and the new curve cannot be renewed by a strip or for another time. A"
            " strip of the same paper keeps that, if it is named as well (--process).")


@sentence.register
def _(found: NothingMoved) -> str:
    return f"Nothing moved: the curve is the same as {found.old}."


@sentence.register
def _(found: TakenAsBefore) -> str:
    entries = ", ".join(entry.replace("_", " ") for entry in found.entries)
    return f"The process {found.process} does not name {entries}: taken from the old curve."


@sentence.register
def _(found: SheetsBorrowed) -> str:
    return ("Two sheets hardly tell how much the next one may differ, so what is usual"
            f" (±{found.usual_lightness:.1f} L*) counts too. Print and measure a third sheet to"
            " know.")


says(AddedToCurve, "A print was added to the curve {curve}, which follows it only as far as that"
     " is likely to bring it nearer to the truth.")
