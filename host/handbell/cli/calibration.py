"""``boxes --calibrate``: a live table of the crystals' rates, or a line a minute in a pipe."""

from __future__ import annotations

from types import TracebackType
from typing import TYPE_CHECKING

from handbell.cli import shared
from handbell.cli.output import Out

if TYPE_CHECKING:
    from rich.live import Live

    from handbell.work.upkeep.boxes import BoxCalibrated, Calibrated

HEADINGS = ("station", "box", "rate, ppm", "within", "contacts", "over", "clock within")


def text(result: Calibrated, out: Out) -> None:
    """Print the rates, and why some are not known."""
    out.table(HEADINGS, map(_cells, result.boxes))
    if result.ended_early:
        out.line("Ended early. What was measured is kept.")
    for box in result.boxes:
        for odd in box.odd:
            out.line(f"note: {box.box}: {odd}")
        if box.why:
            out.line(box.why)
        elif box.rate is None:
            out.line(f"{box.box}: no rate yet: {box.no_rate}")
    if result.trouble:
        out.line(f"note: {result.trouble}")
    shared.strangers(out, result.others)
    if all(box.given for box in result.boxes):
        out.line("Every box knows its rate. It counts for 30 days, and for any class.")


def _cells(box: BoxCalibrated) -> tuple[object, ...]:
    rate = box.rate
    cells = ("-", "-", "-")
    if rate is not None:
        # a box whose crystal is fast needs UTC to run slower: shown as the crystal's own
        cells = (
            f"{-rate.ppb / 1000:+.2f}",
            f"+-{rate.bound_ppb / 1000:.2f}",
            f"{rate.span_s // 60} min",
        )
    bound = f"+-{box.bound_us / 1000:.2f} ms" if box.contacts else "-"
    return (box.station or "-", box.box, cells[0], cells[1], box.contacts, cells[2], bound)


class Shown:
    """The table while it is watched: live on a terminal, else a line a minute."""

    def __init__(self, out: Out) -> None:
        self._out = out
        self._live: Live | None = None
        self._told_min = -1

    def __enter__(self) -> Shown:
        if self._out.console.is_terminal:
            from rich.live import Live

            self._live = Live(console=self._out.console, auto_refresh=False, transient=True)
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

    def __call__(self, boxes: tuple[BoxCalibrated, ...], gone_s: int, wanted_s: int) -> None:
        """Show how far it is."""
        known = [box.rate for box in boxes if box.rate is not None]
        worst = max((rate.bound_ppb for rate in known), default=0)
        if self._live is not None:
            from rich.console import Group

            left_s = wanted_s - gone_s
            foot = f"{left_s // 60}:{left_s % 60:02d} to go. Ctrl-C ends it; it is kept."
            table = self._out.made_table(HEADINGS, map(_cells, boxes))
            self._live.update(Group(table, foot), refresh=True)
        elif gone_s // 60 > self._told_min:
            self._told_min = gone_s // 60
            self._out.line(
                f"{gone_s // 60} of {wanted_s // 60} min: {len(known)} of {len(boxes)} rates "
                f"known{f', the worst within {worst / 1000:.2f} ppm' if known else ''}"
            )
