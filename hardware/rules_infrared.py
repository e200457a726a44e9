"""Rules of infra-red that is heard: a box's receivers."""

from __future__ import annotations

from hardware.formulas import parallel_ohm
from hardware.netlist import Netlist

# Vishay, TSOP382.. and TSOP384.., document 81733: the filter of a receiver's supply.
FILTER_OHM = (33, 1_000)
FILTER_NF = 100
NM = (940, 950)  # what receivers see best; the same sheet's kind, from memory
PIN_PULL_UP_OHM = 50_000  # RP2040 datasheet: 50 k to 80 k (from memory)


def receiver(net: Netlist) -> list[str]:
    """Each receiver's output goes to their pin; its supply is 3.3 V, through its own filter."""
    if "receiver" in net.box.free:
        return []
    board = net.refs("board")[0]
    refs = net.refs("receiver")
    if not refs:
        return ["The receiver's pin leads to no receiver."]
    found = []
    for ref in refs:
        if net.at(ref, "OUT") != net.at(board, "receiver"):
            found.append(f"{ref}'s OUT is not on the receiver's pin: the box would hear no remote.")
        if net.at(ref, "GND") != "GND":
            found.append(f"{ref}'s GND is not on GND: its legs are swapped, and it may break.")
        found += _fed(net, ref, net.at(ref, "VS"), net.at(board, "3V3"))
    if len(refs) != net.box.receivers:
        found.append(f"{net.box.receivers} receivers are stated, and {len(refs)} are wired.")
    pulled_ma = joined_ma(net)
    if pulled_ma > min(net.box.part[ref].sink_ma for ref in refs):
        found.append(
            f"One receiver would have to pull {pulled_ma:.2f} mA low, of its own pull-up and the "
            f"others': too much for it to be read as low."
        )
    return found


def joined_ma(net: Netlist) -> float:
    """Return what one receiver sinks as it pulls all of the joined outputs low."""
    ohms = [net.box.part[ref].pull_up_ohm for ref in net.refs("receiver")]
    return net.box.supply.logic_v / parallel_ohm(*ohms, PIN_PULL_UP_OHM) * 1000


def _fed(net: Netlist, ref: str, at: str, logic: str) -> list[str]:
    part = net.box.part[ref]
    others = [other for other in net.refs("receiver") if other != ref and net.at(other, "VS") == at]
    if others:
        return [f"{ref} shares its filter with {others[0]}: each wants its own beside it."]
    series = net.between(at, logic, "resistor")
    if not series:
        return [
            f"{ref} is not fed from the board's 3.3 V by a resistor of its own: the lamps' noise "
            f"would shorten its reach, and from more than 3.3 V it would overload its pin."
        ]
    found = []
    ohm = series[0].ohm
    if not FILTER_OHM[0] <= ohm <= FILTER_OHM[1]:
        found.append(
            f"{ref} has {ohm:g} Ohm before its supply; its sheet asks {FILTER_OHM[0]} Ohm to "
            f"{FILTER_OHM[1]} Ohm."
        )
    left_v = net.box.supply.logic_v - part.draw_ma / 1000 * ohm
    if left_v < part.supply_v[0]:
        found.append(f"{ref} would get {left_v:.2f} V; it works from {part.supply_v[0]} V on.")
    if not any(one.nf > FILTER_NF for one in net.between(at, "GND", "capacitor")):
        found.append(f"{ref} has no capacitor of more than {FILTER_NF} nF at its supply.")
    return found
