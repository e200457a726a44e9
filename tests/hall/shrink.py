"""Makes a class that goes wrong smaller, as long as it goes wrong in the same way."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from script import Script

MOST_TRIES = 700


def kind_of(wrong: list[str]) -> str:
    """Return what went wrong first, without its numbers."""
    return re.sub(r"-?\d+", "#", wrong[0]).split(": ", 1)[-1] if wrong else ""


def shrink(script: Script, play: Callable[[Script], list[str]]) -> tuple[Script, list[str]]:
    """Return the smallest class found that goes wrong like ``script``, and what goes wrong."""
    wrong = play(script)
    kind = kind_of(wrong)
    tries = 0

    def still(smaller: Script) -> bool:
        nonlocal script, wrong, tries
        tries += 1
        said = play(smaller)
        if kind_of(said) != kind:
            return False
        script, wrong = smaller, said
        return True

    for box in script.boxes:
        if still(replace(script, boxes=(box,))):
            break
    calm = tuple(replace(box, late_share=0.0) for box in script.boxes)
    still(replace(script, boxes=calm))
    for box in range(len(script.boxes)):
        size = len(script.boxes[box].steps)
        while size and tries < MOST_TRIES:
            at = 0
            while at < len(script.boxes[box].steps) and tries < MOST_TRIES:
                if not still(script.without(box, set(range(at, at + size)))):
                    at += size
            size //= 2
    return script, wrong
