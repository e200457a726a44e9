"""A small run of the planted seasons beside this file: what advice must find, and not invent."""

import advice
import pytest
import season
from scipy import stats

from handbell.store import open_store
from handbell.store.database import tables


@pytest.fixture(scope="module")
def found():
    return advice.run(2, seed=11)


def share(found, kind, verdict):
    own = [s for s in found.said["two classes"] if s.kind == kind]
    return sum(s.verdict == verdict for s in own) / len(own)


@pytest.mark.parametrize("kind", advice.WANTED)
def test_everybody_planted_plainly_is_found(found, kind):
    said = [s for s in found.said["two classes"] if s.kind == kind]
    people = {(s.season, s.bib) for s in said}
    hit = {(s.season, s.bib) for s in said if s.verdict == advice.WANTED[kind]}
    assert hit == people and len(people) >= 4


def test_improvers_are_found_when_they_are_ready_and_not_before(found):
    said = [s for s in found.said["two classes"] if s.verdict == "harder"]
    assert {s.kind for s in said} <= {"improver"}
    early = [s for s in said if s.week < found.ready[s.season, s.bib] - 2]
    assert len(early) <= 0.1 * len(said)


def test_the_steady_are_left_alone(found):
    assert share(found, "steady", "harder") <= 0.01
    assert share(found, "steady", "easier") <= 0.05
    assert share(found, "steady", "ask") == 0


def test_only_idlers_are_asked_what_held_them_back(found):
    asked = {s.kind for s in found.said["two classes"] if s.verdict == "ask"}
    assert asked == {"idler"}


def test_one_class_alone_alarms_more_often(found):
    counts = {
        name: sum(s.kind == "steady" and s.verdict.startswith("easier") for s in said)
        for name, said in found.said.items()
    }
    assert counts["one class"] > counts["two classes"]


def test_planted_oddities_are_found_and_few_others(found):
    missed = [name for name, hit in found.planted if not hit]
    assert missed == [] and len(found.planted) == 14
    assert len(found.false) <= 0.01 * found.bib_classes


def test_journals_made_without_a_box_count_the_same_again(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as store:
        season.play(store, seed=5, weeks=2, odd=False)
        with store.reading() as conn:
            standings = set(conn.scalars(tables.results.select().with_only_columns(
                tables.results.c.standing)))  # fmt: skip
            notes = conn.execute(tables.notes.select()).all()
    assert standings == {"agreed"} and notes == []


@pytest.mark.parametrize(("part", "whole"), [(0, 10), (3, 7), (40, 40), (17, 2000)])
def test_the_interval_of_a_share_is_scipys(part, whole):
    # Wilson's interval, computed with scipy.stats.binomtest
    theirs = stats.binomtest(part, whole).proportion_ci(method="wilson")
    assert advice.wilson(part, whole) == pytest.approx((theirs.low, theirs.high), abs=1e-6)
