"""Power fails at flash operations of every kind; the whole of it: tests/powercut/run.py --all."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from run import run

SHORT = ("Send", "Crowd", "Recover", "Erase", "GiveUp", "Settings")


def test_cut_at_any_operation_the_box_starts_and_holds_what_it_had(micropython):
    tallies, said = run(2, micropython, SHORT)
    assert [t.scenario for t in tallies] == list(SHORT)
    assert all(t.is_good for t in tallies), said
    assert all(t.cuts >= 4 for t in tallies)


def test_cut_at_any_operation_of_prepare_the_box_starts(micropython):
    """At two or three of seven operations, torn in turn; ``run.py --all`` tears each in all ways."""
    [tally], said = run(7, micropython, ("Prepare",))
    assert tally.is_good, said
    assert tally.cuts > 170


def test_cut_in_a_class_the_box_holds_every_stored_tap(micropython):
    [tally], said = run(37, micropython, ("Class",))
    assert tally.is_good, said
    assert tally.cuts > 80


def test_the_cuts_are_real_a_log_without_flush_loses_taps(micropython):
    [tally], _ = run(11, micropython, ("Unflushed",))
    assert tally.lost > 0 and tally.dead == 0
