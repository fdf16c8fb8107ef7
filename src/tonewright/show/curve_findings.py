"""What is found when a curve is made or renewed, in words."""

from __future__ import annotations

from tonewright.curve import findings
from tonewright.errors import counted
from tonewright.show.sentence import says
from tonewright.show.words import percent

_LONGER = "A longer printing time would print a deeper black."
_MORE_INK = "Heavier or better-blocking ink, or a process of higher contrast, would reach further."
_CAUSE = {
    "black": "Far too much exposure can solarise blacks: try a shorter printing time.",
    "white": "Very heavy ink can pool and let light through: print with less ink, or let the film"
             " dry longer.",
}


def _way(found: findings.AimBeyondPrint | findings.TonesTogether) -> str:
    return "darker" if found.end == "black" else "lighter"


def _tone_reversal(found: findings.ToneReversal) -> str:
    where = f"between {percent(found.level_from)} and {percent(found.level_to)} ink"
    said = (f"The print gets darker by {found.drop_lightness:.1f} L* {where}, although the ink"
            " gets heavier.")
    if found.used_from is None or found.used_to is None:
        return f"{said} Those patches are not used."
    unused = f"{counted(found.unused_patches, 'patch')} beyond" \
             f" {'is' if found.unused_patches == 1 else 'are'} not used"
    return (f"{said} The curve uses only {percent(found.used_from)} to {percent(found.used_to)}"
            f" ink; {unused}. {_CAUSE[found.end]}")


def _ink_to_spare(found: findings.InkToSpare) -> str:
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


says(findings.ToneReversal, _tone_reversal)
says(findings.BlackStillDarkening,
     "Maximum black may not be reached: towards clear film the print still gets darker"
     f" ({{still_gaining_lightness:.1f}} L* over the first tenth of the ink). {_LONGER}")
says(findings.WhiteStillLightening,
     "Paper white is not reached: at the heaviest ink the print still gets lighter"
     " ({still_gaining_lightness:.1f} L* over the last tenth of the ink), so the whites stay gray"
     f" by at least about that much. {_MORE_INK}")
says(findings.WhiteDarkerThanPaper,
     "The lightest tone has L* {white_lightness:.0f}, darker than bare papers (L*"
     " {paper_lightness:.0f} and more): paper white is missed by about {short:.0f} L*. The heaviest"
     " ink still lets light through, or the print was fogged. Measure the bare paper to be sure.",
     short=lambda f: f.paper_lightness - f.white_lightness)
says(findings.PaleBlack,
     "The black has L* {black_lightness:.0f}, pale for any process: check coating, exposure and"
     " development.")
says(findings.ClearFilmNotMeasured,
     "No patch of clear film was measured. The lowest ink level, {lowest_level:.3g}, counts as the"
     " print's black.")
says(findings.HeaviestInkNotMeasured,
     "The heaviest ink was not measured. The curve stops at the highest level,"
     " {highest_level:.3g}.")
says(findings.WideGap,
     "No patch was measured between {level_from|percent} and {level_to|percent} ink; the curve is"
     " guessed there.")
says(findings.FewLevels,
     "Only {levels} different levels were measured; with 21 or more the curve is far surer.")
says(findings.DoubtfulPatchesCount,
     "Doubtful patches count fully: each level was measured once, so nothing tells a stain from a"
     " tone. Measure them again, or leave them out (--leave-out PATCH).")
says(findings.AimBeyondPrint,
     "The aim asks for tones up to {beyond_lightness:.1f} L* {way} than this print's {end}; they"
     " all print as {end}.", way=_way)
says(findings.AbruptEnd, "The print {does} abruptly, at {level|percent} ink.",
     does=lambda f: "leaves black" if f.end == "black" else "reaches white")
says(findings.TonesTogether,
     "With this aim all picture tones {way} than L* {image_lightness:.0f} print as {end}.",
     way=_way)
says(findings.PatchesSetAside,
     "Set aside: {patches|list}, which {fit} neither the strip nor the other patches. Look for a"
     " stain or a misread value, and measure again.",
     fit=lambda f: "fit" if len(f.patches) > 1 else "fits")
says(findings.PrintsDisagree,
     "Strips and targets disagree {times_noise:.1f} times more than reading noise explains: one of"
     " the times may be wrong, or one print may be on another paper, chemistry or ink. The band is"
     " widened accordingly.")
says(findings.MaximumBlackNotReached,
     "Maximum black is not reached at {printing_time}: clear film prints"
     f" {{above_black_lightness:.1f}} L* too light. {_LONGER}")
says(findings.PaperWhiteNotReached,
     "Paper white is not reached: the heaviest ink prints {below_white_lightness:.1f} L* darker."
     f" {_MORE_INK}")
says(findings.InkToSpare, _ink_to_spare)
says(findings.InkExtrapolated,
     "No print shows how dense the ink is above {above_level|percent}. It is extrapolated there;"
     " the band is widened accordingly.")
says(findings.TargetFarFromTime,
     "Target {target} was printed for {target_time}, far from {printing_time}. A target printed"
     " near that time makes a surer curve.")
says(findings.LightDiffers,
     "The {entry} was {before!r} and is {now!r}: treated as the same, as you asked. If the ink"
     " blocks more light with one than with the other, the tones will be off.")
says(findings.TooUnsure,
     "The curve is too unsure for a picture: ±{halfwidth_lightness:.1f} L* at {level|percent} ink.")
says(findings.TwoWeightings,
     "The old curve was measured as {before}, the new one as {now}. On a neutral print the two"
     " agree; on a blue one they differ by up to 0.07 in density, which may be part of what moved.",
     before=lambda f: f.old.replace("-", " "), now=lambda f: f.new.replace("-", " "))
says(findings.StripGivenUp,
     "A whole target replaces all that was known: the strip behind the old curve no longer counts,"
     " and the new curve cannot be renewed by a strip or for another time. A strip of the same"
     " paper keeps that, if it is named as well (--process).")
says(findings.NothingMoved, "Nothing moved: the curve is the same as {old}.")
says(findings.TakenAsBefore,
     "The process {process} does not name {those|list}: taken from the old curve.",
     those=lambda f: [entry.replace("_", " ") for entry in f.entries])
says(findings.SheetsBorrowed,
     "Two sheets hardly tell how much the next one may differ, so what is usual"
     " (±{usual_lightness:.1f} L*) counts too. Print and measure a third sheet to know.")
says(findings.AddedToCurve,
     "A print was added to the curve {curve}, which follows it only as far as that is likely to"
     " bring it nearer to the truth.")
