"""The few sentences at the top of a report: what a coach wants to know within a minute."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from handbell.analysis.fade import Form, whole_seconds
from handbell.analysis.summary import Person, Series
from handbell.base.times import whole_clock
from handbell.base.words import few, listed, several
from handbell.report.words import faded_by
from handbell.store.results.effort import Effort
from handbell_core import timeline as t

from .odd import MOST_NAMED, Named


def headline(
    class_id: int,
    everybody: Sequence[Person],
    never: Collection[int],
    ratings: Mapping[int, int],
    named: Named,
    odd: int,
) -> list[str]:
    """Return the sentences, the most useful first; who never pressed missed nothing.

    Of ``never`` it is asked whether they were absent.
    """
    people = [p for p in everybody if not p.never_pressed]
    if everybody and not people:
        return ["Nobody pressed anything in this class, so nothing counts as made or missed."]
    found = [
        *_targets(people, named),
        *_holds_and_goals(people, named),
        *_never(class_id, never, named),
        *_left_early(people, named),
        *_set_aside(people, named),
        *_doubtful(people, named),
        *_rest(people, named),
        *_faded(people, named),
        *_ratings(people, ratings, named),
    ]
    if odd:
        found.append(f"{several(odd, 'thing is', 'things are')} odd: see the list further down.")
    return found


def _targets(people: Sequence[Person], named: Named) -> list[str]:
    with_targets = [p for p in people if p.sure_targets]
    if not with_targets:
        return []
    missed = sorted(
        (p for p in with_targets if p.sure_targets_made < p.sure_targets),
        key=lambda p: p.sure_targets_made / p.sure_targets,
    )
    unknown = sum(p.unknown for p in people)
    in_doubt = sum(p.targets - p.sure_targets for p in people)
    broken = sum(p.broken for p in people)
    left_out = _left_out(in_doubt, broken)
    if not missed and unknown:
        return [f"Every target on record was made; of {unknown} it is not known{left_out}."]
    if not missed and left_out:
        return [f"Every target was made{left_out}."]
    if not missed:
        return ["Everyone made every target."]
    made = sum(p.sure_targets_made for p in with_targets)
    planned = sum(p.sure_targets for p in with_targets)
    said = [f"{named(p.bib)} ({p.sure_targets_made} of {p.sure_targets})" for p in missed]
    some = listed(few(said, MOST_NAMED))
    return [f"Targets made: {made} of {planned}{left_out}. Missed some: {some}."]


def _left_out(in_doubt: int, broken: int) -> str:
    """Say how many targets nothing is said of, "" for none."""
    some = []
    if in_doubt:
        some.append(f"{several(in_doubt, 'that is', 'that are')} in doubt")
    if broken:
        some.append(f"{several(broken, 'that was', 'that were')} paused, cut short or stopped")
    return f", leaving out {listed(some)}" if some else ""


def _holds_and_goals(people: Sequence[Person], named: Named) -> list[str]:
    """Say what was not kept or met beside the targets; nothing where all was."""
    found = []
    holds, kept = (sum(p.sure_holds for p in people), sum(p.sure_holds_kept for p in people))
    if kept < holds:
        found.append(f"Holds kept: {kept} of {holds}.")
    missed = sorted(
        (p for p in people if p.sure_goals_made < p.sure_goals),
        key=lambda p: p.sure_goals_made / p.sure_goals,
    )
    if missed:
        said = [f"{named(p.bib)} ({p.sure_goals_made} of {p.sure_goals})" for p in missed]
        found.append(f"Missed goals: {listed(few(said, MOST_NAMED))}.")
    return [" ".join(found)] if found else []


def _never(class_id: int, never: Collection[int], named: Named) -> list[str]:
    if not never:
        return []
    who = listed(named(bib) for bib in never)
    bibs = " ".join(map(str, never))
    return [f"{who} never pressed: absent? handbell bibs {class_id} --absent {bibs}."]


def _left_early(people: Sequence[Person], named: Named) -> list[str]:
    said = [
        f"{named(p.bib)} (after {whole_clock(p.left_after_ms)})"
        for p in people
        if p.left_after_ms is not None
    ]
    return [f"Left early? No press to the end: {listed(few(said, MOST_NAMED))}."] if said else []


def _set_aside(people: Sequence[Person], named: Named) -> list[str]:
    some = [named(p.bib) for p in people if p.set_aside]
    return [f"All that {listed(few(some, MOST_NAMED))} tapped was set aside."] if some else []


def _doubtful(people: Sequence[Person], named: Named) -> list[str]:
    """Say whose data is in doubt as a whole, then whose in some exercises."""
    found = []
    partly = [p for p in people if p.doubtful_in and not p.all_doubtful]
    names = list(dict.fromkeys(name for p in partly for name in p.doubtful_in))
    of = f" in {listed(names)}" if len(names) <= MOST_NAMED else " in some exercises"
    for some, where in (([p for p in people if p.all_doubtful], ""), (partly, of)):
        if some:
            who = listed(few([named(p.bib) for p in some], MOST_NAMED))
            found.append(f"The data of {who}{where} is in doubt and ranked nowhere: see below.")
    return found


def _rest(people: Sequence[Person], named: Named) -> list[str]:
    """Compare those in no doubt; where there are none, all who are in doubt in the same."""
    some = [p for p in people if not p.doubtful_in]
    left_out = ""
    partly = [p for p in people if p.doubtful_in and not p.all_doubtful]
    if not some and len({frozenset(p.doubtful_in) for p in partly}) == 1:
        some = partly
        left_out = f", {listed(few(partly[0].doubtful_in, MOST_NAMED))} left out"
    most = max(some, key=lambda p: p.sure_rest_ms, default=None)
    if most is None or most.sure_rest_ms <= 0:
        return []
    rest = whole_clock(most.sure_rest_ms)
    return [f"Most rest earned{left_out}: {named(most.bib)}, {rest} in all."]


def _faded(people: Sequence[Person], named: Named) -> list[str]:
    faded = [p.most_faded for p in people if p.most_faded is not None]
    if not faded:
        return []
    faded.sort(key=lambda s: s.fade.percent or 0.0, reverse=True)
    said = [
        f"{named(s.bib)} in {s.name}, {_series(s)} (fade {_fade(s)})" for s in faded[:MOST_NAMED]
    ]
    return [f"Faded most: {'; '.join(said)}."]


def _fade(series: Series) -> str:
    return faded_by(series.fade.percent, series.fade.at_least)


def _series(series: Series) -> str:
    form = series.fade.form
    if form is Form.HELD:
        return f"{', '.join(str(whole_seconds(e.held_ms or 0)) for e in series.efforts)} s held"
    timed = [e.finish_ms is not None and bool(e.made) for e in series.efforts]
    if form is Form.PACE and all(timed):
        seconds = (str(whole_seconds(e.finish_ms or 0)) for e in series.efforts)
        return f"{', '.join(seconds)} s to the target"
    if form is Form.PACE:
        rounds = zip(series.efforts, timed, strict=True)
        return ", ".join(_of_target(e, known) for e, known in rounds)
    return f"{', '.join(str(e.reps) for e in series.efforts)} reps"


def _of_target(e: Effort, timed: bool) -> str:
    if timed:
        return f"made in {whole_seconds(e.finish_ms or 0)} s"
    if e.made:
        return "made"
    return "not finished" if e.tap == t.TAP_FINISH and not e.reps else f"{e.reps} of {e.goal}"


def _ratings(people: Sequence[Person], ratings: Mapping[int, int], named: Named) -> list[str]:
    given = [ratings[p.bib] for p in people if p.bib in ratings]
    if not given:
        return []
    mean = sum(given) / len(given)
    spread = f", from {min(given)} to {max(given)}" if len(given) > 1 else ""
    silent = [named(p.bib) for p in people if p.bib not in ratings]
    said = f"How hard it was: {mean:.1f} of 10 on average{spread}."
    if silent and len(silent) <= MOST_NAMED:
        said += f" No answer from {listed(silent)}."
    elif silent:
        said += f" No answer from {len(silent)} people."
    return [said]
