"""``completion``: what lets a shell complete commands, options and files."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

from handbell.cli.output import Out

SHELLS = ("bash", "zsh", "fish")


@dataclass(frozen=True)
class Completion:
    """A shell's script."""

    shell: str
    script: str


def arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line."""
    parser.add_argument("shell", choices=SHELLS, help="the shell that is to complete")
    parser.epilog = (
        "examples:\n"
        "  handbell completion bash > ~/.local/share/bash-completion/completions/handbell\n"
        "  handbell completion zsh > ~/.zfunc/_handbell\n"
        "  handbell completion fish > ~/.config/fish/completions/handbell.fish"
    )


def run(args: argparse.Namespace) -> Completion:
    """Return the script for a shell."""
    import shtab

    from handbell.cli.main import command_module, command_parser
    from handbell.cli.table import COMMANDS

    whole = argparse.ArgumentParser(prog="handbell")
    under = whole.add_subparsers()
    for name, (_, summary) in COMMANDS.items():
        parser = command_parser(name, command_module(name))
        for action in parser._actions:
            if action.type is Path or action.dest in ("store", "port"):
                vars(action)["complete"] = shtab.FILE
        under.add_parser(name, help=summary, parents=[parser], add_help=False)
    return Completion(args.shell, shtab.complete(whole, args.shell))


def text(result: Completion, out: Out) -> None:
    """Print the script as it is."""
    out.console.file.write(result.script)
