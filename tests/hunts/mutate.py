"""Good files of every format, and seeded ways of harming them."""

from __future__ import annotations

import io
import json
import math
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from click.testing import CliRunner
from PIL import Image, ImageCms

from tonewright.cli import main

TEXT = ("csv", "cgats", "json", "toml")
ODD = ("0", "-1", "1e-320", "1e-50", "1e308", "1e999", "nan", "inf", "-0.0", "142", "0,5", "5%",
       "99999999999999999999", "1e-9", "", "true", "null", '"\\ud800"', "\x1b[2J", "\u202e", '""',
       "[]", "{}", "'", '"', "=", "BEGIN_DATA", "END_DATA", "\x00", "\r", "#", ";", "640.000001")
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:e-?\d+)?")


def good_files(folder: Path) -> dict[str, list[Path]]:
    """One or more good files of each format, made in the folder they are used in."""
    image = np.linspace(0, 65535, 48 * 60).astype(np.uint16).reshape(48, 60)
    colour = np.stack([image, image[::-1], image[:, ::-1]], axis=-1)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for name, data, how in (
            ("gray.tif", image, {}), ("lzw.tif", image, {"compression": "lzw"}),
            ("deflate.tif", colour, {"compression": "deflate", "predictor": True,
                                     "photometric": "rgb", "iccprofile": profile}),
            ("tiles.tif", image, {"tile": (16, 16), "compression": "packbits"})):
        tifffile.imwrite(folder / name, data, **how)
    eight = Image.fromarray((colour >> 8).astype(np.uint8))
    eight.save(folder / "rgb.png", icc_profile=profile)
    Image.fromarray(image).save(folder / "gray.png")
    eight.save(folder / "rgb.jpg", icc_profile=profile, quality=90)
    eight.convert("L").save(folder / "gray.jpg", progressive=True)
    density = [1.45 / (1.0 + math.exp((u - 0.42) / 0.11)) + 0.08 for u in np.linspace(0, 1, 11)]
    _text(folder / "readings.csv", "patch,level,density,density_sd\n", "".join(
        f"A{i},{i / 10:g},{d:.3f},0.01\n" for i, d in enumerate(density)))
    _text(folder / "lab.csv", "# a note\nink_percent;L*;a*;b*\n", "".join(
        f"{10 * i};{20 + 7 * i},5;0,1;-1\n" for i in range(11)))
    _text(folder / "strip.csv", "step,film,bare\n", "".join(
        f"{i},{1.5 / (1 + math.exp((i - 8.0) / 1.6)) + 0.07:.3f},"
        f"{1.5 / (1 + math.exp((i - 8.6) / 1.6)) + 0.07:.3f}\n" for i in range(1, 22)))
    _text(folder / "spectra.txt", "CGATS.17\nNUMBER_OF_FIELDS 33\nBEGIN_DATA_FORMAT\nSAMPLE_ID"
          " ink_percent " + " ".join(f"nm{w}" for w in range(400, 701, 10)) + "\nEND_DATA_FORMAT\n"
          "NUMBER_OF_SETS 6\nBEGIN_DATA\n", "".join(
              f"{i} {20 * i} " + " ".join([f"{0.05 + 0.15 * i:.3f}"] * 31) + "\n"
              for i in range(6)), "END_DATA\n")
    _text(folder / "lab.txt", "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID ink_percent LAB_L D_VIS\n"
          "END_DATA_FORMAT\nNUMBER_OF_SETS 11\nBEGIN_DATA\n", "".join(
              f'"A {i}" {10 * i} {20 + 7 * i} {d:.2f}\n' for i, d in enumerate(density)),
          "END_DATA\n")
    _text(folder / "setup.toml", 'paper = "cotton"\nprinting_time = "12min"\nnotes = """a\nb"""\n'
          "date = 2001-02-03\nink_colour = '0,0,0'\n")
    _text(folder / "sheet.toml", 'margin = "4mm"\nborder = "clear"\nmarks = true\ncaption = true\n'
          "tone_scale = false\nppi = 360\n")
    for line in ("fit readings.csv -o good.curve.json",
                 "strip strip.csv --tablet 21 --time 10min -o good.process.json",
                 "target -o good.tif --ppi 72 --levels 5"):
        run(line.split(), folder)
    (folder / "good.tif").unlink()
    kinds = {"tiff": "*.tif", "png": "*.png", "jpeg": "*.jpg", "csv": "*.csv", "cgats": "*.txt",
             "json": "*.json", "toml": "*.toml"}
    return {kind: sorted(folder.glob(pattern)) for kind, pattern in kinds.items()}


def run(arguments: list[str], folder: Path) -> None:
    """A command that must do, on the files of a folder."""
    named = [str(folder / a) if (folder / a).exists() or a.startswith("good.") else a
             for a in arguments]
    done = CliRunner().invoke(main, named)
    assert done.exit_code == 0, done.output


def _text(path: Path, *parts: str) -> None:
    path.write_text("".join(parts), encoding="utf-8", newline="\n")


def mutated(data: bytes, kind: str, rng: random.Random) -> bytes:
    """A file harmed in one to four ways."""
    ways = [_flip, _flip, _flip, _cut, _lose, _double, _splice, _overwrite, _overwrite]
    if kind in TEXT:
        ways += [_number, _number, _line, _insert]
    if kind == "json":
        ways += [_entry, _entry, _entry]
    for _ in range(rng.choice((1, 1, 1, 1, 1, 2, 4))):
        data = rng.choice(ways)(data, rng) if data else data
    return data


Way = Callable[[bytes, random.Random], bytes]


def _flip(data: bytes, rng: random.Random) -> bytes:
    harmed = bytearray(data)
    for _ in range(rng.choice((1, 1, 3, 20))):
        harmed[_place(data, rng)] ^= 1 << rng.randrange(8)
    return bytes(harmed)


def _cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data))]


def _lose(data: bytes, rng: random.Random) -> bytes:
    at = _place(data, rng)
    return data[:at] + data[at + rng.choice((1, 2, 4, 50)):]


def _double(data: bytes, rng: random.Random) -> bytes:
    at, long = _place(data, rng), rng.choice((1, 4, 40, 400))
    return data[:at] + data[at : at + long] * rng.choice((2, 3, 200)) + data[at + long :]


def _splice(data: bytes, rng: random.Random) -> bytes:
    one, other, long = _place(data, rng), _place(data, rng), rng.choice((1, 2, 4, 8, 64))
    return data[:one] + data[other : other + long] + data[one + long :]


def _overwrite(data: bytes, rng: random.Random) -> bytes:
    at, long = _place(data, rng), rng.choice((1, 2, 4, 8))
    with_ = rng.choice((b"\0", b"\xff", b"\x7f", b"\x80")) * long
    return data[:at] + with_ + data[at + long :]


def _place(data: bytes, rng: random.Random) -> int:
    """Anywhere, and often near the head, where formats keep what they are."""
    return rng.randrange(min(len(data), rng.choice((64, 400, 1 << 30))))


def _number(data: bytes, rng: random.Random) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return _insert(data, rng)
    match = rng.choice(found)
    return data[: match.start()] + rng.choice(ODD).encode() + data[match.end() :]


def _insert(data: bytes, rng: random.Random) -> bytes:
    at = _place(data, rng)
    return data[:at] + rng.choice(ODD).encode() + data[at:]


def _line(data: bytes, rng: random.Random) -> bytes:
    lines = data.split(b"\n")
    one, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    if rng.random() < 0.4:
        lines[one], lines[other] = lines[other], lines[one]
    elif rng.random() < 0.5:
        lines[one:one] = [lines[other]] * rng.choice((1, 2, 50, 2000))
    else:
        del lines[one : one + rng.choice((1, 2, 5))]
    return b"\n".join(lines)


def _entry(data: bytes, rng: random.Random) -> bytes:
    """Another value somewhere in a document that stays a document."""
    try:
        document = json.loads(data)
    except ValueError:
        return _flip(data, rng)
    holder: Any = document
    while True:
        keys = list(holder) if isinstance(holder, dict) else list(range(len(holder)))
        if not keys:
            return data
        key = rng.choice(keys)
        value = holder[key]
        if not isinstance(value, dict | list) or not value or rng.random() < 0.1:
            break
        holder = value
    holder[key] = _other(value, rng)
    if isinstance(holder, dict) and rng.random() < 0.1:
        del holder[key]
    stream = io.StringIO()
    json.dump(document, stream)
    return stream.getvalue().encode("utf-8", "surrogatepass")


def _other(value: Any, rng: random.Random) -> Any:
    if isinstance(value, int | float) and not isinstance(value, bool) and rng.random() < 0.7:
        return rng.choice((0, -value, value * 1e6, value * 1e-6, value * 1e-50, value + 1e-9, 1e300,
                           -1, 2**63, 10**400, float("nan"), float("inf"), 1e-320, 0.5))
    return rng.choice((None, True, 0, 1e300, "", "\ud800", "a\x1b[2J\nb", "x" * 3000, [], {},
                       [value] * 3, {"a": value}, [0] * 5000, "255,120,0", "100h"))
