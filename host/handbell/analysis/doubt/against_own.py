"""What only those classes tell that people came to before: a day, a stranger, exchanged bibs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ..past.history import PastClass
from .exchange import WHOLE, Exchange, exchanges
from .finding import CLASS_WIDE, GROUP_DAY, Finding
from .jump import group_day, other_wearers
from .paces import beside_own, day_of_others


def against_own(past: PastClass, before: Sequence[PastClass]) -> Iterable[Finding]:
    """Return what is odd beside the own classes before, allowing for what the day did to all."""
    some = beside_own(past, before)
    day = group_day(some)
    if day:
        yield Finding(GROUP_DAY, (), 0, CLASS_WIDE, day)
    pairs = exchanges(past, before, {one.who.bib: day_of_others(some, one) for one in some})
    for pair in pairs:
        yield _exchanged(past, pair)
    told = {bib for pair in pairs for bib in pair.bibs}
    for jump in other_wearers(some):
        if jump.bib not in told:
            yield Finding("other-wearer", (jump.bib,), 0, CLASS_WIDE, jump.evidence)


def _exchanged(past: PastClass, pair: Exchange) -> Finding:
    whole = pair.block == WHOLE
    of = [
        e
        for who in past.people
        for e in who.efforts
        if who.bib in pair.bibs and (whole or e.block == pair.block)
    ]
    where = "in all of the class" if whole else f"in block {pair.block}"
    words = f"{where} each was as the other usually is; were the bibs exchanged?"
    return Finding(
        "exchanged",
        pair.bibs,
        0,
        CLASS_WIDE,
        words,
        (),
        None if whole else max(e.end_ms for e in of),
        -1 if whole else min(e.start_ms for e in of),
    )
