"""What a bench looks at: a figure with its limits, a script that gives figures, a thing by hand."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Item:
    """One figure: ``low`` and ``high`` are the least and most that is as expected, both inclusive.

    ``expected`` says where the expectation comes from, ``remedy`` what to change when it differs;
    an item without limits is only noted. ``key`` is the figure's name in a script's answer, which
    is divided by ``per`` to have ``unit``.
    """

    key: str
    what: str
    unit: str
    expected: str
    remedy: str
    low: float | None = None
    high: float | None = None
    per: int = 1


@dataclass(frozen=True)
class Script:
    """A piece of code for the board, made of the files ``parts``; it gives the ``items``.

    It is sent ``feed`` bytes once it runs, and prints ``skim`` bytes before its answer.
    """

    name: str
    parts: tuple[str, ...]
    items: tuple[Item, ...]
    feed: int = 0
    skim: int = 0


@dataclass(frozen=True)
class ByHand:
    """Something that takes a person: ``how`` in short, the rest is in docs/makers/measure.md."""

    what: str
    how: str
    expected: str


BY_HAND = (
    ByHand("Chequer at 1 MHz", "look at the display while this runs", "whole and still"),
    ByHand("Ready from power", "stopwatch, plug to station shown", "under 3 s"),
    ByHand("Battery reading", "multimeter across the battery", "within 3 % of the box's"),
    ByHand("Current, idle", "meter in the battery's lead, no USB", "30 to 60 mA (a guess)"),
    ByHand("Current in class, all lamps", "the same, at a window's start", "under 250 mA"),
    ByHand("Bells of two boxes apart", "logic analyser or second Pico", "under 3 ms in 15 min"),
    ByHand("240 presses in a minute", "in a class, a metronome at 240", "240 in the report"),
    ByHand(
        "Crystal, cold and warm",
        "handbell measure in both",
        "within 10 ppm of each other (a guess)",
    ),
)
