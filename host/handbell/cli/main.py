"""The ``handbell`` command: parses, calls, renders. Commands are imported only when used."""

from __future__ import annotations

import argparse
import importlib
import keyword
import os
import shlex
import sys
import textwrap
import time
from collections.abc import Sequence
from types import ModuleType
from typing import TYPE_CHECKING, NoReturn

from handbell.base.errors import (
    EXIT_FAILED,
    EXIT_OK,
    EXIT_USAGE,
    HandbellError,
    StoppedError,
    UsageError,
)
from handbell.cli.table import COMMANDS, GROUPS

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

ABOUT = "Plan a circuit class, load it onto timer boxes, run it, read the taps."


class Parser(argparse.ArgumentParser):
    """A parser whose errors go the way of all others."""

    def error(self, message: str) -> NoReturn:
        """Raise UsageError."""
        raise UsageError(f"{self.prog}: {message}", f"{self.prog} --help shows how it goes")

    def print_help(self, file: SupportsWrite[str] | None = None) -> None:
        """Print the help; a disk that is full is told."""
        from handbell.cli import output

        assert file is None
        output.write(self.format_help())


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return its exit code: 0 done, 1 failed, 2 used wrongly, 130 stopped."""
    words = list(sys.argv[1:] if argv is None else argv)
    began = time.monotonic()
    code, fault = _guarded(words)
    command = next((word for word in words if word in COMMANDS), None)
    if command is not None and not set(words) & {"-h", "--help"}:
        from handbell.base import log

        log.note(command, code, round(1000 * (time.monotonic() - began)), fault)
    return code


def _guarded(words: list[str]) -> tuple[int, str]:
    """Run one command; return its exit code and what to log of an error."""
    from handbell.base.progress import listening
    from handbell.cli import output

    as_json = "--json" in words
    try:
        output.open_streams()
        with listening() as heard:
            try:
                return _run(words), ""
            finally:
                output.aside(heard)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_FAILED, ""
    except (Exception, KeyboardInterrupt) as error:
        told, note = _told(error, "--debug" in words)
        return output.fail(told, as_json), note


def _told(error: BaseException, debug: bool) -> tuple[HandbellError, str]:
    """Return what to say of an error, and what to log of it."""
    if isinstance(error, HandbellError):
        return error, type(error).__name__
    if _was_stopped(error):
        return StoppedError(), ""
    if isinstance(error, OSError) and error.filename is not None and not debug:
        what = f"{error.filename} can't be reached ({error.strerror})"
        return HandbellError(what, "Check the name, and who may look into the folder"), "OSError"
    from handbell.cli import unexpected

    assert isinstance(error, Exception)
    return unexpected.told(error, debug)


def _was_stopped(error: BaseException) -> bool:
    """Whether Ctrl-C is at the bottom of it: Python wraps it where a class is being made."""
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, KeyboardInterrupt):
            return True
        seen = seen.__cause__ or seen.__context__
    return False


def _run(words: list[str]) -> int:
    from handbell.cli import output

    name = next((word for word in words if not word.startswith("-")), None)
    if name is None:
        return _about(words)
    if name not in COMMANDS:
        behind = next((word for word in words if word in COMMANDS), None)
        if behind is not None and words[0].startswith("-"):
            rest = shlex.join(word for word in words if word != behind)
            raise UsageError(f"{words[0]} stands before the command", f"handbell {behind} {rest}")
        import difflib

        near = difflib.get_close_matches(name, COMMANDS, 1)
        remedy = f"The nearest is handbell {near[0]}" if near else "handbell --help lists them"
        raise UsageError(f"{name} is no command", remedy)
    module = command_module(name)
    parser = command_parser(name, module)
    args, left = parser.parse_known_args([w for n, w in enumerate(words) if n != words.index(name)])
    if left and not _taken(args, left):
        parser.error(f"unrecognized arguments: {' '.join(left)}")
    return output.say(module.run(args), module.text, args.json)


def _taken(args: argparse.Namespace, left: list[str]) -> bool:
    """Put words where the command wants them that stand behind an option: argparse takes none."""
    more = getattr(args, "more_go_to", None)
    if more is None or any(word.startswith("-") for word in left):
        return False
    here = getattr(args, more)
    if isinstance(here, list):
        setattr(args, more, [*here, *left])
    elif here or len(left) > 1:
        return False
    else:
        setattr(args, more, getattr(args, "more_as", str)(left[0]))
    return True


def command_module(name: str) -> ModuleType:
    """Return a command's module: ``arguments(parser)``, ``run(args)``, ``text(result, out)``."""
    word = f"{name}_" if keyword.iskeyword(name) else name  # class and import
    return importlib.import_module(f"handbell.cli.commands.{GROUPS[COMMANDS[name][0]]}.{word}")


def command_parser(name: str, module: ModuleType) -> Parser:
    """Return the parser of one command."""
    summary = COMMANDS[name][1]
    parser = Parser(
        prog=f"handbell {name}",
        description=summary[0].upper() + summary[1:] + ".",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    module.arguments(parser)
    parser.add_argument("--json", action="store_true", help="print as JSON")
    parser.add_argument("--debug", action="store_true", help="say where an unexpected fault arose")
    return parser


def _about(words: Sequence[str]) -> int:
    from handbell.cli import output

    if "--version" in words:
        from handbell import VERSION

        output.write(f"handbell {VERSION}\n")
        return EXIT_OK
    wrong = [word for word in words if word not in ("-h", "--help", "--debug")]
    if wrong:
        raise UsageError(f"{wrong[0]} needs a command", "handbell --help lists them")
    output.write(about())
    return EXIT_OK if set(words) & {"-h", "--help"} else EXIT_USAGE


def about() -> str:
    """Return the help that lists all commands."""
    lines = ["usage: handbell COMMAND ...", "", ABOUT]
    for group in GROUPS:
        lines += ["", group]
        for name, (of, summary) in COMMANDS.items():
            if of == group:
                lines += textwrap.wrap(
                    summary, 78, initial_indent=f"  {name:<11} ", subsequent_indent=" " * 14
                )
    lines += ["", "Each command has its own help with examples: handbell check --help", ""]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
