"""``boxes --calibrate``: a live table of the crystals' rates, or a line a minute in a pipe."""

from __future__ import annotations

import argparse
from types import TracebackType
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, UsageError
from handbell.cli.render import Result, console

if TYPE_CHECKING:
    from rich.console import Console
    from rich.live import Live
    from rich.table import Table

    from handbell.boxes.clocks.calibrate import Watched

MOST_MIN = 600


def calibrate_run(args: argparse.Namespace) -> Result:
    """Measure the boxes for so many minutes, keep all contacts, give each box its rate."""
    from handbell.boxes.clocks.calibrate import calibrate
    from handbell.boxes.clocks.clock import Clocks
    from handbell.cli.boxes import open_fleet, print_strangers, strangers
    from handbell.store import open_store

    if not 1 <= args.calibrate <= MOST_MIN:
        raise UsageError(
            f"--calibrate {args.calibrate} is too short or too long",
            f"Say 1 to {MOST_MIN} minutes; 30 is plenty",
        )
    with open_fleet(args) as fleet, open_store(args.store) as store:
        clocks = Clocks(store)
        if not fleet.connections:
            raise fleet.strangers[0].error or HandbellError("No box answers")
        host = fleet.connections[0].clock
        with Shown(console(stderr=True)) as shown:
            boxes, broken_off = calibrate(fleet, clocks, args.calibrate, host, shown)
        others = strangers(fleet)
    rows = [_row(box) for box in boxes]

    def text(out: Console) -> None:
        out.print(_table(boxes))
        if broken_off:
            out.print("Ended early. What was measured is kept.")
        for box in boxes:
            for odd in box.estimate.odd:
                out.print(f"note: {box.label}: {odd}", markup=False)
            if box.why:
                out.print(box.why, markup=False)
            elif box.estimate.rate is None:
                out.print(f"{box.label}: no rate yet: {box.estimate.why}", markup=False)
        if clocks.trouble:
            out.print(f"note: {clocks.trouble}", markup=False)
        print_strangers(others, out)
        if all(box.given for box in boxes):
            out.print("Every box knows its rate. It counts for 30 days, and for any class.")

    data = {"boxes": rows, "ended_early": broken_off, "others": others, "trouble": clocks.trouble}
    fine = all(box.given for box in boxes) and not others and not clocks.trouble
    return Result(data, text, ok=fine)


def _row(box: Watched) -> dict[str, Any]:
    from handbell.cli.arming import rate_data

    return {
        "box": box.label,
        "station": box.station,
        "id": box.box_id,
        "contacts": box.contacts,
        "bound_us": box.bound_us,
        "rate": rate_data(box.estimate.rate),
        "no_rate": box.estimate.why,
        "odd": box.estimate.odd,
        "given": box.given,
        "why": box.why,
    }


def _table(boxes: list[Watched]) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for heading in ("station", "box", "rate, ppm", "within", "contacts", "over", "clock within"):
        table.add_column(heading)
    for box in boxes:
        rate = box.estimate.rate
        cells = ["-", "-", "-"]
        if rate is not None:
            # a box whose crystal is fast needs UTC to run slower: shown as the crystal's own
            cells = [
                f"{-rate.ppb / 1000:+.2f}",
                f"+-{rate.bound_ppb / 1000:.2f}",
                f"{rate.span_s // 60} min",
            ]
        table.add_row(
            str(box.station or "-"),
            Text(box.label),
            cells[0],
            cells[1],
            str(box.contacts),
            cells[2],
            f"+-{box.bound_us / 1000:.2f} ms" if box.contacts else "-",
        )
    return table


class Shown:
    """The table while it is watched: live on a terminal, else a line a minute."""

    def __init__(self, out: Console) -> None:
        self._out = out
        self._live: Live | None = None
        self._told_min = -1

    def __enter__(self) -> Shown:
        if self._out.is_terminal:
            from rich.live import Live

            self._live = Live(console=self._out, auto_refresh=False, transient=True)
            self._live.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._live is not None:
            self._live.stop()

    def __call__(self, boxes: list[Watched], gone_s: int, wanted_s: int) -> None:
        """Show how far it is."""
        known = [box.estimate.rate for box in boxes if box.estimate.rate is not None]
        worst = max((rate.bound_ppb for rate in known), default=0)
        if self._live is not None:
            from rich.console import Group

            left_s = wanted_s - gone_s
            foot = f"{left_s // 60}:{left_s % 60:02d} to go. Ctrl-C ends it; it is kept."
            self._live.update(Group(_table(boxes), foot), refresh=True)
        elif gone_s // 60 > self._told_min:
            self._told_min = gone_s // 60
            self._out.print(
                f"{gone_s // 60} of {wanted_s // 60} min: {len(known)} of {len(boxes)} rates "
                f"known{f', the worst within {worst / 1000:.2f} ppm' if known else ''}",
                markup=False,
            )
