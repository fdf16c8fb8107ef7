"""Proofs as files, read back by others' libraries, against the print in the virtual darkroom."""

from __future__ import annotations

import hashlib
import io

import colour
import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image, ImageCms

from tonewright import scales
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import FitRequest, fit_curve
from tonewright.errors import FileError, ImageError, OptionError
from tonewright.files.documents import read_curve, write_document
from tonewright.files.negative.make import NegativeSettings, make_negative
from tonewright.files.proof import ProofSettings, make_proofs
from tonewright.files.raster.source import OpenOptions
from tonewright.files.tables import read_readings
from tonewright.negative.proof import BLACK_MARK, WHITE_MARK
from tonewright.virtual.darkroom import Darkroom, Flaws, measure_target, print_image

EXACT = Flaws(noise_density_sd=0.001)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with a curve from nearly exact readings, and a picture of 16 bits."""
    made = tmp_path_factory.mktemp("proof")
    read = measure_target(Darkroom(), np.linspace(0.0, 1.0, 31), 2, flaws=EXACT, seed=3).readings
    curve = fit_curve(FitRequest("invented", read))
    write_document(made / "c.curve.json", curve)
    low = Settings(Aim("points", "low", ((0.0, 0.0), (30.0, 5.0), (70.0, 99.0), (100.0, 100.0))))
    write_document(made / "hard.curve.json", fit_curve(FitRequest("hard", read, low)))
    x, y = np.meshgrid(np.linspace(0.0, 1.0, 300), np.linspace(0.0, 1.0, 200))
    tones = np.clip(0.5 + 0.5 * np.sin(6 * x + 4 * y) * np.cos(5 * y), 0.0, 1.0)
    tifffile.imwrite(made / "p.tif", (tones * 65535).astype(np.uint16), photometric="minisblack",
                     metadata=None, resolution=(300, 300), resolutionunit=2)
    return made


def proof(folder, out, *curves, picture="p.tif", **settings):
    """The proof's report and its pixels, as Pillow reads them."""
    settings = {"encoding": "lightness", "force": True, **settings}
    batch = make_proofs([folder / picture], [folder / c for c in curves or ("c.curve.json",)],
                        out, ProofSettings(**settings))
    with Image.open(out) as image:
        assert image.mode == "RGB"
        return batch.reports[0], np.asarray(image)


def lightness(pixels):
    """CIE L* of sRGB pixels by colour-science; gray has the luminance of its one value."""
    linear = colour.cctf_decoding(pixels / 255.0, function="sRGB")
    weights = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ[1]
    return colour.colorimetry.lightness_CIE1976(100.0 * (linear @ weights))


def test_a_proof_is_the_print_of_the_virtual_darkroom(folder, tmp_path):
    """The goal is 0.3 L* RMS, of which 8 bits alone take 0.12."""
    _, pixels = proof(folder, tmp_path / "p.png")
    make_negative(folder / "p.tif", read_curve(folder / "c.curve.json"), tmp_path / "n.tif",
                  NegativeSettings(encoding="lightness"))
    quiet = Flaws(noise_density_sd=0.0)
    printed = print_image(tifffile.imread(tmp_path / "n.tif"), Darkroom(), flaws=quiet)
    assert printed.max() - printed.min() > 60.0
    off = lightness(pixels) - printed
    assert np.sqrt(np.mean(off**2)) <= 0.3
    assert abs(float(np.mean(off))) <= 0.1


def test_other_readers_see_the_same(folder, tmp_path):
    report, pixels = proof(folder, tmp_path / "p.png")
    assert (report.width, report.height) == (300, 200) == pixels.shape[1::-1]
    seen = pyvips.Image.new_from_file(str(tmp_path / "p.png"))
    assert np.array_equal(seen.numpy(), pixels)
    with Image.open(tmp_path / "p.png") as image:
        assert image.info["dpi"] == pytest.approx((300, 300), abs=0.01)
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        assert "sRGB" in ImageCms.getProfileDescription(profile)
        assert image.info["Description"].startswith("Proof of p.tif by tonewright ")


def test_the_embedded_profile_means_srgb(folder, tmp_path):
    """littleCMS through the profile in the file finds the lightness that colour-science does."""
    _, pixels = proof(folder, tmp_path / "p.png")
    with Image.open(tmp_path / "p.png") as image:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        lab = ImageCms.profileToProfile(
            image, profile, ImageCms.createProfile("LAB"), outputMode="LAB", renderingIntent=1)
        seen = np.asarray(lab)[..., 0] / 255.0 * 100.0
    assert np.abs(seen - lightness(pixels)).max() < 0.3


def test_the_same_input_gives_the_same_bytes(folder, tmp_path):
    sums = set()
    for name in ("a.png", "b.png"):
        proof(folder, tmp_path / name)
        sums.add(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
    assert len(sums) == 1


def test_a_picture_lies_as_it_is_looked_at_and_is_not_mirrored(folder, tmp_path):
    _, upright = proof(folder, tmp_path / "a.png")
    values = tifffile.imread(folder / "p.tif")
    tifffile.imwrite(tmp_path / "t.tif", np.rot90(values), photometric="minisblack", metadata=None,
                     extratags=[(274, "H", 1, 6, True)])
    _, turned = proof(folder, tmp_path / "b.png", picture=tmp_path / "t.tif")
    assert np.array_equal(turned, upright)


def test_colour_pictures_and_transparency(folder, tmp_path):
    gray = np.linspace(0, 65535, 40 * 30).astype(np.uint16).reshape(30, 40)
    full = np.full_like(gray, 65535)
    tifffile.imwrite(tmp_path / "g.tif", gray, photometric="minisblack", metadata=None)
    tifffile.imwrite(tmp_path / "rgba.tif", np.stack([gray, gray, gray, full], -1),
                     photometric="rgb", extrasamples=[2], metadata=None)
    _, plain = proof(folder, tmp_path / "a.png", picture=tmp_path / "g.tif", encoding="srgb")
    _, laid = proof(folder, tmp_path / "b.png", picture=tmp_path / "rgba.tif", encoding="srgb",
                    image=OpenOptions(flatten=True))
    assert np.abs(plain.astype(int) - laid).max() <= 1
    with pytest.raises(ImageError, match="transparency"):
        proof(folder, tmp_path / "c.png", picture=tmp_path / "rgba.tif")


def test_several_curves_stand_side_by_side(folder, tmp_path):
    _, first = proof(folder, tmp_path / "a.png", "c.curve.json")
    _, second = proof(folder, tmp_path / "b.png", "hard.curve.json")
    report, both = proof(folder, tmp_path / "c.png", "c.curve.json", "hard.curve.json")
    assert np.array_equal(both[:, :300], first)
    assert np.array_equal(both[:, -300:], second)
    assert (both[:, 300:-300] == 255).all() and both.shape[1] == report.width == 606
    assert [p.curve for p in report.proofs] == ["invented", "hard"]


def test_tones_that_fall_together_are_told_and_marked(folder, tmp_path):
    report, plain = proof(folder, tmp_path / "a.png", "hard.curve.json")
    found = report.proofs[0]
    assert found.below_image_lightness > 20.0 and found.above_image_lightness < 80.0
    _, marked = proof(folder, tmp_path / "b.png", "hard.curve.json", mark=True)
    image = tifffile.imread(folder / "p.tif") / 655.35
    dark, light = (marked == BLACK_MARK).all(-1), (marked == WHITE_MARK).all(-1)
    assert dark[image < found.below_image_lightness - 0.2].all()
    assert light[image > found.above_image_lightness + 0.2].all()
    between = ~(dark | light)
    assert between.any() and np.array_equal(marked[between], plain[between])
    even, _ = proof(folder, tmp_path / "c.png", mark=True)
    assert even.proofs[0].below_image_lightness is even.proofs[0].above_image_lightness is None


def blue_print(folder, **columns):
    """Readings of a blue print with Lab (or other) columns, as a curve; and their Lab."""
    level = np.linspace(0.0, 1.0, 21)
    light = 25.0 + 68.0 / (1.0 + np.exp(-8.0 * (level - 0.45)))
    share = (light - light.min()) / np.ptp(light)
    lab = np.stack([light, 4.0 - 5.0 * share, -34.0 + 37.0 * share], axis=-1)
    names, values = columns.get("names", "LAB_L,LAB_A,LAB_B"), columns.get("convert", lambda v: v)
    rows = [",".join(f"{v:.5f}" for v in (u, *row))
            for u, row in zip(level, values(lab), strict=True)]
    (folder / "blue.csv").write_text("\n".join([f"level,{names}", *rows]) + "\n", encoding="utf-8")
    write_document(folder / "blue.curve.json",
                fit_curve(FitRequest("blue", read_readings([folder / "blue.csv"]))), force=True)
    return lab


def to_srgb(lab):
    """8-bit sRGB of Lab under D50 by colour-science, Bradford between the whites."""
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    return 255.0 * colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, white), white)


@pytest.mark.parametrize("how", [
    {},
    {"names": "XYZ_X,XYZ_Y,XYZ_Z", "convert": lambda lab: 100.0 * colour.Lab_to_XYZ(
        lab, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"])},
], ids=["lab", "xyz"])  # fmt: skip
def test_paper_and_tones_have_the_colour_that_was_measured(folder, tmp_path, how):
    lab = blue_print(tmp_path, **how)
    kept = read_curve(tmp_path / "blue.curve.json")
    assert len(kept.tints) == 21
    ramp = np.linspace(0, 65535, 256).astype(np.uint16)[None]
    tifffile.imwrite(tmp_path / "r.tif", ramp, photometric="minisblack", metadata=None)
    report, pixels = proof(folder, tmp_path / "b.png", tmp_path / "blue.curve.json",
                           picture=tmp_path / "r.tif")
    assert report.proofs[0].tints == 21 and report.proofs[0].chroma_lost < 1.0
    light = kept.print_lightness_at(np.linspace(0.0, 100.0, 256))
    wanted = to_srgb(np.stack([light, *(np.interp(light, lab[:, 0], lab[:, i]) for i in (1, 2))],
                              axis=-1))
    assert wanted[0, 2] - wanted[0, 0] > 40.0  # it is blue
    assert np.abs(pixels[0] - wanted).max() <= 2.5


def test_spectra_tell_the_colour_too(tmp_path):
    """Integrated by colour-science in another way than ASTM E308, at 1 nm."""
    waves, level = np.arange(360, 781, 10), np.linspace(0.0, 1.0, 11)
    blue = 0.05 + 0.3 * np.exp(-(((waves - 450) / 60.0) ** 2))
    spectra = blue + level[:, None] * (0.85 - blue)
    rows = [",".join(f"{v:.6f}" for v in (u, *row)) for u, row in zip(level, spectra, strict=True)]
    names = ",".join(f"SPECTRAL_{w}" for w in waves)
    (tmp_path / "s.csv").write_text("\n".join([f"level,{names}", *rows]) + "\n", encoding="utf-8")
    read = read_readings([tmp_path / "s.csv"])
    with colour.utilities.suppress_warnings(colour_usage_warnings=True, python_warnings=True):
        xyz = np.array([colour.sd_to_XYZ(
            colour.SpectralDistribution(row, waves).interpolate(colour.SpectralShape(360, 780, 1)),
            illuminant=colour.SDS_ILLUMINANTS["D50"], method="Integration") for row in spectra])
    white = colour.XYZ_to_xy(np.array([0.9642, 1.0, 0.8249]))
    wanted = colour.XYZ_to_Lab(xyz / 100.0, white)
    found = np.array([(t.lightness, t.a, t.b) for t in read.tints])
    assert np.abs(found - wanted).max() < 0.2
    assert found[0, 2] < -20.0
    assert found[:, 0] == pytest.approx(read.lightness, abs=0.01)


def test_a_curve_without_colours_is_kept_as_it_was(folder):
    """Documents from before there were colours, and without them, have no such entry."""
    assert '"tints"' not in (folder / "c.curve.json").read_text(encoding="utf-8")


def test_colours_against_colour_science():
    rng = np.random.default_rng(5)
    lab = np.stack([rng.uniform(0, 100, 500), *rng.uniform(-60, 60, (2, 500))], axis=-1)
    white = np.array([0.9642, 1.0, 0.8249])
    xyz = colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(white))
    assert scales.lab_to_xyz(lab) == pytest.approx(100.0 * xyz, abs=1e-3)
    good = (scales.lab_to_xyz(lab) > 0).all(axis=-1)
    assert scales.xyz_to_lab(scales.lab_to_xyz(lab))[good] == pytest.approx(lab[good], abs=1e-9)
    linear = scales.lab_to_linear_srgb(lab)
    theirs = colour.XYZ_to_RGB(
        xyz, "sRGB", colour.XYZ_to_xy(white), "Bradford", apply_cctf_encoding=False)
    # the matrix of IEC 61966-2-1, which colour-science takes, is printed with four digits
    inside = ((theirs >= 0.0) & (theirs <= 1.0)).all(axis=-1)
    assert inside.sum() > 150
    assert np.abs(linear - theirs)[inside].max() <= 2e-4
    gray = scales.lab_to_linear_srgb([[50.0, 0.0, 0.0], [100.0, 0.0, 0.0]])
    assert np.ptp(gray, axis=1) == pytest.approx(0.0, abs=1e-9)
    assert gray[1] == pytest.approx(1.0, abs=1e-9)
    part = np.linspace(-0.1, 1.1, 1001)
    assert np.abs(scales.encode_srgb(part) - 255.0 * colour.cctf_encoding(
        part.clip(0, 1), function="sRGB")).max() <= 0.5001


def test_a_colour_outside_srgb_keeps_its_lightness(folder, tmp_path):
    """A cyan no screen shows: paler, as light, and said."""
    level = np.linspace(0.0, 1.0, 11)
    rows = [f"{u:.2f},{30 + 60 * u:.2f},-70,-40" for u in level]
    (tmp_path / "c.csv").write_text("\n".join(["level,LAB_L,LAB_A,LAB_B", *rows]) + "\n",
                                    encoding="utf-8")
    write_document(tmp_path / "c.curve.json",
                fit_curve(FitRequest("cyan", read_readings([tmp_path / "c.csv"]))))
    report, pixels = proof(folder, tmp_path / "c.png", tmp_path / "c.curve.json")
    assert report.proofs[0].chroma_lost > 20.0
    light = lightness(pixels)
    image = tifffile.imread(folder / "p.tif") / 655.35
    assert np.abs(light - (30.0 + 0.6 * image)).max() < 1.5


def test_what_is_no_picture_is_refused(folder, tmp_path):
    make_negative(folder / "p.tif", read_curve(folder / "c.curve.json"), tmp_path / "n.tif")
    proof(folder, tmp_path / "p.png")
    for name, said in (("n.tif", "already a negative"), ("p.png", "already a proof")):
        with pytest.raises(OptionError, match=said):
            proof(folder, tmp_path / "x.png", picture=tmp_path / name)
        proof(folder, tmp_path / "y.png", picture=tmp_path / name, anyway=True)
    with pytest.raises(OptionError, match="already a proof"):  # nor a negative of a proof
        make_negative(tmp_path / "p.png", read_curve(folder / "c.curve.json"), tmp_path / "m.tif")
    assert not (tmp_path / "x.png").exists() and not (tmp_path / "m.tif").exists()


def test_nothing_is_written_over_or_left_half(folder, tmp_path):
    (tmp_path / "there.png").write_bytes(b"mine")
    with pytest.raises(FileError, match="there already"):
        proof(folder, tmp_path / "there.png", force=False)
    assert (tmp_path / "there.png").read_bytes() == b"mine"
    cut = (folder / "p.tif").read_bytes()[:60_000]
    (tmp_path / "cut.tif").write_bytes(cut)
    with pytest.raises(ImageError):
        proof(folder, tmp_path / "cut.png", picture=tmp_path / "cut.tif")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cut.tif", "there.png"]


def test_several_pictures_go_into_a_folder_and_one_bad_one_stops_none(folder, tmp_path):
    (tmp_path / "bad.tif").write_bytes(b"II*\0 no picture")
    batch = make_proofs([folder / "p.tif", tmp_path / "bad.tif"], [folder / "c.curve.json"],
                        tmp_path / "out")
    assert [r.output.name for r in batch.reports] == ["p-proof.png"]
    assert [f.source.name for f in batch.failures] == ["bad.tif"]
    batch = make_proofs([tmp_path / "bad.tif", tmp_path / "no.tif"], [folder / "c.curve.json"],
                        tmp_path / "none")
    assert len(batch.failures) == 2 and not (tmp_path / "none").exists()
    with pytest.raises(OptionError, match="Up to 6"):
        make_proofs([folder / "p.tif"], [folder / "c.curve.json"] * 7, tmp_path / "x.png")
