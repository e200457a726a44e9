"""The sheet of a bench: Markdown, with lines left for what a person does by hand."""

from __future__ import annotations

from datetime import datetime, timezone
from pathlib import Path

from handbell.base.files import write_whole
from handbell.boxes.link.fields import shown

from .items import BY_HAND
from .measure import Bench, Reading

CAUTIONS = (
    "Unplug the battery's lead before you touch wires. Protected lithium cells only, charged by a "
    "proper charger and never left alone; none that is swollen, dented or hot. Keep the buzzer "
    "away from ears, and the lights out of the eyes of people who react to flashing light. Your "
    "local rules come first (docs/coaches/safety.md)."
)


def default_path(bench: Bench, folder: Path | None = None) -> Path:
    """Return a name for the sheet that says which box and when, in UTC."""
    when = _when(bench).strftime("%Y%m%d-%H%M%S")
    box = bench.who.id if bench.who else "board"
    return (folder or Path()) / f"measured-{box}-{when}.md"


def write_sheet(bench: Bench, path: Path) -> None:
    """Write the sheet, whole or not at all; raises HandbellError when that can't be done."""
    write_whole(path, sheet(bench), "Name another with --out")


def sheet(bench: Bench) -> str:
    """Return the sheet as Markdown."""
    readings = list(bench.readings.values())
    box = bench.who.id if bench.who else "without firmware"
    lines = [f"# Box {box}, measured", ""]
    lines += [f"{_when(bench):%Y-%m-%d %H:%M} UTC, port {bench.url}. {_board(bench)}", ""]
    lines += [CAUTIONS, ""]
    lines += [remark + "\n" for remark in bench.remarks]
    lines += [
        "## Measured",
        "",
        "(E): on an emulated chip. docs/makers/measure.md says why each matters.",
        "",
    ]
    lines += _table(
        ("what", "measured", "expected", "verdict"),
        [(r.item.what, measured(r), expected(r), r.verdict) for r in readings],
    )
    lines += ["", "## What to do", ""]
    todo = [r for r in readings if r.differs or r.failed]
    lines += [f"- {advice(reading)}" for reading in todo] or ["Nothing: all is as expected."]
    lines += ["", "## By hand", ""]
    lines += _table(
        ("what", "how", "expected", "measured", "by whom"),
        [(item.what, item.how, item.expected, "", "") for item in BY_HAND],
    )
    lines += ["", "Notes:", "", "", ""]
    return "\n".join(lines)


def measured(reading: Reading) -> str:
    """Return a reading as a number with its unit, "" if there is none."""
    if reading.value is None:
        return ""
    value = reading.value
    digits = 0 if value == round(value) or abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    text = f"{value:.{digits}f}"
    if reading.bound:
        text += f" ± {reading.bound:.1f}"
    return f"{text} {reading.item.unit}".rstrip()


def expected(reading: Reading) -> str:
    """Return what is expected: where that comes from, and the limits."""
    item = reading.item
    if item.low is None and item.high is None:
        return item.expected
    low = "" if item.low is None else f"{item.low:g}"
    high = "" if item.high is None else f"{item.high:g}"
    limits = f"{low} to {high}" if low and high else f"at most {high}" if high else f"{low} or more"
    return f"{item.expected}; accepted: {limits}"


def advice(reading: Reading) -> str:
    """Return one sentence about a reading that differs or is missing."""
    item = reading.item
    if reading.failed:
        return f"{item.what}: {reading.verdict}."
    return f"{item.what}: {measured(reading)}, {expected(reading)}. Look at {item.remedy}."


def _when(bench: Bench) -> datetime:
    return datetime.fromtimestamp(bench.begun_utc_us // 1_000_000, tz=timezone.utc)


def _board(bench: Bench) -> str:
    words = []
    if bench.board:
        said = (shown(80)(str(bench.board.get(key, ""))) for key in ("machine", "version"))
        words.append(", MicroPython ".join(said))
    if bench.who:
        words.append(f"firmware {bench.who.firmware}, station {bench.who.station}")
    return "; ".join(words) + "." if words else ""


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    lines = [head, tuple("---" for _ in head), *rows]
    return ["| " + " | ".join(cell.replace("|", "/") for cell in line) + " |" for line in lines]
