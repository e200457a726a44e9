"""What the coach corrected in a class, each in a sentence with what had been counted."""

from __future__ import annotations

from collections.abc import Mapping

from handbell.base.words import several
from handbell.store.results.batches import exchanged, sayings_of, windows_words
from handbell.store.results.records import Amendment, ClassRecord, RunRow
from handbell.store.results.settle import BIB, HELD, NAME, NOTHING, REPS, TO_END
from handbell_core import timeline as t

from .odd import Named

Key = tuple[int, int, int]  # run, window and slot


def corrections(record: ClassRecord, named: Named) -> list[str]:
    """Return a sentence for each batch of amendments in force, the oldest first."""
    runs = {run.id: run for run in record.runs}
    standing = [a for a in record.amendments if a.undone_utc_us is None and a.run in runs]
    return [_sentence(some, runs, named) for some in sayings_of(standing)]


def was_there(record: ClassRecord) -> dict[Key, str]:
    """Return, by run, window and slot, what stood where the coach amended something, in words."""
    runs = {run.id: run for run in record.runs}
    found: dict[Key, str] = {}
    for a in record.amendments:
        if a.undone_utc_us is None and a.what != NAME and a.run in runs:
            window = runs[a.run].timeline.windows[a.window].at(a.slot)
            counted = HELD if window.ask == t.ASK_HOLD else REPS
            was = _was(a, counted, _unit(window.tap))
            found.setdefault((a.run, a.window, a.slot), was)
    return found


def _was(a: Amendment, counted: str, unit: str) -> str:
    if not a.was:
        return "had no record"
    return f"was bib {a.was}'s" if a.what == BIB else f"was {_value(counted, a.was, unit)}"


def _sentence(batch: list[Amendment], runs: Mapping[int, RunRow], named: Named) -> str:
    a = batch[0]
    by = f" ({a.who}: {a.why})" if a.who and a.why else f" ({a.who or a.why})"
    same = {(one.window, one.slot, one.bib) for one in batch}  # a spare's log tells of it, too
    if len(same) == 1:
        what = _what(batch[-1], runs[batch[-1].run], named)
    else:
        what = _of_several(batch, runs, named)
    return f"{what}{by if a.who or a.why else ''}."


def _of_several(batch: list[Amendment], runs: Mapping[int, RunRow], named: Named) -> str:
    places = []
    for one in batch:
        task = runs[one.run].timeline.windows[one.window].at(one.slot)
        places.append((task.name, task.round, one.window))
    a, where = batch[0], windows_words(places)
    if a.what == BIB:
        pair = exchanged((one.bib, int(one.value)) for one in batch)
        if pair:
            return f"Bib {pair[0]} and bib {pair[1]} exchanged, {where}"
        return f"{where}: bib {a.value} was there, not bib {a.bib}"
    if a.what == NOTHING:
        return f"{named(a.bib)}, {where}: set aside, it tells nothing"
    return f"{named(a.bib)}, {where}: {_value(a.what, a.value, 'rep')}"


def _what(a: Amendment, run: RunRow, named: Named) -> str:
    if a.what == NAME:
        who, was = a.value or "nobody known", a.was or "somebody unknown"
        return f"Bib {a.bib} was worn by {who}, not by {was}"
    window = run.timeline.windows.get(a.window)
    task = window.at(a.slot) if window else None
    where = f"{task.name}, round {task.round}" if task else f"window {a.window}"
    if a.what == BIB:
        return f"{where}: bib {a.value} was there, not bib {a.was or a.bib}"
    who = named(a.bib)
    if a.what == NOTHING:
        return f"{who}, {where}: set aside, it tells nothing"
    unit = _unit(task.tap if task else t.TAP_EACH)
    now, was = (_value(a.what, word, unit) for word in (a.value, a.was))
    return f"{who}, {where}: {now}, not {was}"


def _unit(tap: int) -> str:
    return "leg" if tap == t.TAP_LEG else "rep"


def _value(what: str, word: str, unit: str) -> str:
    if not word:
        return "nothing"
    if word == TO_END:
        return "held to the end"
    if what == REPS:
        return several(int(word), unit)
    return f"held {int(word) / 10:.1f} s" if what == HELD else word
