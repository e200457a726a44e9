"""Who is asked to tap: people whose turn at the buttons never comes while a block lasts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from handbell.compile.schedule import Schedule
from handbell.plan.faults import sentence
from handbell.plan.own_tasks import bibs_words
from handbell_core.timeline import WINDOW


def never_asked(schedule: Schedule) -> Iterator[str]:
    """Yield the blocks in which somebody takes part and no box ever counts them."""
    plan = schedule.plan
    there: dict[int, set[int]] = {}
    asked: dict[int, set[int]] = {}
    windows: Counter[int] = Counter()
    for stretch in schedule.stretches:
        if stretch.kind != WINDOW or not plan.groups:
            continue
        windows[stretch.block] += 1
        for post in schedule.at(stretch):
            if post.exercise.tap.rule != "none":
                there.setdefault(stretch.block, set()).update(post.people)
                asked.setdefault(stretch.block, set()).update(post.bibs(stretch.turn))
    for block, people in there.items():
        waiting = sorted(people - asked[block])
        if waiting:
            one_window = windows[block] == 1
            more = "more buttons" if one_window else "more buttons, or more rounds,"
            yield sentence(
                ("block", block - 1),
                f"{bibs_words(waiting)} {'is' if len(waiting) == 1 else 'are'} never asked to tap "
                f"in it; {more} let everybody's turn come",
            )
