"""A plan's numbers as people read them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handbell.base.times import clock
from handbell.base.words import few

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from handbell.cli.output import Out
    from handbell.coach.numbers.against import Measure
    from handbell.coach.numbers.numbers import Range, Share
    from handbell.coach.numbers.work_rest import Bout
    from handbell.work.planning.check import Compared
    from handbell.work.planning.numbers import PlanNumbers

BOUTS_SHOWN = 4
SHARES_SHOWN = 3  # of more sorts of people, the later ones are summed up
WHAT_IT_IS = (
    "* estimated for a group of adults, never measured; no measure of what anybody can or should do"
)
FROM_WHAT = "handbell check --sources says from what."
VERDICTS = {"less": "less rest than", "as": "as much rest as", "more": "more rest than"}


def print_numbers(numbers: PlanNumbers, out: Out) -> None:
    """Print what one person does, and what of it is estimated."""
    count = len(numbers.shares)
    told = count if count <= SHARES_SHOWN else SHARES_SHOWN - 1
    for share in numbers.shares[:told]:
        people = f"For {', '.join(share.who)}" if count > 1 else "For one person"
        out.line(f"{people}:")
        lines = [*_share_lines(share)]
        if count == 1:
            lines[3:3] = [("Pauses after it", _rests(numbers))]
        out.pairs(lines)
    if others := numbers.shares[told:]:
        people = ", ".join(who for share in others for who in share.who)
        out.line(f"From the least to the most for one of {people}:")
        out.pairs(_others_lines(others))
    if count > 1:
        out.line("From the least to the most for anybody:")
        out.pairs([("Pauses after each", _rests(numbers))])
    if numbers.bouts:
        star = " *" if any(bout.estimated for bout in numbers.bouts) else ""
        out.pairs(
            [(f"Work to rest{star}", "; ".join(few([*_bouts_words(numbers.bouts)], BOUTS_SHOWN)))]
        )
    out.line(f"  {WHAT_IT_IS}{'.' if numbers.sources else f'; {FROM_WHAT}'}")
    out.lines(f"  {source}." for source in numbers.sources)


def print_against(compared: Compared, out: Out) -> None:
    """Print what differs from another plan."""
    out.line(f"Against {compared.file}:")
    rows = [
        (
            f"  {m.what}{' *' if m.estimate else ''}",
            _range(m.last, m.unit),
            _range(m.now, m.unit),
            _change(m),
        )
        for m in compared.measures
    ]
    out.table(("", "last", "now", "change"), rows, right=(1, 2, 3))
    for word, names in (("New", compared.new), ("Gone", compared.gone)):
        if names:
            out.line(f"  {word}: {', '.join(names)}.")
    out.lines(f"  {words}" for words in compared.changed)
    if not (compared.new or compared.gone or compared.changed):
        out.line("  The same exercises, asked for as often.")


def _share_lines(share: Share) -> list[tuple[str, str]]:
    if not share.exercises:
        return [("Work, rest", f"none, {_value(share.rest_ms, 'ms')}")]
    no_rest = "no rest but what is earned" if share.earned_rest_ms.most else "no rest"
    ratio = f"work to rest 1 : {share.rest_ms / max(share.work_ms, 1):.2f}"
    star = " *" if any(e.unit != "reps" for e in share.exercises) else ""  # a list's time is
    lines = [
        ("Work, rest", f"{_value(share.work_ms, 'ms')}, {_value(share.rest_ms, 'ms')}"),
        ("Density", f"{share.density_percent:.0f} %, {ratio if share.rest_ms else no_rest}"),
        (f"Work by pattern{star}", _patterns(share.work_by_pattern_ms)),
        (f"On the floor{star}", _value(share.floor_ms, "ms")),
        (f"With hard landings{star}", _landings(share)),
        ("Likely reps *", _reps(share)),
    ]
    if share.earned_rest_ms.most:
        lines.append(("Earned rest *", _range(share.earned_rest_ms, "ms")))
    lines.append(("Energy *", _energy(share.kcal_per_kg)))
    return lines


def _others_lines(shares: Sequence[Share]) -> list[tuple[str, str]]:
    """Return the numbers of several sorts of people as ranges."""
    from handbell.coach.numbers.numbers import one, over

    patterns = dict.fromkeys(p for share in shares for p in share.work_by_pattern_ms)

    def work_in(pattern: str) -> Range:
        return over(shares, lambda s: one(s.work_by_pattern_ms.get(pattern, 0)))

    by_pattern = {pattern: work_in(pattern) for pattern in patterns}
    longest = sorted(by_pattern.items(), key=lambda item: -item[1].most)
    work, rest = over(shares, lambda s: one(s.work_ms)), over(shares, lambda s: one(s.rest_ms))
    hard = over(shares, lambda s: one(s.high_impact_ms))
    landings = over(shares, lambda s: s.landings)
    count = f", {_range(landings, 'reps')} landings *" if landings.most else ""
    lines = [
        ("Work, rest", f"{_range(work, 'ms')}, {_range(rest, 'ms')}"),
        ("Work by pattern", ", ".join(f"{p} {_range(r, 'ms')}" for p, r in longest)),
        ("On the floor", _range(over(shares, lambda s: one(s.floor_ms)), "ms")),
        ("With hard landings", f"{_range(hard, 'ms')}{count}"),
        ("Likely reps *", f"{_range(over(shares, lambda s: s.likely_reps), 'reps')} in all"),
    ]
    earned = over(shares, lambda s: s.earned_rest_ms)
    if earned.most:
        lines.append(("Earned rest *", _range(earned, "ms")))
    lines.append(("Energy *", _energy(over(shares, lambda s: s.kcal_per_kg))))
    return lines


def _rests(numbers: PlanNumbers) -> str:
    parts = (f"{p} {_range(r, 'ms')}" for p, r in numbers.rest_by_pattern_ms.items() if r.most)
    earn = [bool(share.earned_rest_ms.most) for share in numbers.shares]
    but = " but what is earned" if all(earn) else " but what some earn" if any(earn) else ""
    return ", ".join(parts) or f"none{but}"


def _patterns(work_ms: dict[str, int]) -> str:
    longest = sorted(work_ms.items(), key=lambda item: -item[1])
    return ", ".join(f"{pattern} {_value(ms, 'ms')}" for pattern, ms in longest)


def _landings(share: Share) -> str:
    light = f"; with light steps {_value(share.low_impact_ms, 'ms')}" if share.low_impact_ms else ""
    count = f", {_range(share.landings, 'reps')} landings *" if share.landings.most else ""
    return f"{_value(share.high_impact_ms, 'ms')}{count}{light}"


def _reps(share: Share) -> str:
    parts = []
    for e in share.exercises:
        if e.likely is None:
            continue
        of = f" of {e.asked}" if e.asked and e.ask == "target" else ""
        wish = f" (goal {e.asked})" if e.asked and e.ask == "open" else ""
        above = f" (a target of {e.too_many} is more than most make)" if e.too_many else ""
        unit = "" if e.unit == "reps" else f" {e.unit}"
        parts.append(f"{e.name} {_range(e.likely, 'reps')}{of}{unit}{wish}{above}")
    if not parts and all(e.ask == "hold" for e in share.exercises):
        return "none to make, only holds"
    return ", ".join(parts) or "the library knows none of these"


def _energy(kcal: Range) -> str:
    from handbell.coach.numbers.numbers import EXAMPLE_KG, Range

    example = Range(kcal.least * EXAMPLE_KG, kcal.most * EXAMPLE_KG)
    return f"{_range(kcal, 'kcal/kg')} kcal per kg; for {EXAMPLE_KG} kg {_range(example, 'kcal')}"


def _bouts_words(bouts: Iterable[Bout]) -> Iterator[str]:
    """Yield bouts of one length that compare alike with the table, together."""
    from handbell.coach.numbers.numbers import Range

    alike: dict[tuple[int, str], list[Bout]] = {}
    for bout in bouts:
        alike.setdefault((bout.work_ms, bout.verdict), []).append(bout)
    for (work_ms, verdict), found in sorted(alike.items()):
        rests = Range(min(b.rest_ms for b in found), max(b.rest_ms for b in found))
        ratios = Range(rests.least / work_ms, rests.most / work_ms)
        times = f"{_value(work_ms, 'ms')} then {_range(rests, 'ms')} (1 : {_range(ratios, 'x')})"
        row = found[0].row
        if row is None:
            yield f"{times}, a length that the table has no row for"
        else:
            yield f"{times}, {VERDICTS[verdict]} the table's 1 : {row.least} to 1 : {row.most}"


def _range(both: Range, unit: str) -> str:
    least, most = _value(both.least, unit), _value(both.most, unit)
    return least if least == most else f"{least} to {most}{' kcal' if unit == 'kcal' else ''}"


def _value(value: float, unit: str) -> str:
    if unit == "ms":
        return clock(round(value / 1000) * 1000 if value % 100 else int(value))
    if unit == "percent":
        return f"{value:.1f} %"
    if unit == "x":
        return f"{value:.2g}"
    return f"{value:.2f}" if unit == "kcal/kg" else f"{value:.0f}"


def _change(m: Measure) -> str:
    if m.last == m.now:
        return "same"
    if m.last.least != m.last.most or m.now.least != m.now.most:
        return ""
    by = m.now.least - m.last.least
    unit = " points" if m.unit == "percent" else ""
    value = f"{abs(by):.1f}" if m.unit == "percent" else _value(abs(by), m.unit)
    return f"{'+' if by > 0 else '-'}{value}{unit}"
