"""A curve handed over: read back by readers that the program itself does not use.

OpenColorIO reads the Common LUT Format, Pillow's littleCMS the ICC profiles; CIE lightness and
encodings are those of colour-science; tables and CGATS text are taken apart here by hand.
"""

from __future__ import annotations

import io
import json
import shlex
from dataclasses import replace
from pathlib import Path

import colour
import imagecodecs
import numpy as np
import pytest
from PIL import Image, ImageCms

from tonewright import scales
from tonewright.curve.aim import Aim
from tonewright.curve.document import Settings
from tonewright.curve.make import make_curve
from tonewright.errors import FileError, OptionError
from tonewright.files.documents import read_aim, read_curve, write_document
from tonewright.files.export import make, proof
from tonewright.files.export.make import FORMS, ExportRequest, export_curve
from tonewright.files.raster.icc import encoding_profile
from tonewright.record.setup import Setup
from tonewright.virtual.darkroom import Darkroom, measure_target

EXAMPLE = Path(__file__).parents[3] / "curves" / "kallitype.curve.json"


@pytest.fixture(scope="module")
def curve():
    return read_curve(EXAMPLE)


@pytest.fixture(scope="module")
def plain():
    readings = measure_target(Darkroom(), np.linspace(0.0, 1.0, 21), 2, seed=1).readings
    return make_curve(readings, Settings(Aim("density")), Setup(date="2026-03-01"), "Bütten & <ß>")


def luminance(encoding, value):
    """By colour-science, from values of 0 to 1."""
    if encoding == "srgb":
        return colour.models.eotf_sRGB(value)
    if encoding == "lightness":
        return colour.colorimetry.luminance_CIE1976(100.0 * value) / 100.0
    return value ** (1.0 if encoding == "linear" else float(encoding.removeprefix("gamma:")))


def wanted(curve, encoding, size=65536):
    """The negative's codes, by way of colour-science."""
    light = colour.colorimetry.lightness_CIE1976(
        100.0 * luminance(encoding, np.linspace(0.0, 1.0, size)))
    return np.floor(65535.0 * (1.0 - curve.level_at(light)) + 0.5)


def hand_over(tmp_path, form, *, file=EXAMPLE, name=None, **more):
    output = tmp_path / (name or f"k{FORMS[form].suffixes[0]}")
    return export_curve(file, ExportRequest(form, **more), output, force=True), output


@pytest.mark.parametrize(("depth", "encoding", "separator", "decimal", "sign"), [
    (8, "srgb", None, "point", ","), (8, "srgb", "semicolon", "comma", ";"),
    (8, "srgb", "tab", "comma", "\t"), (8, "srgb", None, "comma", ";"),
    (16, "gamma:1.8", "tab", "comma", "\t"), (16, "lightness", None, "point", ",")])
def test_a_table_of_every_value(tmp_path, curve, depth, encoding, separator, decimal, sign):
    made, output = hand_over(tmp_path, "table", depth=depth, encoding=encoding,
                             dialect=make.Dialect(separator, decimal))
    head, *rows = output.read_text(encoding="utf-8").splitlines()
    names = head.split(sign)
    cells = np.array([[float(c.replace(",", ".")) for c in row.split(sign)] for row in rows])
    found = dict(zip(names, cells.T, strict=True))
    assert names[0] == f"picture_value ({encoding})" and names[-1] == "code_16"
    np.testing.assert_array_equal(found[names[0]], np.arange(1 << depth))
    codes = wanted(curve, encoding, 1 << depth)
    assert np.abs(found["code_16"] - codes).max() <= 1
    np.testing.assert_allclose(found["ink_percent"], 100 * (1 - codes / 65535), atol=0.003)
    if depth == 8:
        assert np.abs(found["code_8"] - codes / 257).max() <= 0.51
    assert made.proof.codes_off == 0.0 and made.proof.values == 1 << depth
    assert (decimal == "comma") == (("," in rows[1]) and sign != ",")


@pytest.mark.parametrize("encoding", ["gamma:2.2", "srgb", "linear", "lightness"])
def test_a_look_up_table_by_opencolorio(tmp_path, curve, encoding):
    ocio = pytest.importorskip("PyOpenColorIO")
    made, output = hand_over(tmp_path, "lut", encoding=encoding)
    read = ocio.FileTransform(src=str(output), interpolation=ocio.INTERP_LINEAR)
    go = ocio.Config.CreateRaw().getProcessor(read).getDefaultCPUProcessor()
    pixels = np.repeat(np.linspace(0, 1, 65536, dtype=np.float32)[:, None], 3, axis=1).copy()
    go.applyRGB(pixels)
    assert np.abs(65535.0 * pixels - wanted(curve, encoding)[:, None]).max() <= 1.01
    assert made.proof.codes_off == 0.0


def test_a_name_of_any_letters_stands_in_a_look_up_table(tmp_path, plain):
    from xml.etree import ElementTree

    write_document(tmp_path / "b.curve.json", plain)
    _, output = hand_over(tmp_path, "lut", file=tmp_path / "b.curve.json")
    root = ElementTree.parse(output).getroot()
    assert root.get("name") == "Bütten & <ß>" and root.get("compCLFversion") == "3"
    for form in ("icc-link", "icc-output"):
        _, output = hand_over(tmp_path, form, file=tmp_path / "b.curve.json")
        profile = ImageCms.ImageCmsProfile(io.BytesIO(output.read_bytes())).profile
        assert "Bütten & <ß>" in profile.profile_description or form == "icc-output"
        assert "tten & <" in profile.profile_description


def cms(first, then, flags, intent=0):
    ramp = np.arange(65536, dtype=np.uint16)[None]
    return imagecodecs.cms_transform(ramp, first, then, colorspace="gray", outcolorspace="gray",
                                     outdtype="uint16", intent=intent, flags=flags).reshape(-1)


def print_off(curve, found, codes):
    light = (np.interp(1 - c / 65535, curve.response.level, curve.response.lightness)
             for c in (found, codes))
    return float(np.abs(np.subtract(*light)).max())


@pytest.mark.parametrize("encoding", ["gamma:2.2", "srgb", "linear"])
@pytest.mark.parametrize("flags", [0x100, 0])
def test_a_device_link_by_littlecms_with_and_without_short_cuts(tmp_path, curve, encoding, flags):
    made, output = hand_over(tmp_path, "icc-link", encoding=encoding)
    from tonewright.files.raster.icc_write import device_link

    straight = device_link(np.arange(65536), "straight", "straight")
    data, codes = output.read_bytes(), wanted(curve, encoding).astype(int)
    found = cms(data, straight, flags)
    assert print_off(curve, found, codes) <= 0.05
    assert found[65535] == pytest.approx(codes[-1], abs=1)  # white stays
    if flags:
        assert np.abs(found - codes).max() <= 1 and made.proof.codes_off <= 1.0
    without_floats = cms(data.replace(b"D2B0", b"none", 1), straight, flags)
    assert print_off(curve, without_floats, codes) <= 0.05 and made.proof.table_off <= 0.05
    profile = ImageCms.ImageCmsProfile(io.BytesIO(output.read_bytes())).profile
    assert (profile.device_class.strip(), profile.xcolor_space.strip()) == ("link", "GRAY")
    assert profile.connection_space.strip() == "GRAY"


def test_a_device_link_by_pillow(tmp_path, curve):
    _, output = hand_over(tmp_path, "icc-link", encoding="srgb")
    from tonewright.files.raster.icc_write import device_link

    link, straight = (ImageCms.ImageCmsProfile(io.BytesIO(data)) for data in (
        output.read_bytes(), device_link(np.arange(65536), "straight", "straight")))
    ramp = Image.fromarray(np.arange(256, dtype=np.uint8)[None])
    made = np.asarray(ImageCms.applyTransform(ramp, ImageCms.buildTransform(
        link, straight, "L", "L")))[0]
    assert np.abs(made - wanted(curve, "srgb", 256) / 257).max() <= 0.51


@pytest.mark.parametrize("encoding", ["gamma:2.2", "srgb", "lightness"])
def test_a_picture_converted_to_the_output_profile(tmp_path, curve, encoding):
    """Perceptual: ink, which inverted is the negative."""
    made, output = hand_over(tmp_path, "icc-output")
    picture = encoding_profile(encoding)
    found = 65535 - cms(picture, output.read_bytes(), 0x100).astype(float)
    assert print_off(curve, found, wanted(curve, encoding)) <= 0.05
    quick = 65535 - cms(picture, output.read_bytes(), 0).astype(float)
    if encoding == "gamma:2.2":
        assert print_off(curve, quick, wanted(curve, encoding)) == pytest.approx(
            made.proof.shortcut_off, abs=0.02)
    assert made.proof.lightness_off <= 0.05 and made.proof.shown_off <= 0.25


def test_what_the_output_profile_says_of_the_print(tmp_path, curve):
    """Relative colorimetric, to Lab by Pillow's littleCMS: the print over its own white."""
    _, output = hand_over(tmp_path, "icc-output")
    profile = ImageCms.ImageCmsProfile(io.BytesIO(output.read_bytes()))
    lab = ImageCms.createProfile("LAB")
    ramp = Image.fromarray(np.arange(256, dtype=np.uint8)[None])
    go = ImageCms.buildTransform(profile, lab, "L", "LAB",
                                 ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags(0x100))
    found = np.asarray(ImageCms.applyTransform(ramp, go))[0].astype(float)
    printed = np.interp(np.arange(256) / 255, curve.response.level, curve.response.lightness)
    white = colour.colorimetry.luminance_CIE1976(curve.response.lightness[-1])
    relative = colour.colorimetry.lightness_CIE1976(
        100.0 * colour.colorimetry.luminance_CIE1976(printed) / white)
    assert np.abs(found[:, 0] / 2.55 - relative).max() <= 0.25  # 8 bits of Lab
    assert np.abs(found[:, 1:].astype(np.int8)).max() <= 1
    header = profile.profile
    assert (header.device_class.strip(), header.xcolor_space.strip()) == ("prtr", "GRAY")
    assert header.version == pytest.approx(2.4)
    y = header.media_white_point[0][1]
    assert 100.0 * y == pytest.approx(white, abs=0.01)


def test_there_and_back_through_the_output_profile(tmp_path, curve):
    """A picture converted to it and back is the picture, where the print has tones of its own."""
    _, output = hand_over(tmp_path, "icc-output")
    picture, data = encoding_profile("lightness"), output.read_bytes()
    ramp = np.arange(65536, dtype=np.uint16)[None]
    ink = imagecodecs.cms_transform(ramp, picture, data, colorspace="gray", outcolorspace="gray",
                                    outdtype="uint16", intent=0, flags=0x100)
    back = imagecodecs.cms_transform(ink, data, picture, colorspace="gray", outcolorspace="gray",
                                     outdtype="uint16", intent=0, flags=0x100)
    light = 100.0 * back.reshape(-1) / 65535.0
    middle = slice(2000, 63500)
    assert np.abs(light - np.linspace(0, 100, 65536))[middle].max() <= 0.1


@pytest.mark.parametrize("count", [10, 14, 20])
def test_points_are_the_curve_s_and_near_it_where_they_are_joined(tmp_path, curve, count):
    made, output = hand_over(tmp_path, "points", points=count, encoding="srgb")
    head, *rows = output.read_text(encoding="utf-8").splitlines()
    assert head == "picture (srgb),negative,picture_percent,negative_percent"
    table = np.array([[float(c) for c in row.split(",")] for row in rows])
    assert len(table) == count and np.all(np.diff(table[:, 0]) > 0)
    assert table[0, 0] == 0 and table[-1, 0] == 255
    codes = wanted(curve, "srgb", 256)
    assert np.abs(table[:, 1] - codes[table[:, 0].astype(int)] / 257).max() <= 0.51
    np.testing.assert_allclose(table[:, 2:], table[:, :2] / 2.55, atol=0.051)
    drawn = 257 * np.interp(np.arange(256), table[:, 0], table[:, 1])
    off = print_off(curve, drawn, codes)
    assert dict(made.proof.joined_off)["straight lines"] == pytest.approx(off, abs=0.01)
    assert off < {10: 0.7, 14: 0.6, 20: 0.4}[count]


def rows_of(text):
    """CGATS text taken apart by hand."""
    lines = text.splitlines()
    assert lines[0] == "CGATS.17"
    at = lines.index("BEGIN_DATA_FORMAT") + 1
    names = lines[at].split()
    first, last = lines.index("BEGIN_DATA") + 1, lines.index("END_DATA")
    assert f"NUMBER_OF_FIELDS {len(names)}" in lines
    assert f"NUMBER_OF_SETS {last - first}" in lines
    return [dict(zip(names, shlex.split(line), strict=True)) for line in lines[first:last]]


def test_readings_as_cgats(tmp_path, plain):
    write_document(tmp_path / "p.curve.json", plain)
    made, output = hand_over(tmp_path, "readings", file=tmp_path / "p.curve.json")
    rows = rows_of(output.read_text(encoding="utf-8"))
    own = plain.readings
    assert [r["SAMPLE_NAME"] for r in rows] == [p.patch for p in own.patches]
    np.testing.assert_allclose([float(r["LEVEL"]) for r in rows], own.level, atol=1e-6)
    density = [float(r["D_VIS"]) for r in rows] if "D_VIS" in rows[0] else \
        scales.lightness_to_density([float(r["LAB_L"]) for r in rows])
    np.testing.assert_allclose(density, own.density, atol=1e-5)
    assert made.proof.values == len(own.patches)


def test_readings_of_a_derived_curve_are_those_of_its_prints(tmp_path, curve):
    _, output = hand_over(tmp_path, "readings")
    rows = rows_of(output.read_text(encoding="utf-8"))
    (target,) = curve.recipe.prints
    assert len(rows) == len(target.readings.patches)
    assert {r["PROCESS"] for r in rows} == {"kallitype"}
    assert {r["PRINTED_FOR"] for r in rows} == {"34 min 30 s"}


def test_an_aim_as_cgats_is_an_aim_again(tmp_path, curve):
    _, output = hand_over(tmp_path, "aim")
    rows = rows_of(output.read_text(encoding="utf-8"))
    image = np.array([float(r["IMAGE_LIGHTNESS"]) for r in rows])
    aimed = np.array([float(r["PRINT_LIGHTNESS"]) for r in rows])
    np.testing.assert_allclose(aimed, curve.print_lightness_at(image), atol=1e-5)
    aim = read_aim(f"points:{output}")
    black, white = float(aimed[0]), float(aimed[-1])
    np.testing.assert_allclose(aim.print_lightness(image, black, white), aimed, atol=1e-6)


@pytest.mark.parametrize("form", [f for f in FORMS if f not in ("curve-csv", "response-csv")])
def test_the_same_curve_gives_the_same_bytes(tmp_path, form):
    _, output = hand_over(tmp_path, form)
    before = output.read_bytes()
    hand_over(tmp_path, form)
    assert output.read_bytes() == before


@pytest.mark.parametrize("form", [
    "table", "points", "lut", "icc-link curv", "icc-link samf", "readings", "aim", "curve-csv",
    "response-csv", *(f"icc-output {n}" for n in range(4))])
def test_a_file_that_reads_otherwise_is_never_put_in_place(tmp_path, monkeypatch, form):
    """A few numbers changed after it was made."""
    own = make._Maker.content

    def spoil(content, start):
        return content[: start + 4000] + bytes(40) + content[start + 4040:]

    def spoilt(self):
        content = own(self)
        if form.startswith("icc-link"):
            return spoil(content, content.rindex(form[-4:].encode()))
        if form.startswith("icc"):  # its tables, one after the other
            pieces = content.split(b"mft2")
            return spoil(content, sum(len(p) + 4 for p in pieces[: 1 + int(form[-1])]))
        lines = content.splitlines()
        at = {"readings": -9, "aim": -9, "points": 5, "table": 900, "lut": 900,
              "curve-csv": 50, "response-csv": 50}[form]
        cells = lines[at].replace(",", " ").split(" ")
        place = {"readings": 3, "aim": 2, "points": 1, "table": -1, "lut": 3,
                 "curve-csv": 2, "response-csv": 1}[form]
        cells[place] = str(float(cells[place]) * 0.97) if form in ("readings", "aim") else "12"
        sign = " " if form in ("readings", "aim", "lut") else ","
        lines[at] = sign.join(cells)
        return "\n".join([*lines, ""])

    monkeypatch.setattr(make._Maker, "content", spoilt)
    with pytest.raises(FileError, match="was not written"):
        hand_over(tmp_path, form.split()[0])
    assert list(tmp_path.iterdir()) == []


def test_a_curve_for_coloured_ink_gives_no_gray_negatives(tmp_path, plain):
    coloured = replace(plain, setup=replace(plain.setup, ink_colour="255,120,0"))
    write_document(tmp_path / "c.curve.json", coloured)
    for form, kind in FORMS.items():
        if kind.of_codes:
            with pytest.raises(OptionError, match="255,120,0"):
                hand_over(tmp_path, form, file=tmp_path / "c.curve.json")
        else:
            hand_over(tmp_path, form, file=tmp_path / "c.curve.json")


def test_the_proof_is_of_the_file_and_not_of_the_numbers(tmp_path, curve):
    """A file that holds another curve fails, whatever wrote it."""
    _, output = hand_over(tmp_path, "lut", encoding="linear")
    codes = wanted(curve, "srgb").astype(np.uint16)
    with pytest.raises(FileError, match="an XML reader reads other tones"):
        proof.prove_clf(output, curve, codes)
    assert json.loads(EXAMPLE.read_text(encoding="utf-8"))["format"] == "tonewright-curve"


def test_names_with_control_characters_are_written_out(tmp_path, plain):
    """Where they may stand at all: XML has no room for most of them."""
    odd = replace(plain, name="a\x1b[31m\n]]> \u202e\"<b>")
    write_document(tmp_path / "o.curve.json", odd)
    for form in ("lut", "icc-link", "icc-output", "readings", "aim"):
        _, output = hand_over(tmp_path, form, file=tmp_path / "o.curve.json")
        data = output.read_bytes()
        assert b"\x1b" not in data or form.startswith("icc")
        if form.startswith("icc"):
            profile = ImageCms.ImageCmsProfile(io.BytesIO(data)).profile
            assert "\x1b" not in profile.profile_description
            assert r"\x1b[31m\n" in profile.profile_description
