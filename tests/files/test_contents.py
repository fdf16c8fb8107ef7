"""What the files of a paper are, by what they hold and say of themselves."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from tonewright.files import contents
from tonewright.files.negative.batch import make_negatives
from tonewright.files.negative.settings import NegativeSettings
from tonewright.files.papers import Papers
from tonewright.files.proof import make_proofs
from tonewright.files.raster.pictures import write_picture
from tonewright.files.targets import TargetRequest, draw_target
from tonewright.negative.sheet import SheetSettings
from tonewright.show.plots import plot_curve
from tonewright.target.layout import LayoutSettings

CURVES = Path(__file__).parents[2] / "curves"
SCALE = "patch,density\n" + "".join(f"A{n},{1.6 - 0.1 * n:.1f}\n" for n in range(1, 12))


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Papers:
    """A paper with one of everything."""
    root = tmp_path_factory.mktemp("prints")
    (cotton := root / "Cotton").mkdir()
    curve = Path(shutil.copy(CURVES / "kallitype.curve.json", cotton))
    shutil.copy(CURVES / "kallitype-target.csv", cotton / "measured.csv")
    for name in ("picture", "scan", "plain", "strip", "gray"):
        write_picture(cotton / f"{name}.tif", np.full((700, 900), 30_000, np.uint16), 200.0)
    draw_target(cotton / "target.tif", TargetRequest(levels=5), LayoutSettings("t"))
    make_negatives([cotton / "picture.tif"], curve, cotton / "picture-negative.tif",
                   NegativeSettings(sheet=SheetSettings(tone_scale=True)))
    make_proofs([cotton / "picture.tif"], [curve], cotton / "proof.png")
    return Papers(root)


def write(papers: Papers, name: str, text: str) -> None:
    (papers.root / "Cotton" / name).write_text(text, encoding="utf-8")


@pytest.mark.parametrize(("text", "holds"), [
    ("level,density\n0,1.5\n1,0.1\n", "readings"),
    ("level,density\n0,\n1,\n", None),
    ("level,density,aim_lightness\n0,1.5,20\n1,0.1,90\n", "print"),
    ("image_lightness,density\n0,1.5\n100,0.1\n", "print"),
    (SCALE, "print"),  # all its patches are those of the tone scale beside the negative
    (SCALE + "B1,0.2\n", "list"),
    ("patch,level,density\nA1,0.1,1.5\n", "readings"),
    ("density\n0.08\n0.22\n", "gray_scale"),
    ("step,density\n1,0.08\n2,0.22\n", "gray_scale"),
    ("step,density,through,time\n1,1.5,film,600s\n", "strip"),
    ("step,film,bare\n1,1.5,1.5\n", "strip"),
    ("Look at the pictures first.", None),
])
def test_a_table_is_known_by_what_it_holds(papers: Papers, text: str, holds: str | None) -> None:
    write(papers, "table.csv", text)
    file = next(f for f in papers.files("Cotton") if f.name == "table.csv")
    assert contents.table_holds(papers, "Cotton", file) == holds
    named = [kind for kind in ("readings", "list", "print", "strip", "gray_scale")
             if "table.csv" in contents.tables(papers, "Cotton", kind)]
    assert named == ([holds] if holds else [])
    (papers.root / "Cotton" / "table.csv").unlink()


def test_a_list_of_patches_is_read_by_the_one_layout_that_has_them(papers: Papers) -> None:
    write(papers, "list.csv", SCALE)
    assert contents.layout_of(papers, "Cotton", "list.csv") == "picture-negative.target.json"
    other = papers.root / "Cotton" / "other-negative.target.json"
    shutil.copy(papers.root / "Cotton" / "picture-negative.target.json", other)
    assert contents.layout_of(papers, "Cotton", "list.csv") is None, "which of the two?"
    other.unlink()
    write(papers, "list.csv", SCALE.replace("A1,", "Z1,"))
    assert contents.layout_of(papers, "Cotton", "list.csv") is None
    (papers.root / "Cotton" / "list.csv").unlink()


def test_only_pictures_are_offered_for_negatives(papers: Papers) -> None:
    from tonewright.files.documents import read_curve

    cotton = papers.root / "Cotton"
    plot = plot_curve(read_curve(cotton / "kallitype.curve.json"))
    (cotton / "plot.png").write_bytes(plot)
    scans = ["gray.tif", "plain.tif", "scan.tif", "strip.tif"]
    assert sorted(contents.pictures(papers, "Cotton")) == ["gray.tif", "picture.tif", *scans[1:]]
    write(papers, "readings.csv",
          "# scan: scan.tif\n# plain sheet: plain.tif\nlevel,density\n0,1\n")
    text = (CURVES / "kallitype.process.json").read_text(encoding="utf-8")
    write(papers, "a.process.json", text.replace('"kind": "csv"', '"kind": "scan"').replace(
        '"name": "kallitype-strip.csv"', '"name": "strip.tif"'))
    assert sorted(contents.pictures(papers, "Cotton")) == ["gray.tif", "picture.tif"]
    assert sorted(contents.foreign_images(papers, "Cotton")) == sorted([*scans, "picture.tif"])
    write(papers, "damaged.tif", "no picture")
    assert "damaged.tif" in contents.pictures(papers, "Cotton"), "who takes it is told why"


def test_negatives_and_checks_are_known_by_their_curve(papers: Papers) -> None:
    assert contents.negatives_of(papers, "Cotton", "kallitype.curve.json") == [
        "picture-negative.tif"]
    write(papers, "other.curve.json", (CURVES / "kallitype.curve.json").read_text(
        encoding="utf-8") + "\n")
    for of in (contents.negatives_of, contents.checks_of):
        assert of(papers, "Cotton", "other.curve.json") == []
        assert of(papers, "Cotton", "missing.curve.json") == []
