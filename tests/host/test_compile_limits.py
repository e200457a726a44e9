"""Large classes: they fit the format, and compile quickly."""

import io
import time

import pytest

from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell_core import timeline as t

GROUPS = "".join(
    f'[[group]]\nname = "G{n}"\nbibs = [{3 * n + 1}, {3 * n + 2}, {3 * n + 3}]\n' for n in range(24)
)
TOP = 'title = "T"\nbuttons = 2\nturns = "window"\n'


def exercises(count):
    return "".join(
        f'[[block.exercise]]\nname = "E{n}"\nwork_s = 30\nreps = {n + 1}\n' for n in range(count)
    )


def block(rounds):
    return f"[[block]]\nrounds = {rounds}\nrest_s = 10\nchange_s = 5\n"


def windows_of(data):
    reader = t.Reader(io.BytesIO(data))
    s = t.Span()
    return sum(reader.span(n, s).kind == t.WINDOW for n in range(reader.head.spans))


def test_five_thousand_windows():
    built = build(parse_plan(f'title = "T"\n{block(5000)}{exercises(1)}'.encode()))
    data = built.timelines[0].data
    assert built.totals.windows == windows_of(data) == 5000
    assert t.verify(io.BytesIO(data)).spans == 1 + 5000 + 4999
    assert built.totals.total_ms == 5000 * 30_000 + 4999 * 10_000


def test_the_most_windows_fit_the_format():
    one = exercises(1).replace("30", "5")
    plan = f'title = "T"\nlead_in_s = 0\n[[block]]\nrounds = 16000\n{one}'
    built = build(parse_plan(plan.encode()))
    assert t.verify(io.BytesIO(built.timelines[0].data)).windows == 16_000


CLASSES = {
    "lanes": TOP + GROUPS + block(250) + exercises(4),
    "rotation": 'layout = "rotation"\n' + TOP + GROUPS + block(42) + exercises(24),
}


@pytest.mark.parametrize("text", CLASSES.values(), ids=CLASSES)
def test_a_thousand_windows_on_24_boxes_take_no_longer_than_some_millions_of_sums(text):
    """Four times two million sums, where that took half a second; held to eight, in one run."""
    plan = parse_plan(text.encode())
    built = build(plan)
    assert (built.totals.boxes, built.totals.windows) in {(24, 1000), (24, 1008)}
    sums = _least_s(lambda: sum(n * n for n in range(2_000_000)))
    assert _least_s(lambda: build(plan)) < 8 * sums


def _least_s(do):
    """Processor time, best of three."""
    took = []
    for _ in range(3):
        began = time.process_time()
        do()
        took.append(time.process_time() - began)
    return min(took)
