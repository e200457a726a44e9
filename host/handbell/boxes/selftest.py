"""The self-test of a box: each part worked by itself, and the part that fails named.

What a box can't sense, a person is asked: whether the screen is whole, which lights stay dark,
whether it rang.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from handbell.base.drift import MOST_PPB, PPB
from handbell.base.errors import BoxError
from handbell.boxes.clocks.clock import measure
from handbell.boxes.link import replies
from handbell.boxes.link.connection import Connection

LOOK_S = 1.0
LAMP_S = 0.4
RING_S = 1.5
CLOCK_S = 5.0
BATTERY_MV = (2_000, 5_800)  # what a battery or a cable can give the board (Pico data sheet)
DASHES = r"\-\u2010-\u2015\u2212"  # as a keyboard or a phone writes them
FLASH_US = 3_000_000  # 20 pages and an erase, each as slow as may be

Ask = Callable[[str], str | None]
"""Asks a person; None where nobody is there to be asked."""


@dataclass(frozen=True)
class Finding:
    """How one part did: ``fine`` True, False, or None when it could not be judged."""

    part: str
    fine: bool | None
    words: str


class SelfTest:
    """The self-test of one box that rests, with so many buttons fitted."""

    def __init__(self, connection: Connection, ask: Ask, buttons: int = 1) -> None:
        self._box = connection
        self._ask = ask
        self._wait = connection.clock.sleep
        self._buttons = buttons
        self.findings: list[Finding] = []

    def run(self) -> list[Finding]:
        """Work every part and return what was found; raises BoxError if the box goes away."""
        try:
            for part in (
                self._display,
                self._lights,
                self._buzzer,
                self._press,
                self._battery,
                self._flash,
                self._clock,
                self._clock_part,
            ):
                self.findings += part()
        finally:
            self._end()
        return self.findings

    def _end(self) -> None:
        with contextlib.suppress(BoxError):  # it ends by itself after a minute
            self._box.ask(replies.TEST_END)

    def _yes(self, part: str, question: str, fault: str) -> Finding:
        said = self._ask(f"{self._box.label}: {question} [y/n] ")
        if said is None:
            return Finding(part, None, "nobody was asked")
        fine = said.strip().lower() in ("", "y", "yes")
        return Finding(part, fine, "" if fine else fault)

    def _display(self) -> list[Finding]:
        if not self._box.ask(replies.TEST_DISPLAY):
            words = "the display does not answer: check its four wires"
            return [Finding("display", False, words)]
        self._wait(LOOK_S)
        return [
            self._yes(
                "display",
                "does the screen show a whole chequer in a frame?",
                "the screen is not whole: check its wires, else replace it",
            )
        ]

    def _lights(self) -> list[Finding]:
        lamps = self._box.ask(replies.TEST_LAMP, n=0)
        for n in range(1, lamps + 1):
            self._box.ask(replies.TEST_LAMP, n=n)
            self._wait(LAMP_S)
        self._box.ask(replies.TEST_LAMP, n=0)
        question = f"{self._box.label}: {lamps} lights lit one after another. Which stayed dark? "
        if self._is_off():
            question = f"The battery, which feeds the lights, is off or missing. {question}"
        dark = None
        while dark is None:
            said = self._ask(f"{question}(numbers, such as 3 or 1-{lamps}; all; Enter for none) ")
            if said is None:
                return [Finding("lights", None, "nobody was asked")]
            dark = lights_named(said, lamps)
        if not dark:
            return [Finding("lights", True, "")]
        words = self._unless_off("stays dark: check the data wire before it, else replace it")
        return [Finding(f"light {n}", False, words) for n in sorted(dark)]

    def _buzzer(self) -> list[Finding]:
        self._box.ask(replies.TEST_SOUND)
        self._wait(RING_S)
        found = self._yes(
            "buzzer",
            "did it ring three rising notes?",
            "the buzzer is silent: check its wires and its transistor",
        )
        if found.fine is False:
            found = replace(found, words=self._unless_off(found.words))
        return [found]

    def _unless_off(self, fault: str) -> str:
        """Return what to say of a light or a buzzer that did nothing: the battery feeds both."""
        if not self._is_off():
            return fault
        return (
            "is fed by the battery, and there is none or it is switched off: try again with it on"
        )

    def _is_off(self) -> bool:
        return self._box.ask(replies.TEST_BATTERY) < BATTERY_MV[0]

    def _press(self) -> list[Finding]:
        before = self._box.ask(replies.TEST_BUTTONS)
        self._buttons = min(self._buttons, len(before.closed))
        stuck = [n for n in range(self._buttons) if before.closed[n]]
        found = [
            Finding(f"button {n + 1}", False, "is closed without a press: check its wires")
            for n in stuck
        ]
        waiting = [n for n in range(self._buttons) if n not in stuck]
        if waiting:
            each = "the button" if self._buttons == 1 else f"each of {self._buttons} buttons"
            if self._ask(f"{self._box.label}: press {each} once, then Enter ") is None:
                return [*found, Finding("buttons", None, "nobody was asked")]
            pressed = self._box.ask(replies.TEST_BUTTONS).pressed
            for n in waiting:
                seen = n < len(pressed) and pressed[n] > before.pressed[n]
                words = "" if seen else "no press came: check its two wires"
                found.append(Finding(f"button {n + 1}", seen, words))
        return found

    def _battery(self) -> list[Finding]:
        mv = self._box.ask(replies.TEST_BATTERY)
        least, most = BATTERY_MV
        fine = least <= mv <= most
        words = f"{mv / 1000:.2f} V"
        if not fine:
            words = f"reads {words}: switch the box on; if it is, check the divider and its pin"
        return [Finding("battery sense", fine, words)]

    def _flash(self) -> list[Finding]:
        said = self._box.ask(replies.TEST_FLASH)
        if not said.same:
            return [Finding("flash", False, "what was written is not what is read: replace it")]
        slow = said.took_us > FLASH_US
        return [Finding("flash", not slow, "is far too slow: replace the board" if slow else "")]

    def _clock(self) -> list[Finding]:
        first = measure(self._box)
        self._wait(CLOCK_S)
        second = measure(self._box)
        box_us = second.box_us - first.box_us
        if box_us <= 0:
            return [Finding("clock", False, "its clock stands still: replace the board")]
        doubt_us = first.bound_us + second.bound_us
        parted_us = (second.utc_us - first.utc_us) - box_us
        least_ppb = (abs(parted_us) - doubt_us) * PPB // box_us
        if least_ppb > MOST_PPB:
            words = f"its crystal is off by {least_ppb / 1000:.0f} ppm or more: replace the board"
            return [Finding("clock", False, words)]
        return [Finding("clock", True, "")]

    def _clock_part(self) -> list[Finding]:
        said = self._box.ask(replies.TEST_CLOCK_PART)
        if not said.fitted:
            return []
        words = "had stopped: check its cell, then run handbell send" if said.stopped else ""
        return [Finding("clock part", not said.stopped, words)]


def lights_named(said: str, lamps: int) -> set[int] | None:
    """Return the lights that an answer names, of so many; None when it can't be understood.

    ``3 5``, ``1-8``, ``1 to 8`` and ``all``; nothing and ``none`` name none.
    """
    words = said.strip().lower().strip(".")
    if words in ("", "none"):
        return set()
    if words == "all":
        return set(range(1, lamps + 1))
    named: set[int] = set()
    for piece in re.sub(rf"\s*(?:[{DASHES}]|\bto\b)\s*", "-", words).replace(",", " ").split():
        span = re.fullmatch(r"([0-9]{1,3})(?:-([0-9]{1,3}))?", piece)
        if span is None:
            return None
        first, last = int(span[1]), int(span[2] or span[1])
        if not 1 <= first <= last <= lamps:
            return None
        named.update(range(first, last + 1))
    return named
