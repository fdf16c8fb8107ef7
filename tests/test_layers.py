"""The structure holds: data flows one way, from room to room and from file to file.

Everything is read from the source; nothing is imported.  An import counts wherever it stands: at
the top, inside a function, or for the type checker alone.  Each check is shown to fail on
planted faults and to let their look-alikes through.
"""

from __future__ import annotations

import ast
import re
import symtable
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[1] / "src" / "tonewright"

# From the top down: a module takes only from rooms below its own, and from its own room.
ORDER = (
    "__main__", "cli", "bench", "rehearsal", "show", "files", "scan", "negative", "inks", "virtual",
    "shelf", "check", "target", "curve", "strip", "measured", "record", "numeric", "scales",
    "errors", "frozen", "__init__",
)  # fmt: skip
# A library that belongs to one room alone.
HOMES = {
    "click": "cli", "nicegui": "bench", "fastapi": "bench", "starlette": "bench",
    "uvicorn": "bench", "matplotlib": "show", "jinja2": "show", "markupsafe": "show",
    "colour": "scales", "threadpoolctl": "numeric",
    "tifffile": "files", "PIL": "files", "imagecodecs": "files",
    "tempfile": "files", "shutil": "files", "tomllib": "files",
}  # fmt: skip
OPENERS = {
    "open", "read_text", "read_bytes", "write_text", "write_bytes", "fdopen", "memmap",
    "fromfile", "tofile", "loadtxt", "savetxt", "genfromtxt", "imread", "imwrite", "imsave",
}  # fmt: skip
NUMPY_OPENERS = {"load", "save", "savez", "savez_compressed"}
OPTION = re.compile(r"(?<![\w-])--[a-z]")
COMMAND = re.compile(r"\btonewright (?:{})\b".format("|".join(
    re.findall(r'^@click\.command\("(\w+)"', "\n".join(
        path.read_text(encoding="utf-8") for path in (SOURCE / "cli").glob("*.py")), re.M))))
SEARCHES = {"startswith", "endswith", "find", "index", "count", "search", "match", "removeprefix"}
# Sentences of other libraries, which give nothing else to tell by.
FOREIGN = {"unexpected end of data", r"at line (\d+)"}  # csv and tomllib
LONGEST = 60

# What is still to be put right.  A module that is put right fails until it is off its list.
IN_CIRCLES: set[str] = set()
WITH_OPTIONS: set[str] = set()
SEARCHING: set[str] = set()


@dataclass(eq=False)
class Module:
    """A file of the source: its dotted name below tonewright, a package by its own name."""

    name: str
    source: str
    is_package: bool = False

    @property
    def room(self) -> str:
        return self.name.split(".")[0]

    @cached_property
    def nodes(self) -> list[ast.AST]:
        return list(ast.walk(ast.parse(self.source, self.name)))

    @cached_property
    def names(self) -> set[str]:
        """What the module binds at its top level."""
        table = symtable.symtable(self.source, self.name, "exec")
        return {s.get_name() for s in table.get_symbols() if s.is_assigned() or s.is_imported()}


House = Mapping[str, Module]


def house(files: Mapping[str, str]) -> House:
    """The modules of a tree of files: path below the package, its text."""
    found = []
    for path, text in files.items():
        parts = path.removesuffix(".py").split("/")
        inner = parts[-1] == "__init__" and len(parts) > 1
        found.append(Module(".".join(parts[:-1] if inner else parts), text, inner))
    return {module.name: module for module in found}


REAL = house({
    path.relative_to(SOURCE).as_posix(): path.read_text(encoding="utf-8")
    for path in sorted(SOURCE.rglob("*.py"))
})


# The checks: a module in, its faults out, each as (line, what).

Faults = Iterator[tuple[int, str]]


def own_imports(module: Module) -> Faults:
    """Everything taken from tonewright, however spelt, by its dotted name below it."""
    here = ["tonewright", *module.name.split("."), *(["__init__"] if module.is_package else [])]
    for node in module.nodes:
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            start = [*here[: -node.level], node.module] if node.level else [node.module]
            names = [".".join([*filter(None, start), alias.name]) for alias in node.names]
        for name in names:
            top, _, below = name.partition(".")
            if top == "tonewright":
                yield node.lineno, below or "__init__"


def taken(module: Module, all_of: House) -> Iterator[tuple[int, str, str]]:
    """(line, the module that is imported, the name that is taken from it or "")."""
    for line, name in own_imports(module):
        parts = name.split(".")
        known = next((".".join(parts[:n]) for n in range(len(parts), 0, -1)
                      if ".".join(parts[:n]) in all_of), "__init__")
        yield line, known, name.removeprefix(known).removeprefix(".")


def order_faults(module: Module, all_of: House) -> Faults:
    """Imports that flow upwards."""
    for line, name, _ in taken(module, all_of):
        room = name.split(".")[0]
        if room != module.room and ORDER.index(room) <= ORDER.index(module.room):
            yield line, f"{module.room} may not import {room}, which stands above it"


def unknown_imports(module: Module, all_of: House) -> Faults:
    """Imports of what is not there, and imports by a name made at run time."""
    for line, name, part in taken(module, all_of):
        if part and (name not in all_of or part not in all_of[name].names):
            yield line, f"there is no {part} in {name}"
    for node in module.nodes:
        if (isinstance(node, ast.Name | ast.Attribute) and module.room != "cli"
                and getattr(node, "id", getattr(node, "attr", "")) in {"import_module",
                                                                       "__import__"}):
            yield node.lineno, "an import that nobody can follow"


def circles(all_of: House) -> set[str]:
    """The modules that import themselves by way of others."""
    arrows = {module.name: {name for _, name, _ in taken(module, all_of)} - {module.name}
              for module in all_of.values()}

    def reached(start: str) -> set[str]:
        seen: set[str] = set()
        ahead = [start]
        while ahead:
            new = arrows[ahead.pop()] - seen
            seen |= new
            ahead += new
        return seen

    return {name for name in arrows if name in reached(name)}


def libraries(module: Module) -> Faults:
    for node in module.nodes:
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name.split(".")[0]) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.lineno, node.module.split(".")[0]


def home_faults(module: Module) -> Faults:
    """Libraries used outside the one room that may know them."""
    for line, library in libraries(module):
        if module.room != HOMES.get(library, module.room):
            yield line, f"only {HOMES[library]} may import {library}"


def opening_faults(module: Module) -> Faults:
    """Calls that open, read or write a file; what is called is not of ours, which is looked at
    where it stands."""
    if module.room == "files":
        return
    ours = {alias.asname or alias.name for node in module.nodes
            if isinstance(node, ast.ImportFrom) for alias in node.names
            if (node.module or "").startswith("tonewright")}
    for node in module.nodes:
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id in OPENERS - ours:
            yield node.lineno, f"{called.id}(): only files/ opens files"
        elif isinstance(called, ast.Attribute):
            owner = called.value.id if isinstance(called.value, ast.Name) else "…"
            of_numpy = owner in {"np", "numpy"} and called.attr in NUMPY_OPENERS
            if owner not in ours and (called.attr in OPENERS or of_numpy):
                yield node.lineno, f"{owner}.{called.attr}(): only files/ opens files"


def option_faults(module: Module) -> Faults:
    """Options in strings, docstrings among them, and commands in strings that someone is shown: how
    a thing is typed is for cli and show."""
    if module.room in {"cli", "show"}:
        return
    docstrings = {ast.get_docstring(node, clean=False) for node in module.nodes
                  if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)}
    for node in module.nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            found = OPTION.search(node.value) or (
                node.value not in docstrings and COMMAND.search(node.value))
            if found:
                yield node.lineno, f"typed in a string: {node.value[found.start():][:24]!r}"


def search_faults(module: Module) -> Faults:
    """Sentences looked for in others or compared: what a message says is told by its code."""
    def is_sentence(node: ast.AST) -> bool:
        return (isinstance(node, ast.Constant) and isinstance(node.value, str)
                and len(node.value.split()) > 2 and node.value not in FOREIGN)

    for node in module.nodes:
        looked_for: list[ast.expr] = []
        if isinstance(node, ast.Compare):
            looked_for = [node.left, *node.comparators]
        elif (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
              and node.func.attr in SEARCHES):
            looked_for = node.args
        for part in filter(is_sentence, looked_for):
            yield part.lineno, "a sentence is searched or compared"


def long_functions(module: Module) -> Faults:
    """Functions past the longest allowed, docstring included, decorators not."""
    for node in module.nodes:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if lines > LONGEST:
                yield node.lineno, f"{node.name} has {lines} lines, {LONGEST} are allowed"


# The house as it stands.


def agree(check: Callable[[Module], Faults], known: Collection[str] = ()) -> None:
    """The modules at fault are the known ones, no more and no fewer."""
    faults = {module.name: list(check(module)) for module in REAL.values()}
    wrong = [f"{name} line {line}: {what}" for name, found in faults.items()
             if name not in known for line, what in found]
    wrong += [f"{name} is put right: take it off the list" for name in sorted(known)
              if not faults.get(name)]
    if wrong:
        pytest.fail("\n".join(wrong), pytrace=False)


def test_every_module_has_a_room_and_every_room_a_module():
    assert {module.room for module in REAL.values()} == set(ORDER)


def test_data_flows_one_way():
    agree(lambda module: order_faults(module, REAL))


def test_every_import_is_there():
    agree(lambda module: unknown_imports(module, REAL))


def test_no_file_imports_itself_by_way_of_others():
    assert circles(REAL) == IN_CIRCLES


def test_the_package_itself_imports_nothing():
    assert not list(libraries(REAL["__init__"]))


def test_each_library_stays_in_its_home():
    agree(home_faults)


def test_only_files_opens_files():
    agree(opening_faults)


def test_no_option_is_named_below_the_command_line():
    agree(option_faults, WITH_OPTIONS)


def test_no_sentence_is_searched():
    agree(search_faults, SEARCHING)


def test_no_function_is_too_long():
    agree(long_functions)


# That each check can fail at all: planted faults, each found, and the look-alikes let through.


HOUSE = {
    "__init__.py": "__version__ = '1'", "errors.py": "", "scales.py": "", "strip/__init__.py": "",
    "numeric/__init__.py": "", "numeric/monotone.py": "def rising(): local = 1",
    "curve/__init__.py": "from tonewright.scales import x", "curve/fit.py": "fitted = 1",
    "target/__init__.py": "", "files/__init__.py": "", "files/open.py": "", "show/__init__.py": "",
    "cli/__init__.py": "",
}  # fmt: skip


def planted(path: str, code: str) -> tuple[Module, House]:
    """A module among those of a small house."""
    whole = house({**HOUSE, path: code})
    name = path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
    return whole[name], whole


def at_fault(check: Callable[[Module], Faults], code: str, path: str = "curve/made.py") -> int:
    return len(list(check(planted(path, code)[0])))


@pytest.mark.parametrize(
    ("path", "code", "faults"),
    [
        ("curve/made.py", "from tonewright.target import x", 1),
        ("curve/made.py", "from tonewright import target, errors", 1),
        ("curve/made.py", "import tonewright.files.open", 1),
        ("curve/made.py", "def f():\n    from tonewright import show", 1),
        ("curve/made.py", "if TYPE_CHECKING:\n    from tonewright.show import x", 1),
        ("curve/made.py", "from ..target import x", 1),
        ("curve/made.py", "from .. import files", 1),
        ("curve/__init__.py", "from ..target import x\nfrom . import fit", 1),
        ("curve/made.py", "from .fit import fitted\nfrom . import fit", 0),
        ("curve/made.py", "from tonewright import __version__, scales, strip", 0),
        ("numeric/inverse.py", "from ..strip import x", 1),
        ("numeric/inverse.py", "from .monotone import rising\nfrom tonewright.errors import y", 0),
        ("show/plots.py", "from tonewright.files import open", 0),
        ("files/made.py", "from tonewright import cli", 1),
        ("scales.py", "from tonewright import errors", 0),
        ("errors.py", "from tonewright import scales", 1),
    ],
)
def test_the_order_finds_what_is_planted(path, code, faults):
    assert len(list(order_faults(*planted(path, code)))) == faults


@pytest.mark.parametrize(
    ("code", "faults"),
    [
        ("from tonewright.nothing import x", 1),
        ("from tonewright import nothing", 1),
        ("import tonewright.curve.nothing", 1),
        ("from tonewright.curve import nothing", 1),
        ("from tonewright.curve.fit import nothing", 1),
        ("from tonewright.numeric.monotone import local", 1),
        ("from .nothing import x", 1),
        ("import importlib\nimportlib.import_module('tonewright.cli')", 1),
        ("__import__('tonewright.cli')", 1),
        ("import tonewright.curve.fit\nimport tonewright", 0),
        ("from tonewright.curve import fit, x\nfrom .fit import fitted as f", 0),
        ("from tonewright.numeric.monotone import rising", 0),
        ("from tonewright import __version__, curve\nimport tone", 0),
    ],
)
def test_an_import_of_nothing_is_found(code, faults):
    assert len(list(unknown_imports(*planted("curve/made.py", code)))) == faults


@pytest.mark.parametrize(
    ("files", "ring"),
    [
        ({"curve/a.py": "from .b import x", "curve/b.py": "from .a import y"}, {"a", "b"}),
        ({"curve/a.py": "from . import b", "curve/b.py": "def f():\n    from .c import z",
          "curve/c.py": "if TYPE_CHECKING:\n    import tonewright.curve.a",
          "curve/d.py": "from .a import x"}, {"a", "b", "c"}),
        ({"curve/a.py": "from .b import x", "curve/b.py": "from .a import y",
          "curve/c.py": "from .d import x", "curve/d.py": "from .c import y"},
         {"a", "b", "c", "d"}),
        ({"curve/a.py": "from .b import x\nfrom .c import y", "curve/b.py": "from .c import y",
          "curve/c.py": "from .fit import fitted", "files/a.py": "from tonewright.curve.a import b",
          }, set()),
        ({"curve/a.py": "from tonewright.curve import a"}, set()),
    ],
)  # fmt: skip
def test_a_circle_of_files_is_found(files, ring):
    assert circles(house({**HOUSE, **files})) == {f"curve.{name}" for name in ring}


def test_a_package_that_takes_from_its_files_is_no_circle_until_they_take_from_it():
    files = {"curve/__init__.py": "from .a import x", "curve/a.py": "x = 1"}
    assert not circles(house({**HOUSE, **files}))
    files["curve/a.py"] = "from tonewright.curve import y"
    assert circles(house({**HOUSE, **files})) == {"curve", "curve.a"}


@pytest.mark.parametrize(
    "code",
    [
        "open('x')", "path.open()", "Path('x').read_text(encoding='utf-8')", "p.read_bytes()",
        "p.write_text('')", "p.write_bytes(b'')", "np.load('x')", "np.save('x', a)",
        "numpy.loadtxt('x')", "Image.open('x')", "tifffile.imread('x')", "os.fdopen(3)",
    ],
)  # fmt: skip
def test_an_opened_file_is_found(code):
    assert at_fault(opening_faults, code) == 1
    assert at_fault(opening_faults, code, "files/made.py") == 0


def test_what_only_looks_like_opening_is_let_through():
    assert not at_fault(opening_faults, "json.loads(t)\nreadings.load()\nreopen(x)")
    ours = "from tonewright.files import safe\nfrom tonewright.show.scan_text import read_text\n"
    called = "safe.write_text(p, t)\nread_text(report)"
    assert at_fault(opening_faults, ours + called, "cli/made.py") == 0
    assert at_fault(opening_faults, ours + "path.write_text(t)", "cli/made.py") == 1


def test_a_library_away_from_home_is_found():
    code = "import click\nfrom matplotlib import pyplot\nimport PIL.Image\nfrom tifffile import x"
    assert at_fault(home_faults, code) == 4
    assert at_fault(home_faults, "def f():\n    import colour") == 1
    assert at_fault(home_faults, "import click, numpy\nfrom .click import x", "cli/fit.py") == 0


@pytest.mark.parametrize(
    ("code", "faults"),
    [
        ('raise E("use --force")', 1),
        ('"""Of a thing (``--name``)."""', 1),
        ('f"{given}: --level-field NAME says which"', 1),
        ('"--x" "--y"', 1),  # one string
        ('["--x", "--y"]', 2),
        ('"well--known, a -- b, --- and --1"', 0),
        ("x = 1  # --force", 0),
        ('b"--x"', 0),
        ('raise E("name one, from tonewright strip")', 1),
        ('"a file that tonewright wrote"', 0),
        ('def f():\n    """All that `tonewright strip` does."""', 0),
    ],
)
def test_an_option_in_a_string_is_found(code, faults):
    assert at_fault(option_faults, code) == faults
    assert at_fault(option_faults, code, "cli/made.py") == 0
    assert at_fault(option_faults, code, "show/made.py") == 0


@pytest.mark.parametrize(
    ("code", "faults"),
    [
        ('"set the size" in warning', 1),
        ('not any("set the size" not in w for w in warnings)', 1),
        ('w.startswith("set the size")', 1),
        ('re.search("set the size", w)', 1),
        ('w == "set the size"', 1),
        ('"unexpected end of data" in str(error)', 0),
        ('"density" in columns or "gray scale" in columns', 0),
        ('lines.append("set the size")', 0),
        ('w = "set the size" if known in names else "set it"', 0),
    ],
)
def test_a_searched_sentence_is_found(code, faults):
    assert at_fault(search_faults, code) == faults


def test_length_is_counted_to_the_line():
    def body(lines: int) -> str:
        return "@wrap\ndef f():\n" + "    x = 1\n" * (lines - 1)

    assert at_fault(long_functions, body(60)) == 0
    assert at_fault(long_functions, body(61)) == 1
    assert at_fault(long_functions, "async " + body(61).removeprefix("@wrap\n")) == 1


def test_a_list_of_what_is_to_be_put_right_must_be_met_exactly():
    def check(module: Module) -> Faults:
        yield from [(1, "wrong")] if module.name in {"errors", "scales"} else []

    agree(check, {"errors", "scales"})
    for known in ({"errors"}, {"errors", "scales", "numeric"}, {"errors", "scales", "nothing"}):
        with pytest.raises(pytest.fail.Exception):
            agree(check, known)
