"""The clocks that a run went by, as its journal tells them.

A chain begins where a clock was set, in one boot; at each link of it the box went on at another
rate without a jump, as a clock part makes it do. A clock set anew, or a new boot, begins another.
"""

from __future__ import annotations

from dataclasses import dataclass

from handbell_core.clock import ClockModel


@dataclass
class Chain:
    """``links`` in order of time; ``boot`` counts the box's starts, None if it is not told."""

    boot: int | None
    links: list[ClockModel]

    @property
    def origin(self) -> ClockModel:
        """The clock as it was set."""
        return self.links[0]

    def box_of(self, utc_us: int) -> int:
        """Return ``box_us`` when the box took it to be ``utc_us``."""
        in_force = [link for link in self.links if link.utc_us <= utc_us]
        return (in_force or self.links[:1])[-1].box_of(utc_us)

    def goes_on(self, boot: int | None, utc_us: int, box_us: int) -> bool:
        """Whether a clock is the next link: the same instant by both."""
        return boot == self.boot and self.links[-1].utc_of(box_us) == utc_us


def add_clock(
    chains: list[Chain], boot: int | None, utc_us: int, box_us: int, rate_ppb: int
) -> None:
    """Add a clock that a journal tells, to the last chain or as a new one."""
    link = ClockModel(utc_us, box_us, rate_ppb)
    if chains and chains[-1].goes_on(boot, utc_us, box_us):
        chains[-1].links.append(link)
    else:
        chains.append(Chain(boot, [link]))


def of_run(
    chains: list[Chain], start_utc_us: int | None, end_utc_us: int | None
) -> dict[str, int | None]:
    """Return what the store keeps of a run's clock, by column; None what is not known.

    It is the chain of the run's end; the start has none of its own when the box lost power since.
    """
    row: dict[str, int | None] = {"end_utc_us": end_utc_us}
    names = ("boot", "origin_utc_us", "origin_box_us", "start_box_us", "end_box_us")
    row |= dict.fromkeys(names)
    if not chains or start_utc_us is None or end_utc_us is None:
        return row
    last = chains[-1]
    row |= {
        "boot": last.boot,
        "origin_utc_us": last.origin.utc_us,
        "origin_box_us": last.origin.box_us,
        "end_box_us": last.box_of(end_utc_us),
    }
    before = [chain for chain in chains if chain.origin.utc_us <= start_utc_us]
    if (before or chains)[-1] is last:
        row["start_box_us"] = last.box_of(start_utc_us)
    return row
