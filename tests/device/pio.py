"""PIO programs of the firmware on the desktop: assembled into steps and run cycle by cycle.

As much of it as the infra-red programs use; RP2040 datasheet, chapter PIO.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator
from typing import Any

X_LEFT = 0xFFFFFFFF


class Step:
    """One instruction; indexing it sets its delay, as in MicroPython's assembler."""

    def __init__(self, op: str, *args: Any) -> None:
        self.op, self.args, self.delay = op, args, 0

    def __getitem__(self, delay: int) -> Step:
        assert 0 <= delay < 32
        self.delay = delay
        return self


class Program(list):
    """The steps in [0], as in MicroPython; ``labels`` and where it wraps."""

    def __init__(self, options: dict[str, Any], make: Callable[[], None]) -> None:
        super().__init__([[]])
        self.options, self.labels, self.target, self.end = options, {}, 0, 0
        steps = self[0]

        def add(op: str) -> Callable[..., Step]:
            def adds(*args: Any) -> Step:
                steps.append(Step(op, *args))
                return steps[-1]

            return adds

        words = {op: add(op) for op in ("mov", "jmp", "in_", "out", "pull", "set")}
        names = ("x", "y", "osr", "null", "pins", "pin", "x_dec", "y_dec", "block")
        words |= dict(zip(names, names, strict=True))
        words["label"] = lambda name: self.labels.__setitem__(name, len(steps))
        words["wrap_target"] = lambda: setattr(self, "target", len(steps))
        words["wrap"] = lambda: setattr(self, "end", len(steps) - 1)
        types.FunctionType(make.__code__, words)()


class Machine:
    """A state machine; ``pin(cycle)`` is what its input reads, ``queue`` what ``pull`` takes."""

    def __init__(self, program: Program, pin: Callable[[int], int] = lambda cycle: 0) -> None:
        self._program, self._pin = program, pin
        self.x = self.y = self.osr = self._isr = self._count = self._pc = 0
        self.cycle = self.output = 0
        self.queue: list[int] = []
        self.pushed: list[tuple[int, int]] = []  # (cycle, value)

    def run(self, until: int) -> Iterator[tuple[int, int]]:
        """Run to a cycle, or to where the queue is empty; gives (cycle, level) of its output."""
        steps = self._program[0]
        while self.cycle < until:
            step = steps[self._pc]
            self._pc = self._program.target if self._pc == self._program.end else self._pc + 1
            before = self.output
            if not getattr(self, f"_{step.op.rstrip('_')}")(*step.args):
                return
            if self.output != before:
                yield self.cycle, self.output
            self.cycle += 1 + step.delay

    def _mov(self, to: str, source: str) -> bool:
        setattr(self, to, getattr(self, source))
        return True

    def _jmp(self, when: str, label: str | None = None) -> bool:
        if label is None:
            when, label = "always", when
        taken = True
        if when == "pin":
            taken = bool(self._pin(self.cycle))
        elif when in ("x_dec", "y_dec"):
            name = when[0]
            taken = getattr(self, name) != 0
            setattr(self, name, (getattr(self, name) - 1) & X_LEFT)
        if taken:
            self._pc = self._program.labels[label]
        return True

    def _in(self, source: str, bits: int) -> bool:
        value = 0 if source == "null" else getattr(self, source)
        self._isr = (self._isr << bits | value & (1 << bits) - 1) & X_LEFT
        self._count += bits
        if self._count >= self._program.options["push_thresh"]:
            self.pushed.append((self.cycle, self._isr))
            self._isr = self._count = 0
        return True

    def _out(self, to: str, bits: int) -> bool:
        setattr(self, to, self.osr & (1 << bits) - 1)
        self.osr >>= bits
        return True

    def _pull(self, block: str) -> bool:
        if not self.queue:
            return False
        self.osr = self.queue.pop(0)
        return True

    def _set(self, to: str, value: int) -> bool:
        assert to == "pins"
        self.output = value
        return True


class Dma:
    """A DMA channel that notes what it was told."""

    channel, write = 3, 0x20001234

    def __init__(self) -> None:
        self.told: dict[str, Any] = {}

    def pack_ctrl(self, **fields: Any) -> dict[str, Any]:
        return fields

    def config(self, **told: Any) -> None:
        self.told = told

    def active(self, on: int | None = None) -> bool:
        return False

    def close(self) -> None:
        self.told = {}


class StateMachine:
    """A state machine that notes its program and its rate."""

    def __init__(self, number: int, program: Program, freq: int, **pins: Any) -> None:
        self.number, self.program, self.freq, self.pins = number, program, freq, pins
        self.put_words: list[int] = []

    def put(self, word: int) -> None:
        self.put_words.append(word)

    def exec(self, instruction: str) -> None:
        pass

    def active(self, on: int) -> None:
        pass

    def tx_fifo(self) -> int:
        return 0


def rp2() -> types.ModuleType:
    """Return a module to stand where MicroPython's ``rp2`` does."""
    module: Any = types.ModuleType("rp2")
    module.asm_pio = lambda **options: lambda make: Program(options, make)
    module.asm_pio_encode = lambda instruction, count: instruction
    module.PIO = types.SimpleNamespace(SHIFT_LEFT=0, SHIFT_RIGHT=1, OUT_LOW=0)
    module.StateMachine, module.DMA = StateMachine, Dma
    return module
