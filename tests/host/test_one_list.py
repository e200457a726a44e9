"""One list: who struggles, coasts, fades, or whose data is doubtful; the gravest first, a line each."""

import pytest
from made_efforts import attended, effort, past

from handbell.analysis.doubt.finding import Finding
from handbell.analysis.lately import lately_of
from handbell.cli.main import main
from handbell.coach.advice.limits import load_limits
from handbell.report.one_list import one_list
from handbell_core import timeline as t

LIMITS = load_limits()
NAMES = ("Row", "Push-up")


def rounds(made, of=9, took_s=24.0):
    """Targets of three rounds an exercise, so many of them made."""
    return [
        effort(
            name=f"E{n // 3}", item=n // 3 + 1, round=n % 3 + 1, window=n + 1, bib=1,
            start_ms=60_000 * n, end_ms=60_000 * n + 30_000,
            reps=10 if n < made else 6,
            made_ms=60_000 * n + int(1000 * took_s) if n < made else None,
        )
        for n in range(of)
    ]  # fmt: skip


def fading(names=NAMES, each=(20, 16, 12)):
    return [
        effort(name=name, item=i, round=r, ask=t.ASK_OPEN, goal=0, reps=reps, made_ms=None,
               start_ms=(i * 10 + r) * 60_000, end_ms=(i * 10 + r) * 60_000 + 30_000)
        for i, name in enumerate(names, 1) for r, reps in enumerate(each, 1)
    ]  # fmt: skip


def listed(*people, findings=(), most=1, before=()):
    classes = [*before, past(people, len(before))]
    found = {classes[-1].row.id: findings}
    return one_list(lately_of(classes, lambda wanted: found, most), (), LIMITS)


def test_who_makes_few_and_does_not_call_it_easy_struggles():
    (one,) = listed(attended(1, rounds(3), rating=8, name="Bo"), attended(2, rounds(8)))
    assert (one.name, one.sort) == ("Bo", "struggles")
    assert one.why == "3 of 9 met, how hard: 8" and one.ask.startswith("Ask ")


def test_without_an_answer_few_is_still_a_struggle():
    (one,) = listed(attended(1, rounds(3), rating=None))
    assert one.sort == "struggles" and "no answer" in one.why


@pytest.mark.parametrize("made", [3, 6])
def test_who_makes_few_and_calls_it_easy_coasts(made):
    (one,) = listed(attended(1, rounds(made), rating=2))
    assert one.sort == "coasts" and "held them back" in one.ask


def test_who_makes_all_with_much_left_and_calls_it_easy_coasts():
    (one,) = listed(attended(1, rounds(9, took_s=15), rating=3))
    assert one.sort == "coasts" and "50 % of the window left" in one.why
    assert listed(attended(1, rounds(9, took_s=15), rating=6)) == ()
    assert listed(attended(1, rounds(9, took_s=25), rating=3)) == ()


def test_who_fades_in_two_exercises_is_named_with_the_worst():
    (one,) = listed(attended(1, fading()))
    assert (one.sort, one.why) == ("fades", "Row by 20 % and Push-up by 20 %")
    assert listed(attended(1, fading(NAMES[:1]))) == ()


def test_too_few_windows_tell_nothing():
    assert listed(attended(1, rounds(0, of=3), rating=9)) == ()


def test_a_person_has_one_line_the_gravest_reason_first():
    doubt = Finding("other-wearer", (1,), 0, "Row", "quicker than ever")
    some = rounds(1) + fading()
    (one,) = listed(attended(1, [*some, effort(name="Row", item=9)], rating=9), findings=[doubt])
    assert one.sort == "struggles"
    assert [also.split(":")[0] for also in one.also] == ["fades", "data in doubt"]


def test_what_is_in_doubt_makes_nobody_struggle():
    doubt = Finding("tapped-for-two", (1, 2), 0, "", "together")
    one, other = listed(attended(1, rounds(2), name="Bo"), attended(2, rounds(9), name="Cleo"),
                        findings=[doubt])  # fmt: skip
    assert (one.sort, other.sort) == ("data in doubt", "data in doubt")
    assert one.why == "together (with Cleo)" and one.ask == "Ask who pressed."


def test_the_group_looks_at_the_last_classes_of_each():
    good, poor = attended(1, rounds(9), rating=6), attended(1, rounds(2), rating=9)
    before = [past([good], 0), past([poor], 1), past([poor], 2)]
    (one,) = listed(poor, most=3, before=before)
    assert one.why == "over 3 classes 6 of 27 met, how hard: 9, 9 and 9"
    assert listed(good, most=3, before=[past([good], 0), past([good], 1)]) == ()


def test_the_gravest_sort_comes_first_and_in_it_who_has_it_worst():
    people = (
        attended(1, rounds(6), rating=2), attended(2, fading()), attended(3, rounds(4), rating=8),
        attended(4, rounds(1), rating=8), attended(5, rounds(9), rating=6),
    )  # fmt: skip
    assert [one.bib for one in listed(*people)] == [4, 3, 2, 1]


def test_with_list_needs_a_page(capsys):
    assert main(["report", "--with-list"]) == 2
    assert "--html" in capsys.readouterr().err
