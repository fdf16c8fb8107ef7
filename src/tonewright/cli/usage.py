"""What was typed wrongly, said as every other error is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import click
from click.exceptions import BadOptionUsage, MissingParameter, NoSuchOption

from tonewright.errors import OptionError, listed

_VALUE = re.compile(r"(?P<quote>['\"])(?P<quoted>.*)(?P=quote) is not|(?P<plain>\S+) is not",
                    re.DOTALL)
_EXTRA = re.compile(r"unexpected extra arguments? \((.*)\)", re.DOTALL)


def usage_fault(
    error: click.UsageError, command: click.Command | None, called: str
) -> OptionError:
    """A wrong call, in the words of the program instead of those of the library that parses it.

    ``called`` is the command as it is typed.
    """
    help_ = f"see {called} --help"
    if isinstance(error, MissingParameter) and error.param is not None:
        return _missing(error, called)
    if isinstance(error, click.BadParameter) and error.param is not None:
        return _wrong_value(error.param, error.message, help_)
    if isinstance(error, NoSuchOption):
        return _no_such_option(error, command, help_)
    if isinstance(error, BadOptionUsage):
        return _misused(error.option_name, command, help_)
    if extra := _EXTRA.search(error.message):
        return OptionError(f"one argument too many: {_one_line(extra[1])}",
                           "a name with spaces stands in quotes, an option before its value", help_)
    return OptionError(_one_line(error.message), "", help_)


def _no_such_option(
    error: NoSuchOption, command: click.Command | None, help_: str
) -> OptionError:
    """An option that there is not: the commands that have it, or the nearest."""
    from difflib import get_close_matches

    name = error.option_name
    root = None if error.ctx is None else error.ctx.find_root()
    having = []
    if root is not None and isinstance(root.command, click.Group):
        commands = ((n, root.command.get_command(root, n)) for n in
                    root.command.list_commands(root))
        having = [n for n, other in commands if other and name in _shown_options(other)]
    near = get_close_matches(name, _shown_options(command) if command else [], 1, 0.75)
    rule = f"it is an option of tonewright {' and '.join(having)}" if 0 < len(having) < 3 else \
        f"the nearest is {near[0]}" if near else ""
    return OptionError(f"there is no option {name}", rule, help_)


def _shown_options(command: click.Command) -> list[str]:
    return [name for option in command.params
            if isinstance(option, click.Option) and not option.hidden for name in option.opts]


def no_such_command(name: str, commands: Sequence[str]) -> OptionError:
    """A command that there is not."""
    from difflib import get_close_matches

    near = get_close_matches(name, commands)
    meant = f"write {near[0]} if that is meant, or " if near else ""
    return OptionError(f"there is no command {name}", f"the commands are {', '.join(commands)}",
                       f"{meant}see tonewright --help")


def _name(param: click.Parameter) -> str:
    if isinstance(param, click.Option):
        return " or ".join(param.opts)
    return param.human_readable_name.rstrip(".")


def _missing(error: MissingParameter, called: str) -> OptionError:
    param, help_ = error.param, f"see {called} --help"
    if isinstance(param, click.Option):
        what = "; ".join(filter(None, [(param.help or "").rstrip("."), _kind(param.type)]))
        said = f": {what[0].lower()}{what[1:]}" if what else ""
        return OptionError(f"{_name(param)} is missing{said}", "", f"add it; {help_}")
    pieces = error.cmd.collect_usage_pieces(error.ctx) if error.ctx and error.cmd else []
    shape = " ".join([called, *(p for p in pieces if p != "[OPTIONS]")])
    name = "" if param is None else _name(param)
    are = "are" if param is not None and param.nargs != 1 and name.endswith("S") else "is"
    return OptionError(f"no {name} {are} named", f"write {shape}, with options", help_)


def _wrong_value(param: click.Parameter, message: str, help_: str) -> OptionError:
    value = _VALUE.match(message)
    said = "not understood" if value is None else repr(value["quoted"] or value["plain"] or "")
    rule = _kind(param.type) or _one_line(message)
    return OptionError(f"{_name(param)} is {said}", rule, help_)


def _kind(kind: Any) -> str:
    """What a value has to be."""
    if isinstance(kind, click.Choice):
        return f"it is {listed(kind.choices, 'or')}"
    if isinstance(kind, click.IntRange):
        high = "on" if kind.max is None else f"to {kind.max}"
        return f"it is a whole number from {kind.min or 0} {high}"
    if kind is click.INT:
        return "it is a whole number"
    number = isinstance(kind, click.types.FloatParamType)
    return "it is a number, with a decimal point if need be" if number else ""


def _misused(name: str, command: click.Command | None, help_: str) -> OptionError:
    """A value that is missing, or one too many."""
    params = [] if command is None else command.params
    option = next((p for p in params if isinstance(p, click.Option)
                   and name in (*p.opts, *p.secondary_opts)), None)
    if name in ("-h", "--help") or (option is not None and option.is_flag):
        return OptionError(f"{name} is given a value", "it is given alone",
                           f"leave the value out; {help_}")
    what = (option.help if option else None) or "it has one"
    kind = option.metavar if option and option.metavar else "VALUE"
    return OptionError(f"{name} has no value", what, f"write {name} {kind}; {help_}")


def _one_line(text: str) -> str:
    return " ".join(text.split())
