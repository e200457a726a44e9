"""How well advice and suspicion find what was planted: seasons of modelled athletes.

    python tests/bench/advice.py [--seasons N] [--write docs/engineers/analysis.md]

``--write`` replaces the tables on the page.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parent))

import season as seasons

from handbell.analysis.cases import cases_of
from handbell.analysis.doubt.finding import Finding
from handbell.analysis.doubt.suspicion import findings_of
from handbell.analysis.past.history import past_classes
from handbell.analysis.past.taps import taps_of
from handbell.coach.advice.advice import Ruling, Verdict
from handbell.coach.advice.limits import Limits, load_limits
from handbell.coach.advice.rules import advise
from handbell.coach.library.shelf import load_library
from handbell.store import open_store

BEGIN, END = "<!-- made by tests/bench/advice.py -->", "<!-- end of what it made -->"
WANTED = {
    "improver": "harder",
    "fader": "easier, late rounds",
    "struggler": "easier",
    "idler": "ask",
}
ALARMS = ("harder", "easier, late rounds", "easier", "ask")
FIRST_WEEK = 2  # from 0: by then everybody may have two classes behind them


@dataclass(frozen=True)
class Said:
    """What was advised on one person and one exercise in one week."""

    season: int
    week: int
    bib: int
    kind: str
    exercise: str
    verdict: str


@dataclass
class Found:
    """What all seasons gave: ``said`` by the name of the thresholds, findings by what was planted.

    ``ready`` is the week, from 0, from which an improver is ready by the model itself.
    """

    said: dict[str, list[Said]] = field(default_factory=dict)
    ready: dict[tuple[int, int], int] = field(default_factory=dict)
    planted: list[tuple[str, bool]] = field(default_factory=list)
    false: list[Finding] = field(default_factory=list)
    bib_classes: int = 0


def word(ruling: Ruling) -> str:
    """Return a ruling as the tables call it."""
    if ruling.talk:
        return "ask"
    if ruling.verdict is Verdict.EASIER and ruling.late_goals:
        return "easier, late rounds"
    return ruling.verdict.value


def once(limits: Limits) -> Limits:
    """Return thresholds for which a single class is enough."""
    tables = limits.model_dump()
    for key, table in tables.items():
        if "classes" in table and key != "flat":
            table["classes"] = 1
    return Limits.model_validate(tables)


def run(
    count: int, seed: int = 1, weeks: int = seasons.WEEKS, how: seasons.Strength = seasons.PLAIN
) -> Found:
    """Play seasons and collect what is said of them."""
    library, limits = load_library(), load_limits()
    found = Found()
    for n in range(count):
        with tempfile.TemporaryDirectory() as folder:
            with open_store(str(Path(folder) / "store.sqlite")) as store:
                truth = seasons.play(store, seed + n, weeks, how)
                for bib, person in truth.people.items():
                    if person.kind == "improver":
                        found.ready[n, bib] = ready_week(person, limits)
                classes = past_classes(store)
                for week, one in enumerate(classes):
                    taps = taps_of(store, one.row.id)
                    told = findings_of(one, taps, library, classes[:week])
                    _judge(found, truth, week, told)
                for name, own in (("two classes", limits), ("one class", once(limits))):
                    found.said.setdefault(name, []).extend(_advice(n, truth, classes, own))
    return found


def ready_week(person: seasons.Planted, limits: Limits) -> int:
    """Return in which week two classes in a row would leave rest enough, without any chance."""
    spare = 1 - limits.earned_rest.rest_percent / 100
    slowest = 1 + person.athlete.tires * 2  # of three rounds
    week = 0
    while 0.7 + 28.8 * person.athlete.pace * person.weekly**week * slowest * 1.02 > 30 * spare:
        week += 1
    return week + 1


def _advice(n: int, truth: seasons.Season, classes: Sequence, limits: Limits) -> Iterator[Said]:
    for week in range(FIRST_WEEK, len(classes)):
        for case in cases_of(classes[: week + 1]):
            kind = truth.people[case.bib].kind
            ruling = advise(case, limits)
            yield Said(n, week, case.bib, kind, case.last.name, word(ruling))


def _judge(found: Found, truth: seasons.Season, week: int, told: Sequence[Finding]) -> None:
    planted = [o for o in truth.odd if o.week == week]
    hit: set[int] = set()
    for odd in planted:
        mine = [
            n
            for n, f in enumerate(told)
            if f.name == odd.name
            and (set(f.bibs) & set(odd.bibs) or (not odd.bibs and f.station == odd.lane + 1))
        ]
        found.planted.append((odd.name, bool(mine)))
        hit.update(n for n, f in enumerate(told) if set(f.bibs) & set(odd.bibs) or n in mine)
    found.false += [f for n, f in enumerate(told) if n not in hit]
    found.bib_classes += len(truth.there[week])


def people_table(found: Found) -> list[str]:
    """Return, for each kind of person, how many were found and when.

    Improvers count from when the model itself says that they are ready.
    """
    said = found.said["two classes"]
    lines = [
        "| planted | people | ready, week | advice that finds them | found by week 12 | in week "
        "| exercises so advised, a week |",
        f"|{' --- |' * 7}",
    ]
    for kind, wanted in WANTED.items():
        own = [s for s in said if s.kind == kind]
        since = {(s.season, s.bib): found.ready.get((s.season, s.bib), 0) for s in own}
        due = {who: week for who, week in since.items() if week < seasons.WEEKS}
        first: dict[tuple[int, int], int] = {}
        for s in own:
            if s.verdict == wanted and (s.season, s.bib) in due:
                first.setdefault((s.season, s.bib), s.week + 1)
        late = [s for s in own if (s.season, s.bib) in due and s.week >= due[s.season, s.bib]]
        right = sum(s.verdict == wanted for s in late)
        ready = f"{median(due.values()) + 1:.0f}" if kind == "improver" and due else "1"
        lines.append(
            f"| {kind} | {len(due)} of {len(since)} | {ready} | {wanted} "
            f"| {_share(len(first), len(due))} | {median(first.values()) if first else 0:.0f} "
            f"| {100 * right / max(len(late), 1):.0f} % |"
        )
    return lines


def alarms_table(by_limits: dict[str, list[Said]]) -> list[str]:
    """Return how often people in whom nothing changes were advised to change something."""
    lines = [
        f"| advised to the steady | {' | '.join(by_limits)} |",
        f"| --- |{' --- |' * len(by_limits)}",
    ]
    for wanted in ALARMS:
        cells = []
        for said in by_limits.values():
            own = [s for s in said if s.kind == "steady"]
            cells.append(_share(sum(s.verdict == wanted for s in own), len(own)))
        lines.append(f"| {wanted} | {' | '.join(cells)} |")
    return lines


def confusion_table(said: Sequence[Said]) -> list[str]:
    """Return what each kind of person was advised, in percent of exercises and weeks."""
    words = ["harder", "same", "easier, late rounds", "easier", "swap", "ask"]
    lines = [f"| planted | {' | '.join(words)} |", f"| --- |{' --- |' * len(words)}"]
    for kind in ("steady", *WANTED):
        own = [s.verdict for s in said if s.kind == kind]
        cells = (f"{100 * own.count(w) / len(own):.1f} %" for w in words)
        lines.append(f"| {kind} | {' | '.join(cells)} |")
    return lines


def oddities_table(found: Found) -> list[str]:
    """Return how much of the planted suspicious data was found, and what was named wrongly."""
    lines = ["| finding | planted | found | named elsewhere |", "| --- | --- | --- | --- |"]
    names = dict.fromkeys(name for name, _ in found.planted)
    for name in names:
        hits = [hit for planted, hit in found.planted if planted == name]
        false = sum(f.name == name for f in found.false)
        lines.append(f"| {name} | {len(hits)} | {_share(sum(hits), len(hits))} | {false} |")
    lines.append("")
    lines.append(
        f"Named elsewhere: out of {found.bib_classes} times that somebody came to a class."
    )
    return lines


def _share(part: int, whole: int) -> str:
    """Return a share with its 95 % interval (Wilson)."""
    if not whole:
        return "-"
    low, high = wilson(part, whole)
    return f"{100 * part / whole:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def wilson(part: int, whole: int, z: float = 1.959964) -> tuple[float, float]:
    """Return Wilson's interval of a share."""
    share, square = part / whole, z * z / whole
    middle = share + square / 2
    reach = z * (share * (1 - share) / whole + square / (4 * whole)) ** 0.5
    return max(0.0, (middle - reach) / (1 + square)), min(1.0, (middle + reach) / (1 + square))


def tables(found: Found, heading: str) -> str:
    """Return all that was found, as Markdown."""
    said = found.said["two classes"]
    blocks: Iterable[list[str]] = (
        [heading],
        people_table(found),
        ["What each kind was advised, in percent of exercises and weeks, from week 3 on:"],
        confusion_table(said),
        ["False alarms, and what asking for two classes in a row is worth:"],
        alarms_table(found.said),
        ["Suspicious data:"],
        oddities_table(found),
    )
    return "\n\n".join("\n".join(lines) for lines in blocks)


def main() -> None:
    """Play, print, and write if told."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seasons", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", type=Path, metavar="PAGE", help="replace the tables on a page")
    args = parser.parse_args()
    began = time.process_time()
    parts = []
    for name, how in (("Plain", seasons.PLAIN), ("Faint", seasons.FAINT)):
        found = run(args.seasons, args.seed, how=how)
        parts.append(tables(found, f"### {name}"))
    seconds = time.process_time() - began
    text = (
        f"{args.seasons} seasons of {seasons.WEEKS} classes for 20 people each way, "
        f"{seconds:.0f} s of processor time. Intervals are 95 % (Wilson).\n\n"
    ) + "\n\n".join(parts)
    print(text)
    if args.write is not None:
        page = args.write.read_text(encoding="utf-8")
        head, _, rest = page.partition(BEGIN)
        _, _, tail = rest.partition(END)
        args.write.write_text(f"{head}{BEGIN}\n{text}\n{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
