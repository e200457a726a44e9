"""How well doubtful data is found, and how often clean people are suspected.

    python tests/bench/doubt.py [--seasons N] [--write docs/engineers/analysis.md]

Seasons of twenty modelled people and twelve weeks; in one half each kind of doubtful data is planted
in half the windows of a class, the other half is clean. Of clean seasons of steady people it is told
how often the group's page names somebody in its headline.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import doubtful
import season as seasons
from advice import _share

from handbell.analysis.doubt.finding import OF_BOX, Finding
from handbell.analysis.doubt.suspicion import findings_of
from handbell.analysis.past.history import past_classes
from handbell.analysis.past.taps import taps_of
from handbell.coach.library.shelf import load_library
from handbell.report.over_time.group import group_report
from handbell.store import open_store

BEGIN, END = "<!-- made by tests/bench/doubt.py -->", "<!-- end of what doubt.py made -->"
WANTED = {
    doubtful.DOUBLED: ("double-press",),
    doubtful.LUMPED: ("lumped", "double-press", "too-fast"),
    doubtful.FOR_TWO: ("tapped-for-two",),
    doubtful.BLOCK: ("exchanged",),
    doubtful.CLASS: ("exchanged",),
    doubtful.SLOW: ("group-day",),
}
NAMING = ("Going up", "Going down", "Talk to")


@dataclass
class Found:
    """``planted`` and whether it was found; ``people`` of clean seasons and who was ``suspected``.

    ``named`` tells of each season of steady people which sentences of the headline name somebody.
    """

    planted: list[tuple[str, bool]] = field(default_factory=list)
    people: int = 0
    suspected: list[Finding] = field(default_factory=list)
    flagged: int = 0
    named: list[tuple[str, ...]] = field(default_factory=list)


def run(count: int, seed: int = 1) -> Found:
    """Play seasons, plain and faint in turn."""
    found = Found()
    for n in range(count):
        how = (seasons.PLAIN, seasons.FAINT)[n % 2]
        _planted(found, seed + n, how)
        _clean(found, seed + n, how)
        _steady(found, seed + n, how)
    return found


def _planted(found: Found, seed: int, how: seasons.Strength) -> None:
    def plant(people: dict[int, seasons.Planted], rng: random.Random) -> list:
        paces = {bib: one.athlete.pace for bib, one in people.items()}
        return doubtful.planted(paces, seasons.EACH, rng)

    truth, told = _played(seed, how, planted=plant)
    for odd in truth.odd:
        kind = next(name for name in WANTED if odd.name.startswith(name))
        found.planted.append((odd.name, _hit(odd, WANTED[kind], told[odd.week])))


def _hit(odd, wanted: Sequence[str], told: Sequence[Finding]) -> bool:
    """A pair must be named as one; of a slower group nobody may be named."""
    if not odd.bibs:
        return any(f.name in wanted for f in told) and not any(f.bibs for f in told)
    return any(f.name in wanted and set(odd.bibs) == set(f.bibs) for f in told)


def _clean(found: Found, seed: int, how: seasons.Strength) -> None:
    truth, told = _played(seed + 50_000, how, odd=False)
    some = [f for of_class in told for f in of_class if f.name not in OF_BOX and f.bibs]
    found.suspected += some
    found.flagged += len({bib for f in some for bib in f.bibs})
    found.people += len(truth.people)


def _steady(found: Found, seed: int, how: seasons.Strength) -> None:
    rng = random.Random(seed)
    people = {
        bib: seasons.steady(bib, rng, how) for bib in range(1, seasons.LANES * seasons.EACH + 1)
    }
    with tempfile.TemporaryDirectory() as folder:
        with open_store(str(Path(folder) / "store.sqlite")) as store:
            seasons.play(store, seed + 90_000, how=how, odd=False, people=people)
            report = group_report(store)
    found.named.append(tuple(s for s in report.headline if s.startswith(NAMING)))


def _played(seed: int, how: seasons.Strength, **odd):
    library = load_library()
    with tempfile.TemporaryDirectory() as folder:
        with open_store(str(Path(folder) / "store.sqlite")) as store:
            truth = seasons.play(store, seed, how=how, **odd)
            classes = past_classes(store)
            told = [
                findings_of(one, taps_of(store, one.row.id), library, classes[:n])
                for n, one in enumerate(classes)
            ]
    return truth, told


def tables(found: Found) -> str:
    """Return all that was found, as Markdown."""
    lines = ["| planted in half the windows of a class | planted | found |", "| --- | --- | --- |"]
    for name in dict.fromkeys(name for name, _ in found.planted):
        hits = [hit for planted, hit in found.planted if planted == name]
        lines.append(f"| {name} | {len(hits)} | {_share(sum(hits), len(hits))} |")
    names = ", ".join(
        f"{name} {sum(f.name == name for f in found.suspected)}"
        for name in dict.fromkeys(f.name for f in found.suspected)
    )
    clean = sum(not one for one in found.named)
    said = [s.split(":")[0].split(" B")[0] for one in found.named for s in one]
    lines += [
        "",
        f"Clean people suspected of anything within a season: "
        f"{_share(found.flagged, found.people)} ({names or 'none'}).",
        "",
        f"Seasons of steady people in which the group's headline names nobody: "
        f"{_share(clean, len(found.named))}"
        f" ({', '.join(f'{w} {said.count(w)}' for w in dict.fromkeys(said)) or 'none'}).",
    ]
    return "\n".join(lines)


def main() -> None:
    """Play, print, and write if told."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seasons", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", type=Path, metavar="PAGE", help="replace the tables on a page")
    args = parser.parse_args()
    began = time.process_time()
    found = run(args.seasons, args.seed)
    seconds = time.process_time() - began
    text = f"{args.seasons} seasons of each sort, {seconds:.0f} s of processor time.\n\n"
    text += tables(found)
    print(text)
    if args.write is not None:
        page = args.write.read_text(encoding="utf-8")
        head, _, rest = page.partition(BEGIN)
        _, _, tail = rest.partition(END)
        args.write.write_text(f"{head}{BEGIN}\n{text}\n{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
