"""A plan to start from: a warm-up, a block of each form that was asked for, a cool-down."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

import tomlkit

from handbell.plan.shorthands import FORMATS

PLAIN = "plain"
NAMES = (PLAIN, *FORMATS)

_FOLDER = Path(__file__).parent
_BEFORE = """\
[[warm_up]]
name = "March, arm circles"
work_s = 120

[[warm_up]]
name = "Slow squats, lunges"
work_s = 120
"""
_AFTER = """\
[[cool_down]]
name = "Walk and stretch"
work_s = 180
"""


def starter(title: str, formats: Sequence[str], boxes: int, file: str) -> str:
    """Return the text of a plan with a block of each form, for so many boxes.

    ``formats`` are of ``NAMES``; ``file`` is the name that it says to check. A relay is run by
    groups, so then each box has a group of two.
    """
    check = f"handbell check {shlex.quote(file)}" if file.isprintable() else "handbell check"
    head = [f"# Change anything, then: {check}", f"title = {tomlkit.item(title).as_string()}"]
    people = []
    if "relay" in formats:
        people = [
            f'[[group]]\nname = "Group {n}"\nbibs = [{2 * n - 1}, {2 * n}]\n'
            for n in range(1, boxes + 1)
        ]
        head.append('buttons = 2\nturns = "window"')
    else:
        head.append(f"boxes = {boxes}")
    if len(formats) > 1:
        head.append("break_s = 60")
    blocks = [_FOLDER.joinpath(f"{name}.toml").read_text(encoding="utf-8") for name in formats]
    return "\n".join(["\n".join(head) + "\n", *people, _BEFORE, *blocks, _AFTER])
