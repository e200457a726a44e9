"""The ``handbell`` command: parses, calls, renders. Commands are imported only when used."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence

from handbell.base.errors import EXIT_FAILED, EXIT_USAGE, HandbellError

# command -> (module, one line of help). A module has ``arguments(parser)`` and ``run(args)``
# named after the command: ``check_arguments``, ``check_run``.
COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("new", "write a plan to start from, in the forms you name"),
    "check": ("plans", "find every fault in a plan and add up its times"),
    "exercises": ("coaching", "search the library of exercises"),
    "swap": ("coaching", "put other exercises in a plan, and say why each fits"),
    "fit": ("fitting", "make a class last exactly its slot, and say what was moved"),
    "share": ("sharing", "order lanes and groups so that kit and stations suffice"),
    "show": ("showing", "print a plan's timetable, for people or box by box"),
    "cards": ("paper", "write station cards and a one-page timetable to print"),
    "rehearse": ("paper", "write the bells of a class as a sound file"),
    "boxes": ("boxes", "list the boxes that are plugged in, their health and readiness"),
    "identify": ("boxes", "let a box show and ring its station"),
    "stations": ("boxes", "say which box hangs at which station"),
    "prepare": ("prepare", "put the firmware on a box, new or old"),
    "bench": ("bench", "measure a real box on a table and write the sheet"),
    "send": ("classes", "put a plan's timelines on the boxes and set their clocks"),
    "arm": ("classes", "set the start of the class on every box, all or none"),
    "collect": ("classes", "bring the logs of finished classes into the store"),
    "unread": ("unread", "logs that can't be read: list them, try again, get them out"),
    "roster": ("roster", "names, bibs and groups, on this computer only"),
    "forget": ("roster", "forget a person completely, backups too"),
    "export": ("moving", "write tables for a sheet, or a bundle for another coach"),
    "import": ("moving", "take in a bundle of another coach"),
    "class": ("filing", "which logs a class has; join two, part one, delete one"),
    "amend": ("amending", "correct a count, a bib or a name afterwards, the old one kept"),
    "wear": ("reports", "say who wore which bib in a class, and who was absent"),
    "report": ("reports", "a class, an athlete or the group: in the terminal and as a page"),
    "advise": ("advice", "who is ready for more, who needs less, and next week's plan"),
    "history": ("history", "who came how often, how hard it was, and one person's progress"),
    "virtual": ("virtual", "start boxes on this computer and show them live"),
    "demo": ("demo", "run a whole class on virtual boxes, from plan to report"),
}


def _module(name: str):  # type: ignore[no-untyped-def]
    return importlib.import_module(f"handbell.cli.{name}")


def _parser(only: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="handbell",
        description="Plan a circuit class, load it onto timer boxes, run it, read the taps.",
        epilog="Each command has its own help with examples: handbell check --help",
    )
    sub = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, (module, summary) in COMMANDS.items():
        if only is not None and name != only:
            sub.add_parser(name, help=summary, add_help=False)
            continue
        command = sub.add_parser(
            name,
            help=summary,
            description=summary[0].upper() + summary[1:] + ".",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        if only is not None:
            getattr(_module(module), f"{name}_arguments")(command)
            command.add_argument("--json", action="store_true", help="print as JSON")
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 failed, 2 used wrongly."""
    words = list(sys.argv[1:] if argv is None else argv)
    command = next((w for w in words if not w.startswith("-")), None)
    only = command if command in COMMANDS else None
    parser = _parser(only)
    args, left = parser.parse_known_args(words)
    more = getattr(args, "more_go_to", None)
    if left and more and not any(word.startswith("-") for word in left):
        setattr(args, more, [*getattr(args, more), *left])  # argparse takes none behind an option
    elif left:
        parser.error(f"unrecognized arguments: {' '.join(left)}")
    if only is None:
        parser.print_help()
        return EXIT_USAGE
    from handbell.cli import render

    try:
        run = getattr(_module(COMMANDS[only][0]), f"{only}_run")
        return render.print_result(run(args), args.json)
    except HandbellError as error:
        return render.print_error(error)
    except KeyboardInterrupt:
        sys.stderr.write("Stopped. What was finished is kept; run the command again to go on.\n")
        return EXIT_FAILED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_FAILED


if __name__ == "__main__":
    sys.exit(main())
