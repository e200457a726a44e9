"""The nets as a graph: who is wired to whom, and where current may flow."""

from __future__ import annotations

from dataclasses import dataclass

from hardware.model import Box, Part

_BOARD_SUPPLY = ("GND", "3V3", "VBUS", "VSYS")


@dataclass(frozen=True)
class Flow:
    """Current may flow from a net to another through a part, losing some voltage."""

    source: str
    to: str
    through: str
    drop_v: tuple[float, float] = (0.0, 0.0)
    diode: bool = False
    charges: bool = False


class Netlist:
    """Questions about a box's nets."""

    def __init__(self, box: Box) -> None:
        self.box = box
        self.net_of = {end: name for name, ends in box.net.items() for end in ends}
        self.flows = list(self._all_flows())

    def at(self, ref: str, end: str) -> str:
        """Return the net at a part's end, "" if it is in none."""
        return self.net_of.get(f"{ref}.{end}", "")

    def refs(self, *kinds: str) -> list[str]:
        """Return the references of the parts of these kinds."""
        return [ref for ref, part in self.box.part.items() if part.kind in kinds]

    def on(self, net: str) -> list[tuple[str, str]]:
        """Return (reference, end) of all known parts that are on a net."""
        pairs = (end.partition(".") for end in self.box.net.get(net, ()))
        return [(ref, end) for ref, _, end in pairs if ref in self.box.part]

    def between(self, one: str, other: str, kind: str) -> list[Part]:
        """Return the two-ended parts of a kind between two nets."""
        found = []
        for ref in self.refs(kind):
            nets = {self.at(ref, end) for end in self.box.part[ref].ends()}
            if nets == {one, other}:
                found.append(self.box.part[ref])
        return found

    def beyond(self, net: str, kind: str) -> list[tuple[Part, str]]:
        """Return the two-ended parts of a kind on a net, each with the net at its other end."""
        found = []
        for ref, end in self.on(net):
            part = self.box.part[ref]
            if part.kind == kind:
                other = next(name for name in part.ends() if name != end)
                found.append((part, self.at(ref, other)))
        return found

    def ends_wanted(self) -> set[str]:
        """Return every end that must be on a net."""
        wanted = set()
        for ref, part in self.box.part.items():
            ends = self.board_ends() if part.kind == "board" else part.ends()
            wanted |= {f"{ref}.{end}" for end in ends}
        return wanted

    def board_ends(self) -> tuple[str, ...]:
        """Return the board's ends: supply, and a pin for each thing that is fitted."""
        names = self.box.pins.by_name()
        fitted = [
            name
            for name in names
            if name not in self.box.free
            and (not name.startswith("button") or int(name[6:]) <= self.box.buttons)
        ]
        return (*_BOARD_SUPPLY, *fitted)

    def speaker_series_ohm(self) -> float:
        """Return the resistor in series with the loudspeaker, 0 without one."""
        return sum(
            part.ohm
            for ref in self.refs("speaker")
            for part, _ in self.beyond(self.at(ref, "1"), "resistor")
        )

    def gauge_top(self) -> str:
        """Return the net that the battery's gauge divides, "" without a divider."""
        at = self.at(self.refs("board")[0], "gauge")
        return next((far for _, far in self.beyond(at, "resistor") if far != "GND"), "")

    def gauge_ohms(self) -> tuple[float, float] | None:
        """Return the gauge's divider, (upper, lower) in Ohm, None without one."""
        at = self.at(self.refs("board")[0], "gauge")
        upper = self.between(at, self.gauge_top(), "resistor")
        lower = self.between(at, "GND", "resistor")
        return (upper[0].ohm, lower[0].ohm) if upper and lower else None

    def _all_flows(self) -> list[Flow]:
        """Return the ways that supply current may take; losses are (least, most)."""
        flows = []
        board = next(iter(self.refs("board")), "")
        usb_drop = self.box.supply.board_diode_v
        flows.append(
            Flow(self.usb_net(), self.at(board, "VSYS"), "the board's diode", usb_drop, True)
        )
        for ref, part in self.box.part.items():
            if part.kind in ("fuse", "switch"):
                one, other = self.at(ref, "1"), self.at(ref, "2")
                flows += [Flow(one, other, ref), Flow(other, one, ref)]
            elif part.kind == "diode":
                flows.append(Flow(self.at(ref, "A"), self.at(ref, "K"), ref, part.drop_v, True))
            elif part.kind == "charger":
                cell, out = self.at(ref, "B+"), self.at(ref, "OUT+")
                flows += [Flow(cell, out, ref), Flow(out, cell, ref)]
                flows.append(Flow(self.at(ref, "IN+"), cell, ref, diode=True, charges=True))
            elif part.kind == "boost":
                flows.append(Flow(self.at(ref, "IN+"), self.at(ref, "OUT+"), ref, diode=True))
        return [flow for flow in flows if flow.source and flow.to]

    def usb_net(self) -> str:
        """Return the net of USB's 5 V; it is there even if nothing of ours is on it."""
        return self.at(next(iter(self.refs("board")), ""), "VBUS") or "VBUS"

    def reached(self, start: str, *, charging: bool) -> dict[str, tuple[str, ...]]:
        """Return the nets that current from ``start`` may reach, each with the parts passed.

        ``charging`` tells whether the charger's own way to the cell counts.
        """
        paths: dict[str, tuple[str, ...]] = {start: ()}
        todo = [start]
        while todo:
            net = todo.pop()
            for flow in self.flows:
                passes = charging or not flow.charges
                if flow.source == net and flow.to not in paths and passes:
                    paths[flow.to] = (*paths[net], flow.through)
                    todo.append(flow.to)
        return paths

    def supply_v(self, net: str) -> tuple[float, float]:
        """Return the least and the most voltage of a supply net, over all that may feed it.

        A battery counts from the voltage at which lamps or a step-up end to its fullest.
        """
        lows, highs = [], []
        for source, (low, high) in self.sources().items():
            for least_drop, most_drop in self._drops(source, net, ()):
                lows.append(low - most_drop)
                highs.append(high - least_drop)
        return (min(lows), max(highs)) if lows else (0.0, 0.0)

    def sources(self) -> dict[str, tuple[float, float]]:
        """Return the nets that voltage comes from, with its least and most."""
        found = {self.usb_net(): self.box.supply.usb_v}
        battery = self.box.battery_fitted()
        for ref in self.refs("cell"):
            if battery is not None:
                high = battery.full_v * battery.cells
                low = self.box.end_v()
                if battery.feed == "boost":
                    low = battery.empty_v * battery.cells
                found[self.at(ref, "+")] = (low, high)
        for ref in self.refs("boost"):
            found[self.at(ref, "OUT+")] = self.box.part[ref].out_v
        return found

    def _drops(self, at: str, goal: str, seen: tuple[str, ...]) -> list[tuple[float, float]]:
        if at == goal:
            return [(0.0, 0.0)]
        found = []
        for flow in self.flows:
            blocked = flow.charges or self.box.part.get(flow.through, _PLAIN).kind == "boost"
            if flow.source != at or flow.to in seen or blocked:
                continue
            for least, most in self._drops(flow.to, goal, (*seen, at)):
                found.append((flow.drop_v[0] + least, flow.drop_v[1] + most))
        return found


_PLAIN = Part(kind="plain", what="", price=0)
