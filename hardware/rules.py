"""All rules of the box's hardware: each says in sentences what is wrong, and why."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from handbell.base.errors import HandbellError
from hardware import (
    board_file,
    rules_emitters,
    rules_infrared,
    rules_pins,
    rules_signals,
    rules_sound,
    rules_supply,
)
from hardware.model import Box
from hardware.netlist import Netlist

Rule = Callable[[Netlist], list[str]]

RULES: tuple[Rule, ...] = (
    rules_pins.every_end_once,
    rules_pins.pins_can_do_it,
    rules_pins.pin_currents,
    rules_signals.pull_ups,
    rules_signals.lamp_data,
    rules_signals.lamp_current,
    rules_sound.sounder,
    rules_sound.line_output,
    rules_signals.buttons,
    rules_signals.off_series,
    rules_infrared.receiver,
    rules_emitters.emitting,
    rules_supply.no_back_feed,
    rules_supply.poles,
    rules_supply.gauge,
    rules_supply.decoupling,
    rules_supply.currents,
    rules_supply.charging,
)
BOARD_FILES = ("pico.py", "pico2.py")


def faults(box: Box) -> list[str]:
    """Return a sentence for everything that is wrong with a build."""
    netlist = Netlist(box)
    found = [fault for rule in RULES for fault in rule(netlist)]
    return [f"{box.variant}: {fault}" if box.variant else fault for fault in found]


def firmware_faults(box: Box, folder: Path = board_file.FIRMWARE / "boards") -> list[str]:
    """Return a sentence for everything that the firmware's board files say otherwise."""
    found: list[str] = []
    for name in BOARD_FILES:
        try:
            says = board_file.read(folder / name)
        except HandbellError as error:
            found.append(str(error))
            continue
        found += [f"firmware/boards/{name} {fault}" for fault in _differences(box, says)]
    return found


def _differences(box: Box, says: board_file.BoardFile) -> list[str]:
    found = []
    for name, pin in box.pins.by_name().items():
        if says.pins[name] is None:
            found.append(f"has nothing for {name}, box.toml has it on GP{pin}.")
        elif says.pins[name] != pin:
            found.append(
                f"has {name} on GP{says.pins[name]}, box.toml has it on GP{pin}: a box wired by "
                f"the one would not work with the other."
            )
    for field, wanted in box.firmware:
        if getattr(says, field) != wanted:
            found.append(f"has {field} {getattr(says, field)}, box.toml has {wanted}.")
    if not says.buttons_pulled_up:
        found.append("leaves its buttons without a pull-up: one that is not fitted would float.")
    if not says.receiver_pulled_up:
        found.append("leaves the receiver without a pull-up: one that is not fitted would float.")
    if not says.emitter_dark:
        found.append("lights the emitters as it sets up their pin: they are dark but for a burst.")
    full_mv = rules_supply.gauge_full_mv(Netlist(box))
    if abs(says.gauge_full_mv - full_mv) > 1:
        found.append(
            f"takes a full reading for {says.gauge_full_mv} mV, but with the divider in box.toml "
            f"it is {full_mv:.0f} mV: every battery would be shown wrong."
        )
    return found
