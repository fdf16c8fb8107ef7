"""Pages for the darkroom: what they say, that nothing from a file runs, and one sheet each."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from reports import check_report
from tonewright import scales
from tonewright.check.document import Cause, Check, Checked, CheckedTone
from tonewright.curve.aim import Aim
from tonewright.curve.document import Curve, make_correction
from tonewright.curve.responses import PrintResponse
from tonewright.files.documents import read_curve
from tonewright.files.negative.batch import Batch
from tonewright.files.pages import Report, SheetToPrint, Worksheet
from tonewright.files.proof import ProofReport
from tonewright.measured.findings import PatchesDoubted
from tonewright.negative.coating import Coating
from tonewright.negative.findings import EncodingAssumed
from tonewright.negative.proof import make_proof
from tonewright.record.setup import Setup
from tonewright.record.times import PrintingTime, ladder
from tonewright.show.cautions import CAUTIONS
from tonewright.show.pages.report import aims, report_json, report_page, report_text
from tonewright.show.pages.worksheet import rung_words, worksheet_page, worksheet_text
from tonewright.show.proof_text import proofs_text

CURVES = Path(__file__).parents[2] / "curves"
EVIL = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7*7 }}"
UNSEEN = "\u202e\u2066\x1b[31m\x00\ufeff"
SHA = "0123456789abcdef" * 4


@pytest.fixture(scope="module")
def curve():
    return read_curve(CURVES / "kallitype.curve.json")


def report_of(curve: Curve, **more) -> Report:
    assert curve.recipe is not None
    process = curve.recipe.processes[curve.recipe.process]
    facts = {"time": PrintingTime(1470.0), "less": PrintingTime(1155.0), "process": process,
             "checks": (), **more}
    return Report(curve, SHA, **facts)


def sheet_of(curve: Curve, sheets=(), time=PrintingTime(480.0), coating=Coating()) -> Worksheet:  # noqa: B008
    return Worksheet(curve, SHA, time, () if time is None else ladder(time), tuple(sheets), coating)


def hostile(curve: Curve) -> Curve:
    """A curve whose every text is long, and markup or what no screen shows."""
    long = (EVIL + UNSEEN + " word ") * 200
    wide = "W" * 500
    found = tuple(PatchesDoubted(f"{n}{wide}", tuple(f"{EVIL}{i}" for i in range(20)))
                  for n in range(9))
    return dataclasses.replace(curve, name=EVIL + wide, findings=curve.findings + found,
                               made_by=long, setup=Setup(*[long, wide] * 5))


class Seen(HTMLParser):
    """Every element with its attributes, and all text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes += attrs

    def handle_data(self, data):
        if self.lasttag != "style":
            self.text += data


def late_check(curve: Curve, **more) -> Check:
    """A print that got too little light, and the time that its check gives."""
    tone = CheckedTone("50", None, 0.5, 50.0, 50.0, 46.0, -4.0, 1.0)
    facts = {"date": "2026-12-15", "next_time": PrintingTime(1710.0), "passes": False, **more}
    return Check(
        made_by="tonewright", name="c", setup=curve.setup, curve=Checked(curve.name, SHA),
        printing_time=PrintingTime(1440.0), scale="visual-density", relative_to_paper=False,
        tones=(tone,), probability=0.001, difference_lightness_rms=4.0,
        difference_lightness_mean=-4.0, worst_image_lightness=50.0,
        worst_difference_lightness=-4.0, black_lightness=None, white_lightness=None,
        cause=Cause("none", None, None, None, None, None) if facts["passes"] else
        Cause("exposure", None, "ink", 45.0, -0.25, 0.06), exposure_off_stops=-0.25,
        exposure_off_stops_sd=0.06, **facts)


def pages_of(curve: Curve) -> dict[str, str]:
    sheet = SheetToPrint(curve.name + ".tif", (203.2, 254.0), (223.2, 274.0), 2.64, curve.name,
                         curve.name)
    return {"report": report_page(report_of(curve, checks=(late_check(curve),))),
            "worksheet": worksheet_page(sheet_of(curve, [sheet] * 3)),
            "blank": worksheet_page(sheet_of(curve, time=None))}


def test_a_report_says_what_the_bench_needs(curve):
    text = " ".join(Seen(report_page(report_of(curve))).text.split())
    for said in ("kallitype", "24 min", "19 min 15 s", "01234567", "2026-01-10",
                 "sodium acetate", "Next:", "Notes", *CAUTIONS):
        assert said in text, said


def test_another_time_of_the_newest_check_stands_under_the_time(curve):
    def said(**more):
        page = report_page(report_of(curve, checks=(late_check(curve, **more),)))
        return " ".join(Seen(page).text.split())

    assert "The check of 2026-12-15 says 28 min 30 s" in said()
    assert "The last check says 28 min 30 s" in said(date=None)
    for more in ({"next_time": None}, {"next_time": None, "passes": True},
                 {"next_time": PrintingTime(1470.0)}):
        assert "says" not in said(**more).split("Doubts")[0]


def test_doubts_that_find_no_room_are_counted(curve):
    """None breaks off without a sign: of those cut short "…" is the end."""
    doubts = report_json(report_of(hostile(curve)))["doubts"]
    many = len(curve.findings) + 9
    assert re.fullmatch(r"And \d+ more, in the curve's own report\.", doubts[-1])
    assert int(doubts[-1].split()[1]) + len(doubts) - 1 >= many
    assert all(doubt.endswith(("…", ".")) for doubt in doubts)


def test_the_aims_are_what_the_negatives_tone_scale_prints(curve):
    rows = aims(curve)
    assert [row.image_lightness for row in rows] == [10.0 * i for i in range(11)]
    for row in rows:
        level = float(curve.level_at(row.image_lightness))
        assert row.print_lightness == pytest.approx(float(curve.response.lightness_at(level)),
                                                    abs=1.0)
        # ISO 5-4: density is the logarithm of what does not come back
        assert scales.density_to_lightness(row.density) == pytest.approx(row.print_lightness)


def test_a_worksheet_has_a_block_for_each_negative(curve):
    sheets = [SheetToPrint(f"n{i}.tif", (200.0, 250.0), (220.0, 270.0), 2.5, "8 min", None)
              for i in range(7)]
    coating = Coating(10.0, 3.0, (200.0, 250.0))
    page = Seen(worksheet_page(sheet_of(curve, sheets, coating=coating)))
    text = " ".join(page.text.split())
    for said in ("n0.tif", "n6.tif", "220 × 270 mm, 594 cm²", "2.5 ml", "page 2 of 2", "−⅔ stop",
                 "5 min", "12 min 45 s", "develop", *CAUTIONS):
        assert said in text, said
    assert text.count("wash") == 7 and text.count(CAUTIONS[0]) == 2


def test_what_is_not_known_is_left_to_write_in(curve):
    sheets = [SheetToPrint("n.tif", None, None, None, None, "palladium")]
    text = Seen(worksheet_page(sheet_of(curve, sheets, time=None))).text
    assert "______ ml" in text and "____ × ____ mm" in text and "________" in text
    assert "Made through another curve: palladium." in text


def test_integrator_units_stay_units(curve):
    text = Seen(worksheet_page(sheet_of(curve, time=PrintingTime(120.0, "unit")))).text
    assert "60 units" in text and "240 units" in text and "min" not in text.split("film")[0]


@pytest.mark.parametrize(("thirds", "words"), [(0, "base"), (-3, "−1 stop"), (2, "+⅔ stop"),
                                               (4, "+1⅓ stop")])
def test_rungs_are_read_as_fractions_of_a_stop(thirds, words):
    assert rung_words(thirds) == words


@pytest.mark.parametrize("name", ["report", "worksheet", "blank"])
def test_nothing_from_a_file_runs_or_loads(curve, name):
    plain, page = Seen(pages_of(curve)[name]), pages_of(hostile(curve))[name]
    evil = Seen(page)
    assert evil.tags <= plain.tags | {"ul", "li", "path"}  # no element more, script or img
    assert not evil.tags & {"script", "img", "link", "iframe", "object", "a"}
    names = {n for n, _ in evil.attributes}
    assert not {n for n in names if n.startswith("on")} and not names & {"src", "href", "style"}
    assert not re.search(r"https?:|url\(|@import", page)
    assert not set(page) & set(UNSEEN.replace("[31m", "") + "\u2069\u200e")
    assert "<script>alert(1)" in evil.text and "49" not in evil.text.split("}}")[0]
    assert len(page.encode()) < 1_000_000


@pytest.fixture
def tab(chromium):
    """A page of the browser."""
    context = chromium.new_context(viewport={"width": 800, "height": 600})
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("size", ["A4", "letter"])
@pytest.mark.parametrize("whose", [lambda c: c, hostile], ids=["plain", "hostile"])
def test_each_prints_on_one_sheet(curve, tab, tmp_path, size, whose):
    """On either paper, as it is chosen when a page is printed."""
    for number, page in enumerate(pages_of(whose(curve)).values()):
        path = tmp_path / f"{number}.html"
        path.write_text(page, encoding="utf-8")
        tab.goto(path.as_uri())
        raw = tab.pdf(format=size)
        assert len(re.findall(rb"/Type\s*/Page[^s]", raw)) == 1
        found = re.search(rb"/MediaBox\s*\[0 0 (\d+)", raw)
        assert abs(int(found[1]) - {"A4": 595, "letter": 612}[size]) <= 1


@pytest.mark.parametrize("whose", [lambda c: c, hostile], ids=["plain", "hostile"])
def test_cautions_and_notes_are_never_cut_off(curve, tab, tmp_path, whose):
    """However much there is to say, on letter, the shorter paper, and on a screen: a script
    measures where they lie."""
    measure = """[...document.querySelectorAll('.page')].map(
        p => ['footer', '.ruled'].map(what => Math.round(p.getBoundingClientRect().bottom
            - p.querySelector(what).getBoundingClientRect().bottom)).join()
            + ',' + Math.round(p.querySelector('.ruled').clientHeight)
            + ',' + p.querySelector('.ruled i').getBoundingClientRect().height).join()"""
    screen = "height: auto; min-height: 276mm; }"
    pages = [*pages_of(whose(curve)).values()]
    pages += [page.replace(screen, "}") for page in pages]
    assert sum(screen in page for page in pages) == 3
    for number, page in enumerate(pages):
        path = tmp_path / f"{number}.html"
        path.write_text(page, encoding="utf-8")
        tab.goto(path.as_uri())
        below, under_notes, notes, line = map(float, tab.evaluate(measure).split(","))
        assert line.is_integer(), "a screen would round some lines up, some down"
        assert below >= 0 and under_notes > 0 and notes >= 70, number


def straight(curve: Curve) -> Curve:
    """A curve whose print lightens evenly with the ink: its numbers are no fit's."""
    level = np.linspace(0.0, 1.0, 11)
    response = PrintResponse(level, *[18.0 + 74.0 * level] * 5)
    return dataclasses.replace(
        curve, findings=(), response=response,
        correction=make_correction(response, Aim(), (0.0, 1.0)),
        summary=dataclasses.replace(curve.summary, black_lightness=18.0, white_lightness=92.0))


def test_the_reports_on_stdout(curve):
    curve = straight(curve)
    check_report("page_report.txt", report_text(report_of(curve), "kallitype.html"))
    sheets = [SheetToPrint("portrait.tif", (203.2, 254.0), (223.2, 274.0), 2.64, "8 min", None),
              SheetToPrint("old.tif", None, None, None, None, "palladium")]
    check_report("page_worksheet.txt", worksheet_text(sheet_of(
        curve, sheets, coating=Coating(10.0, 2.2, (203.2, 254.0))), "today.html"))
    check_report("page_worksheet_blank.txt", worksheet_text(sheet_of(curve, time=None), "b.html"))


def test_the_report_on_a_proof(curve):
    plain = make_proof(straight(curve))
    blue = dataclasses.replace(plain, curve="blue", tints=21, chroma_lost=4.2,
                               relative_to_paper=True,
                               below_image_lightness=8.0, above_image_lightness=96.4)
    report = ProofReport(Path("picture.tif"), Path("proof.png"), 1200, 800, "gamma:2.2",
                         (plain, blue), (), (EncodingAssumed("gamma:2.2"),))
    check_report("proof.txt", proofs_text(Batch([report])))
