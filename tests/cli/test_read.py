"""`tonewright read` as it is typed: a drawn target, printed and scanned in the virtual darkroom.

Everything goes through files and the command line, down to a curve; the truth is the darkroom's.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from PIL import Image

import commands
from rooms import Scanner, scan_sheet
from tonewright.cli import main
from tonewright.files.documents import read_curve, write_document
from tonewright.files.targets import read_target
from tonewright.scan.response import response_from_gray_scale
from tonewright.virtual import darkroom, scanroom

PROMISED = {
    "patches", "doubtful", "rotation_degrees", "mirrored", "mark_error_px", "unevenness_density",
    "density_sd_median",
}  # fmt: skip
ROOM = darkroom.Darkroom(darkroom.DEMO_INK, darkroom.KALLITYPE)
SCANNER = Scanner(ppi=200.0, lid_density=1.5)
KNOWN = np.round(np.linspace(0.05, 2.0, 14), 2)
GIVEN = ("--target", "T.target.json", "--scanner", "s.scanner.json")


def invoke(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def save(path, codes, **options):
    tifffile.imwrite(path, codes, photometric="minisblack", resolution=(200, 200), **options)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A folder with a target, another one, a scan of the first and a scanner's response."""
    folder = tmp_path_factory.mktemp("made")
    for name, seed in (("T", 4), ("U", 5)):
        done = invoke("target", "-o", folder / f"{name}.tif", "--ppi", 254, "--seed", seed,
                      "--paper-size", "4x5", "--levels", 11, "--name", name)
        assert done.exit_code == 0, done.output
    sheet = scanroom.print_sheet(tifffile.imread(folder / "T.tif"), 254.0, ROOM,
                                 scanroom.PaperFlaws(texture_density_sd=0.01), seed=1)
    render = scan_sheet(sheet, SCANNER, scanroom.Lying(3.0, 1), seed=1)
    save(folder / "scan.tif", render.codes)
    response = response_from_gray_scale(KNOWN, SCANNER.code(KNOWN), np.full(KNOWN.size, 2e-4))
    write_document(folder / "s.scanner.json", replace(response, name="s"))
    return folder, render


@pytest.fixture
def run(made, tmp_path, monkeypatch):
    for path in made[0].iterdir():
        shutil.copy(path, tmp_path)
    monkeypatch.chdir(tmp_path)
    return lambda *arguments: invoke("read", *arguments)


@pytest.fixture
def codes(made):
    return made[1].codes.copy()


def rows(path):
    lines = Path(path).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def refused(run, *arguments):
    """The one message of a command that must fail, having changed nothing."""
    message = commands.refused(run, *arguments)
    assert message.startswith("tonewright read: ") and message.count("\n") == 1
    return message


def test_from_a_scan_to_a_curve_that_the_instrument_would_have_given(run):
    done = run("scan.tif", *GIVEN, "-o", "r.csv", "--overlay", "o.png")
    assert done.exit_code == 0, done.output
    assert "tonewright fit r.csv -o NAME.curve.json" in done.stdout
    assert "Written:  r.csv and o.png" in done.stdout
    target = read_target("T.target.json")
    table = rows("r.csv")
    assert [r["patch"] for r in table] == [p.name for p in target.patches]
    assert [float(r["level"]) for r in table] == pytest.approx(target.level.tolist(), abs=1e-6)
    truth = ROOM.print_density(target.level)
    off = np.array([float(r["density"]) for r in table]) - truth
    assert np.sqrt(np.mean(off[truth <= 1.6] ** 2)) < 0.015
    fitted = invoke("fit", "r.csv", "-o", "r.curve.json", "--json")
    assert fitted.exit_code == 0, fitted.output
    image = np.linspace(1.0, 99.0, 99)
    curve = read_curve("r.curve.json")
    printed = ROOM.print_lightness(curve.level_at(image))
    ends = ROOM.print_lightness(np.array([0.0, 1.0]))
    aim = ends.min() + image / 100.0 * np.ptp(ends)
    assert np.sqrt(np.mean((printed - aim) ** 2)) < 0.6


def test_json_is_one_object_and_nothing_else(run):
    done = run("scan.tif", *GIVEN, "-o", "r.csv", "--json")
    assert done.exit_code == 0 and done.stderr == ""
    found = json.loads(done.stdout)
    assert set(found) >= PROMISED | {"findings", "warnings"}
    assert found["patches"] == len(read_target("T.target.json").patches)
    assert found["rotation_degrees"] == pytest.approx(93.0, abs=0.05)
    assert found["mirrored"] is False and found["mark_error_px"] < 1.0
    assert found["density_sd_median"] < 0.01 and found["unevenness_density"] < 0.03


def test_every_file_is_opened_once(run, monkeypatch):
    target = read_target("T.target.json")
    listed("list.csv", target, range(len(target.patches)))
    count = commands.opened(monkeypatch)
    assert run("scan.tif", *GIVEN, "-o", "r.csv", "--overlay", "o.png").exit_code == 0
    assert [count[n] for n in ("scan.tif", "T.target.json", "s.scanner.json")] == [1, 1, 1]
    count.clear()
    assert run("list.csv", *GIVEN[:2], "-o", "l.csv").exit_code == 0
    assert [count[n] for n in ("list.csv", "T.target.json")] == [1, 1]


def test_the_overlay_shows_the_print_upright_with_its_patches_outlined(run):
    assert run("scan.tif", *GIVEN, "-o", "r.csv", "--overlay", "o.png").exit_code == 0
    target = read_target("T.target.json")
    with Image.open("o.png") as image:
        picture = np.asarray(image.convert("RGB")).astype(int)
    per_mm = 1800 / target.height_mm
    assert picture.shape[1] == round(target.width_mm * per_mm)
    gray = np.ptp(picture, axis=2) < 12
    for patch in target.patches:
        x, y = patch.centre
        # the inner edge of the outline, and plain tone between it and the number
        left = round(per_mm * (x - 0.32 * patch.width_mm))
        row = round(per_mm * (y + 0.25 * patch.height_mm))
        assert not gray[row, left - 3 : left + 4].all(), patch.name
        assert gray[row, left + 8 : left + 30].all(), patch.name
    lightest = max(target.patches, key=lambda p: p.level)
    x, y = (round(per_mm * c) for c in lightest.centre)
    assert picture[y + round(0.25 * per_mm * lightest.height_mm), x].mean() > 150


def test_a_mirrored_inverted_or_rgb_scan_gives_the_same(run, codes):
    assert run("scan.tif", *GIVEN, "-o", "r.csv").exit_code == 0
    plain = np.array([float(r["density"]) for r in rows("r.csv")])
    save("mirror.tif", np.ascontiguousarray(codes[:, ::-1]))
    save("film.tif", 65535 - codes)
    tifffile.imwrite("rgb.tif", np.stack([codes // 2, codes, codes // 3], axis=-1),
                     photometric="rgb")
    for name, extra, warned in (("mirror", (), "mirrored"), ("film", (), "inverted"),
                                ("rgb", ("--channel", "green"), "")):
        done = run(f"{name}.tif", *GIVEN, "-o", f"{name}.csv", *extra)
        assert done.exit_code == 0, done.output
        assert warned in done.stdout
        found = np.array([float(r["density"]) for r in rows(f"{name}.csv")])
        assert np.max(np.abs(found - plain)) < 0.01, name


def test_known_patches_stand_in_for_a_scanner_response(run):
    done = run("scan.tif", "--target", "T.target.json", "-o", "r.csv", "--known",
               f"white={ROOM.print_density(1.0):.2f}", "--known",
               f"black={ROOM.print_density(0.0):.2f}", "--json")
    assert done.exit_code == 0, done.output
    target, table = read_target("T.target.json"), rows("r.csv")
    off = np.array([float(r["density"]) for r in table]) - ROOM.print_density(target.level)
    sd = np.array([float(r["density_sd"]) for r in table])
    assert np.sqrt(np.mean(off**2)) < 0.06
    assert np.mean(np.abs(off) < 2.5 * sd) > 0.9  # it says itself how unsure it is
    found = json.loads(done.stdout)
    assert found["findings"] == [{"code": "densities_by_known_patches", "by_profile": False}]
    assert len(found["warnings"]) == 1 and "tonewright scanner" in found["warnings"][0]


def test_eight_bits_are_read_with_a_warning_about_blacks(run, codes):
    save("eight.tif", (codes >> 8).astype(np.uint8))
    done = run("eight.tif", *GIVEN, "-o", "r.csv")
    assert done.exit_code == 0, done.output
    words = " ".join(done.stdout.split())
    assert "1.3 are uncertain" in words and "Scan at 16 bits" in words


def test_a_jpeg_is_refused_unless_asked_for(run, codes):
    Image.fromarray((codes >> 8).astype(np.uint8)).save("scan.jpg", quality=92)
    assert "--allow-jpeg" in refused(run, "scan.jpg", *GIVEN, "-o", "r.csv")
    done = run("scan.jpg", *GIVEN, "-o", "r.csv", "--allow-jpeg")
    assert done.exit_code == 0 and "JPEG" in done.stdout


def blotted(made, codes, *lost):
    """The scan with some marks painted over."""
    target, render = read_target(made[0] / "T.target.json"), made[1]
    y, x = np.ogrid[: codes.shape[0], : codes.shape[1]]
    for i in lost:
        column, row, w = render.matrix @ [*target.mark_centres[i], 1.0]
        codes[np.hypot(x - column / w, y - row / w) < 45] = 30000
    return codes


def corners(made):
    target, render = read_target(made[0] / "T.target.json"), made[1]
    wide = np.column_stack([target.mark_centres, np.ones(4)]) @ render.matrix.T
    return ",".join(f"{v:.0f}" for v in (wide[:, :2] / wide[:, 2:]).ravel())


def test_one_lost_mark_is_done_without(run, made, codes):
    save("one.tif", blotted(made, codes, 1))
    done = run("one.tif", *GIVEN, "-o", "r.csv")
    assert done.exit_code == 0, done.output
    assert "The mark with 2 spots was not found" in " ".join(done.stdout.split())


def test_two_lost_marks_are_named_and_corners_by_hand_help(run, made, codes):
    save("two.tif", blotted(made, codes, 0, 2))
    message = refused(run, "two.tif", *GIVEN, "-o", "r.csv", "--overlay", "o.png")
    assert "2, 4" in message and "--corners" in message
    done = run("two.tif", *GIVEN, "-o", "r.csv", "--corners", corners(made))
    assert done.exit_code == 0, done.output
    target = read_target("T.target.json")
    off = [float(r["density"]) for r in rows("r.csv")] - ROOM.print_density(target.level)
    assert np.sqrt(np.mean(off**2)) < 0.03


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda c: np.random.default_rng(1).integers(0, 65536, c[::2, ::2].shape, np.uint16),
         ("none of the four corner marks", "photograph", "--corners")),
        (lambda c: np.full_like(c, 40000), ("one even tone",)),
        (lambda c: c[:, : int(0.7 * c.shape[1])], ("cut off", "cropped")),
        (lambda c: np.clip(c.astype(float) * 1.8, 0, 65535).astype(np.uint16),
         ("clipped to white", "automatic exposure")),
        (lambda c: np.clip(c.astype(float) - 20000, 0, 65535).astype(np.uint16),
         ("clipped to black", "automatic exposure")),
        (lambda c: c[::5, ::5], ("too coarse", "300 pixels")),
    ],
    ids=["a picture", "even", "cropped", "white", "black", "coarse"],
)
def test_a_bad_scan_is_refused_with_its_cause(run, codes, spoil, said):
    save("bad.tif", np.ascontiguousarray(spoil(codes)))
    message = refused(run, "bad.tif", *GIVEN, "-o", "r.csv", "--overlay", "o.png")
    assert any(part in message for part in said), message


def test_the_wrong_targets_layout_is_refused(run):
    message = refused(run, "scan.tif", "--target", "U.target.json", "--scanner", "s.scanner.json",
                      "-o", "r.csv")
    assert "'U' (seed 5" in message and "line of text" in message


def test_nothing_says_what_the_codes_mean(run):
    message = refused(run, "scan.tif", "--target", "T.target.json", "-o", "r.csv")
    assert "--known" in message or "tonewright scanner" in message


@pytest.mark.parametrize(
    ("extra", "said"),
    [
        (["--known", "white"], "PATCH=DENSITY"),
        (["--known", "white=dark"], "PATCH=DENSITY"),
        (["--known", "Z9=1.0"], "'Z9'"),
        (["--known", "a1=0.5", "--known", "A1=0.6"], "twice"),
        (["--corners", "1,2,3"], "eight numbers"),
        (["--corners", "a,b"], "eight numbers"),
        (["--corners", "0,0,9,9,18,18,27,27"], "round"),
        (["--overlay", "o.jpg"], "PNG"),
        (["--overlay", "r.csv"], "PNG"),
        (["--order", "rows"], "--order"),
        (["--snake", "--relative-to-paper"], "a reading order and readings from the paper"),
        (["--scanner", "T.target.json"], "scanner response"),
        (["--scanner", "none.json"], "none.json"),
        (["--channel", "green"], "green"),
    ],
)
def test_options_that_cannot_be_are_refused(run, extra, said):
    assert said in refused(run, "scan.tif", *GIVEN, "-o", "r.csv", *extra)


def test_nothing_is_written_over(run):
    Path("o.png").write_bytes(b"mine")
    assert "--force" in refused(run, "scan.tif", *GIVEN, "-o", "r.csv", "--overlay", "o.png")
    # with --force the inputs are still safe
    for mine in ("scan.tif", "T.target.json", "s.scanner.json"):
        assert mine in refused(run, "scan.tif", *GIVEN, "-o", mine, "--force")
    shutil.copy("scan.tif", "scan.png")
    assert "scan.png" in refused(run, "scan.png", *GIVEN, "-o", "r.csv", "--overlay", "scan.png",
                                 "--force")
    assert "no folder" in refused(run, "scan.tif", *GIVEN, "-o", "away/r.csv")


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [("none.tif", None, "no file none.tif"), ("half.tif", "half", "half.tif"),
     ("empty.tif", b"", "empty"), ("a.pdf", b"%PDF-1.4 etc", "PDF")],
)
def test_files_that_are_no_scans(run, name, content, said):
    if content is not None:
        half = Path("scan.tif").read_bytes()[:40_000]
        Path(name).write_bytes(half if content == "half" else content)
    assert said in refused(run, name, "--target", "T.target.json", "-o", "r.csv")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes here")
@pytest.mark.parametrize("command", [
    ["read", "pipe", "--target", "T.target.json", "-o", "r.csv"],
    ["strip", "pipe", "--tablet", "31", "--time", "10min"],
    ["scanner", "pipe", "--densities", "d.csv", "-o", "new.scanner.json"],
])  # fmt: skip
def test_a_pipe_is_refused_and_not_waited_for(run, command):
    os.mkfifo("pipe")
    Path("d.csv").write_text("density\n0.1\n0.5\n1.0\n1.5\n2.0\n", encoding="utf-8")
    code = "from tonewright.cli import main; main()"
    done = subprocess.run([sys.executable, "-c", code, *command], capture_output=True, text=True,
                          timeout=60, check=False)
    assert done.returncode == 2
    assert "pipe is not an ordinary file" in done.stderr
    assert not {"r.csv", "new.scanner.json"} & {p.name for p in Path().iterdir()}


# An instrument's list


def listed(name, target, order, head="number,density"):
    density = ROOM.print_density(target.level) + 0.002
    lines = [f"{k},{density[i]:.3f}" for k, i in enumerate(order, start=1)]
    Path(name).write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")


def test_an_instruments_list_in_reading_order_is_mapped_onto_the_target(run):
    target = read_target("T.target.json")
    listed("list.csv", target, range(len(target.patches)))
    done = run("list.csv", "--target", "T.target.json", "-o", "r.csv", "--json", "--print", "one")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert set(found) >= PROMISED and found["rotation_degrees"] is None
    table = rows("r.csv")
    assert [r["patch"] for r in table] == [p.name for p in target.patches]
    assert {r["print"] for r in table} == {"one"}
    np.testing.assert_allclose([float(r["density"]) for r in table],
                               ROOM.print_density(target.level) + 0.002, atol=6e-4)
    assert invoke("fit", "r.csv", "-o", "r.curve.json").exit_code == 0


def test_an_upside_down_list_is_refused_with_the_option_that_reads_it(run):
    target = read_target("T.target.json")
    listed("list.csv", target, range(len(target.patches))[::-1])
    message = refused(run, "list.csv", "--target", "T.target.json", "-o", "r.csv")
    assert "--order rows --reverse" in message and "upside down" in message
    done = run("list.csv", "--target", "T.target.json", "-o", "r.csv", "--order", "rows",
               "--reverse")
    assert done.exit_code == 0, done.output
    np.testing.assert_allclose([float(r["density"]) for r in rows("r.csv")],
                               ROOM.print_density(target.level) + 0.002, atol=6e-4)


def test_a_list_of_another_length_says_how_the_two_differ(run):
    target = read_target("T.target.json")
    listed("list.csv", target, range(len(target.patches) - 2))
    message = refused(run, "list.csv", "--target", "T.target.json", "-o", "r.csv")
    assert f"{len(target.patches) - 2} measurements" in message and "2 too few" in message


def test_a_list_takes_no_options_of_scans(run):
    listed("list.csv", read_target("T.target.json"), range(5))
    message = refused(run, "list.csv", *GIVEN, "-o", "r.csv", "--overlay", "o.png")
    assert "a scanner response and an overlay" in message and "--scanner" in message


def test_lightness_that_was_measured_stays_lightness(run):
    target = read_target("T.target.json")
    light = ROOM.print_lightness(target.level)
    lines = [f"{p.name},{v:.2f}" for p, v in zip(target.patches, light, strict=True)]
    Path("lab.csv").write_text("\n".join(["SAMPLE_NAME,LAB_L", *lines]), encoding="utf-8")
    assert run("lab.csv", "--target", "T.target.json", "-o", "r.csv").exit_code == 0
    np.testing.assert_allclose([float(r["lightness"]) for r in rows("r.csv")], light, atol=0.006)
    fitted = invoke("fit", "r.csv", "-o", "r.curve.json")
    assert fitted.exit_code == 0, fitted.output
    assert read_curve("r.curve.json").readings.scale == "luminance"


def test_a_colour_that_was_measured_reaches_the_curve(run):
    """An instrument's Lab, by way of `read`, is what a proof takes the print's colour from."""
    target = read_target("T.target.json")
    light = ROOM.print_lightness(target.level)
    lab = np.stack([light, 0.05 * light, 20.0 - 0.2 * light], axis=-1)
    Path("lab.csv").write_text("\n".join(["lab_l,lab_a,lab_b", *(
        ",".join(f"{v:.3f}" for v in row) for row in lab)]) + "\n", encoding="utf-8")
    run("lab.csv", "--target", "T.target.json", "--order", "rows", "-o", "r.csv")
    assert invoke("fit", "r.csv", "-o", "r.curve.json").exit_code == 0
    tints = read_curve("r.curve.json").tints
    np.testing.assert_allclose([(t.lightness, t.a, t.b) for t in tints], lab, atol=0.006)


def test_a_print_through_a_curve_says_how_far_it_lies_from_its_aims(run):
    assert run("scan.tif", *GIVEN, "-o", "r.csv").exit_code == 0
    assert invoke("fit", "r.csv", "-o", "r.curve.json").exit_code == 0
    assert invoke("target", "-o", "V.tif", "--ppi", 254, "--paper-size", "4x5", "--levels", 11,
                  "--through", "r.curve.json").exit_code == 0
    target = read_target("V.target.json")
    listed("list.csv", target, range(len(target.patches)))
    done = run("list.csv", "--target", "V.target.json", "-o", "v.csv", "--json")
    assert done.exit_code == 0, done.output
    aimed = [(p.aim_lightness, float(ROOM.print_lightness(p.level))) for p in target.patches
             if p.aim_lightness is not None]
    expected = np.sqrt(np.mean([(a - b) ** 2 for a, b in aimed]))
    assert json.loads(done.stdout)["aim_rms_lightness"] == pytest.approx(expected, abs=0.15)
    assert rows("v.csv")[0].keys() >= {"aim_lightness"}
