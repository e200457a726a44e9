"""Rules of sound: the loudspeaker and its transistor, the line output into a mixer."""

from __future__ import annotations

from math import pi, sqrt

from hardware import chip
from hardware.formulas import parallel_ohm
from hardware.model import Part
from hardware.netlist import Netlist

LINE_MOST_V = 0.5  # common practice: a line input of -10 dBV (0.316 V), with 4 dB to spare
LINE_LOAD_OHM = 10_000  # common practice: a line input's own
LOWEST_HZ, HIGHEST_HZ = 500, 2_000
PHANTOM_V, PHANTOM_OHM = 48.0, 6_800 / 2  # IEC 61938, from memory: two resistors, side by side


def sounder(net: Netlist) -> list[str]:
    """A loudspeaker is driven by a transistor that its pin can open, and a diode is across it."""
    found = []
    for ref in net.refs("speaker"):
        part = net.box.part[ref]
        ends = (net.at(ref, "1"), net.at(ref, "2"))
        driver = next((q for q in net.refs("npn") if net.at(q, "C") in ends), "")
        if not driver:
            found.append(
                f"{ref} ({part.ohm:.0f} Ohm) is not driven by a transistor: a pin gives "
                f"{chip.PIN_MA:.0f} mA and it takes a hundred."
            )
            continue
        found += _driven(net, ref, driver)
        low = net.at(driver, "C")
        high = ends[0] if ends[1] == low else ends[1]
        if not any(net.at(d, "A") == low and net.at(d, "K") == high for d in net.refs("diode")):
            found.append(f"{ref} has no diode across it: its coil would break {driver}.")
    return found


def _driven(net: Netlist, ref: str, driver: str) -> list[str]:
    found = []
    peak_ma = speaker_ma(net)
    transistor = net.box.part[driver]
    if peak_ma > transistor.max_ma:
        found.append(f"{ref} draws {peak_ma:.0f} mA, {driver} takes {transistor.max_ma:.0f} mA.")
    for part, watt in _heated(net, ref, peak_ma):
        if part.watt < watt:
            found.append(
                f"While {ref} sounds, {part.ohm:g} Ohm get {watt:.2f} W and stand {part.watt:g} W."
            )
    bases = net.beyond(net.at(driver, "B"), "resistor")
    if not bases:
        found.append(f"{driver} has no resistor at its base: the pin would be overloaded.")
        return found
    base_ma = (net.box.supply.logic_v - transistor.base_v) / bases[0][0].ohm * 1000
    if base_ma * transistor.gain < peak_ma:
        found.append(
            f"{driver} gets {base_ma:.1f} mA at its base and has a gain of {transistor.gain:.0f} "
            f"at least: it can't carry the {peak_ma:.0f} mA of {ref}, and would get hot."
        )
    return found


def _heated(net: Netlist, ref: str, peak_ma: float) -> list[tuple[Part, float]]:
    """Return what the loudspeaker's current heats and by how much: it flows half of the time."""
    heated = [net.box.part[ref], *(part for part, _ in net.beyond(net.at(ref, "1"), "resistor"))]
    return [(part, (peak_ma / 1000) ** 2 / 2 * part.ohm) for part in heated]


def speaker_ma(net: Netlist) -> float:
    """Return the loudspeaker's peak current at the highest voltage of its supply, 0 without one."""
    ref = next(iter(net.refs("speaker")), "")
    if not ref:
        return 0.0
    fed = [far for _, far in net.beyond(net.at(ref, "1"), "resistor")] or [net.at(ref, "1")]
    supply_v = max(net.supply_v(far)[1] for far in fed)
    return supply_v / (net.box.part[ref].ohm + net.speaker_series_ohm()) * 1000


def line_output(net: Netlist) -> list[str]:
    """The line output is divided, coupled, in series with a resistor, and stands 48 V."""
    found: list[str] = []
    if "line" in net.box.free:
        return found
    at = net.at(net.refs("board")[0], "line")
    jack = next((net.at(ref, "tip") for ref in net.refs("jack")), "")
    if not at or not jack:
        return ["The line output leads to no socket."]
    if at == jack:
        return ["The line output goes from the pin to the socket: nothing protects either side."]
    step = [(part, far) for part, far in net.beyond(at, "resistor")]
    if not step:
        return ["The line output has no resistor at its pin: a short circuit would overload it."]
    upper, divided = step[0]
    lower = net.between(divided, "GND", "resistor")
    if not lower:
        found.append("The line output is not divided: 3.3 V overload a mixer's line input.")
    coupling = [(part, far) for part, far in net.beyond(divided, "capacitor") if far != "GND"]
    if not coupling:
        return [*found, "The line output has no coupling capacitor: its mean level is no silence."]
    series = [part for part, far in net.beyond(coupling[0][1], "resistor") if far == jack]
    if not series:
        return [*found, "The line output has no series resistor at its socket."]
    level_v = line_level_v(net)
    if level_v > LINE_MOST_V:
        found.append(
            f"The line output gives {level_v:.2f} V, a line input takes {LINE_MOST_V:.2f} V."
        )
    capacitor = coupling[0][0]
    if capacitor.volt < PHANTOM_V:
        found.append(
            f"The line output's capacitor stands {capacitor.volt:.0f} V; a microphone input may "
            f"feed {PHANTOM_V:.0f} V into it."
        )
    if lower:
        found += _phantom(upper.ohm, lower[0].ohm, series[0].ohm, net.box.supply.logic_v)
        found += _passes(net, divided, upper.ohm, lower[0].ohm, capacitor.nf)
    return found


def _phantom(upper: float, lower: float, series: float, logic_v: float) -> list[str]:
    at_divider_v = PHANTOM_V * lower / (PHANTOM_OHM + series + lower)
    into_pin_ma = max(0.0, at_divider_v - logic_v) / upper * 1000
    if into_pin_ma > chip.CLAMP_MA:
        return [
            f"Plugged into an input with {PHANTOM_V:.0f} V, the line output would push "
            f"{into_pin_ma:.1f} mA into its pin; {chip.CLAMP_MA:.0f} mA is the most."
        ]
    return []


def _passes(net: Netlist, divided: str, upper: float, lower: float, nf: float) -> list[str]:
    found = []
    source_ohm = parallel_ohm(upper, lower)
    low_hz = 1e9 / (2 * pi * nf * (source_ohm + LINE_LOAD_OHM))
    if low_hz > LOWEST_HZ / 10:
        found.append(f"The line output's capacitor cuts below {low_hz:.0f} Hz: too small.")
    for part in net.between(divided, "GND", "capacitor"):
        high_hz = 1e9 / (2 * pi * part.nf * source_ohm)
        if high_hz < HIGHEST_HZ * 2:
            found.append(f"The line output's filter cuts above {high_hz:.0f} Hz: our tones too.")
    return found


def line_level_v(net: Netlist) -> float:
    """Return the line output's level, V rms, into a line input: a square wave's half swing."""
    at = net.at(net.refs("board")[0], "line")
    upper, divided = net.beyond(at, "resistor")[0]
    lower = [part.ohm for part in net.between(divided, "GND", "resistor")]
    low_ohm = parallel_ohm(*lower, LINE_LOAD_OHM)
    part = low_ohm / (upper.ohm + low_ohm)
    duty = net.box.firmware.sound_duty / 65_536
    return net.box.supply.logic_v * part * sqrt(duty * (1 - duty))
