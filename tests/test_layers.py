"""The structure holds: data flows one way, one place opens files, functions stay short.

Everything is read from the source with ast; nothing is imported.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src" / "tonewright"

# A module or package may import only what stands before it.  Some are still to be written; a new
# one is given its place here.
ORDER = (
    "__init__", "errors", "scales", "numeric", "record", "measured", "strip", "curve", "target",
    "virtual", "inks", "negative", "scan", "check", "files", "show", "rehearsal", "cli", "__main__",
)  # fmt: skip
# Core modules never import these, wherever they stand.
OUTER = {"files", "show", "cli"}
# A library that belongs to one package alone.
HOMES = {"click": "cli", "matplotlib": "show", "tifffile": "files", "PIL": "files"}
OPENERS = {
    "open", "read_text", "read_bytes", "write_text", "write_bytes", "fdopen", "memmap",
    "fromfile", "tofile", "loadtxt", "savetxt", "genfromtxt", "imread", "imwrite", "imsave",
}  # fmt: skip
NUMPY_OPENERS = {"load", "save", "savez", "savez_compressed"}
LONGEST = 60


def modules() -> dict[str, ast.Module]:
    """Dotted name below tonewright (a package by its own name) to its parsed source."""
    found = {}
    for path in sorted(SOURCE.rglob("*.py")):
        parts = list(path.relative_to(SOURCE).with_suffix("").parts)
        if len(parts) > 1 and parts[-1] == "__init__":
            parts.pop()
        found[".".join(parts)] = ast.parse(path.read_text(encoding="utf-8"), str(path))
    return found


def part_of(module: str) -> str:
    """The top-level module or package that a dotted name belongs to."""
    return module.split(".")[0]


def own_imports(
    module: str, tree: ast.Module, *, is_package: bool = False
) -> Iterator[tuple[int, str]]:
    """(line, top-level part) of everything a module takes from tonewright, however spelt."""
    here = ["tonewright", *module.split(".")]
    for node in ast.walk(tree):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            start = node.module or ""
            if node.level:
                up = node.level - 1 if is_package else node.level
                start = ".".join([*here[: len(here) - up], *filter(None, [node.module])])
            names = [f"{start}.{alias.name}" for alias in node.names]
        for name in names:
            parts = name.split(".")
            if parts[0] == "tonewright":
                yield node.lineno, parts[1] if len(parts) > 1 else "__init__"


def outside_imports(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """(line, library) of everything imported from elsewhere."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name.split(".")[0]) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.lineno, node.module.split(".")[0]


def layer_faults(module: str, tree: ast.Module, *, is_package: bool = False) -> list[str]:
    """Imports that flow against the order."""
    part, faults = part_of(module), []
    if part not in ORDER:  # test_every_module_has_its_place tells of it
        return []
    for line, taken in own_imports(module, tree, is_package=is_package):
        if taken == part or taken not in ORDER:  # a name of the package itself: __version__
            continue
        if taken != "__init__" and ORDER.index(taken) >= ORDER.index(part):
            faults.append(f"{module} line {line}: {part} may not import {taken}, which comes later")
        elif taken in OUTER and part not in {*OUTER, "rehearsal", "__main__"}:
            faults.append(f"{module} line {line}: a core module may not import {taken}")
    return faults


def home_faults(module: str, tree: ast.Module) -> list[str]:
    """Libraries used outside the one package that may know them."""
    return [
        f"{module} line {line}: only {HOMES[library]}/ may import {library}"
        for line, library in outside_imports(tree)
        if library in HOMES and part_of(module) != HOMES[library]
    ]


def names_from_files(tree: ast.Module) -> set[str]:
    """Names that a module took from our own files/: calling those is the right way."""
    return {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if f"{node.module}.{alias.name}".startswith("tonewright.files")
    }


def opening_faults(module: str, tree: ast.Module) -> list[str]:
    """Calls that open, read or write a file."""
    faults, ours = [], names_from_files(tree)
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id in OPENERS - ours:
            faults.append((node.lineno, called.id))
        elif isinstance(called, ast.Attribute):
            owner = called.value.id if isinstance(called.value, ast.Name) else "…"
            numpy_own = owner in {"np", "numpy"} and called.attr in NUMPY_OPENERS
            if owner not in ours and (called.attr in OPENERS or numpy_own):
                faults.append((node.lineno, f"{owner}.{called.attr}"))
    return [f"{module} line {line}: {name}() — only files/ opens files" for line, name in faults]


def long_functions(module: str, tree: ast.Module) -> list[str]:
    """Functions past the longest allowed, docstring included, decorators not."""
    faults = []
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if lines > LONGEST:
                faults.append(
                    f"{module} line {node.lineno}: {node.name} has {lines} lines, "
                    f"{LONGEST} are allowed"
                )
    return faults


MODULES = modules()


def is_package(module: str) -> bool:
    return (SOURCE.joinpath(*module.split(".")) / "__init__.py").is_file()


def report(faults: list[str]) -> None:
    if faults:
        pytest.fail("\n".join(faults), pytrace=False)


def test_every_module_has_its_place():
    unknown = sorted({part_of(module) for module in MODULES} - set(ORDER))
    assert not unknown, f"{unknown}: write into ORDER (tests/test_layers.py) where they stand"
    assert {"errors", "scales", "measured.readings"} <= set(MODULES)


def test_data_flows_one_way():
    report(
        [f for m, tree in MODULES.items() for f in layer_faults(m, tree, is_package=is_package(m))]
    )


def test_the_package_itself_imports_nothing():
    assert not list(outside_imports(MODULES["__init__"]))


def test_numeric_knows_nothing_above_scales():
    """Arrays in, arrays out: of ours it may take errors and scales only."""
    taken = {
        (module, name)
        for module, tree in MODULES.items()
        if part_of(module) == "numeric"
        for _, name in own_imports(module, tree, is_package=is_package(module))
    }
    assert {name for _, name in taken} <= {"numeric", "errors", "scales"}, taken


def test_each_library_stays_in_its_home():
    report([f for m, tree in MODULES.items() for f in home_faults(m, tree)])


def test_only_files_opens_files():
    report(
        [f for m, tree in MODULES.items() if part_of(m) != "files" for f in opening_faults(m, tree)]
    )


def test_no_function_is_too_long():
    report([f for m, tree in MODULES.items() for f in long_functions(m, tree)])


# That each check can fail at all: planted faults, each found, and the look-alikes let through.


@pytest.mark.parametrize(
    ("module", "code", "faults"),
    [
        ("curve", "from tonewright.target import x", 1),
        ("curve", "from tonewright import target, errors", 1),
        ("curve", "import tonewright.files.raster.open", 1),
        ("curve", "def f():\n    from tonewright import show", 1),
        ("curve", "from .negative import x", 1),
        ("curve", "from . import check", 1),
        ("numeric.inverse", "from ..measured import x", 1),
        ("numeric.inverse", "from .monotone import x\nfrom tonewright.errors import y", 0),
        ("curve", "from tonewright import __version__, scales", 0),
        ("virtual", "from tonewright.files import x", 1),
        ("show.plots", "from tonewright.files import x", 0),
        ("rehearsal", "from tonewright import files, show, virtual", 0),
        ("files.images", "from tonewright import cli", 1),
    ],
)
def test_layer_check_finds_what_is_planted(module, code, faults):
    assert len(layer_faults(module, ast.parse(code))) == faults


def test_layer_check_understands_a_package_importing_from_itself():
    tree = ast.parse("from .monotone import x\nfrom ..errors import y\nfrom ..strip import z")
    assert len(layer_faults("numeric", tree, is_package=True)) == 1


@pytest.mark.parametrize(
    "code",
    [
        "open('x')", "path.open()", "Path('x').read_text(encoding='utf-8')", "p.read_bytes()",
        "p.write_text('')", "p.write_bytes(b'')", "np.load('x')", "np.save('x', a)",
        "numpy.loadtxt('x')", "Image.open('x')", "tifffile.imread('x')", "os.fdopen(3)",
    ],
)  # fmt: skip
def test_opening_check_finds_what_is_planted(code):
    assert len(opening_faults("curve", ast.parse(code))) == 1


def test_opening_check_lets_lookalikes_through():
    assert not opening_faults("curve", ast.parse("json.loads(t)\nreadings.load()\nreopen(x)"))
    ours = "from tonewright.files import safe\nfrom tonewright.files.safe import write_text\n"
    assert not opening_faults("cli", ast.parse(ours + "safe.write_text(p, t)\nwrite_text(p, t)"))
    assert opening_faults("cli", ast.parse(ours + "path.write_text(t)"))


def test_home_check_finds_what_is_planted():
    code = "import click\nfrom matplotlib import pyplot\nimport PIL.Image\nfrom tifffile import x"
    assert len(home_faults("fit", ast.parse(code))) == 4
    assert not home_faults("cli.fit", ast.parse("import click"))


def test_length_check_counts_to_the_line():
    def body(lines: int) -> ast.Module:
        return ast.parse("@wrap\ndef f():\n" + "    x = 1\n" * (lines - 1))

    assert not long_functions("fit", body(60))
    assert len(long_functions("fit", body(61))) == 1
