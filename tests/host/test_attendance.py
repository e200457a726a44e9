"""Who should have come to a class, who came, may have left early, or never pressed."""

import classes
import pytest
from classes import Piece, Press

from handbell.analysis.attendance import left_early
from handbell.analysis.past.history import attendance, past_classes
from handbell.cli.main import main
from handbell.report import class_report
from handbell.report.over_time.group import group_report
from handbell.report.page import page
from handbell.store import open_store
from handbell_core import timeline as t

AT_US = (classes.START_UTC_MS + 900_000) * 1000
BLOCKS = (
    (Piece("Ring rows", 30, t.ASK_TARGET, goal=2), Piece("Plank", 30, t.ASK_HOLD, t.TAP_DROP)),
)


@pytest.fixture
def path(tmp_path, monkeypatch):
    where = tmp_path / "store.sqlite"
    monkeypatch.setenv("HANDBELL_STORE", str(where))
    data = classes.timeline(BLOCKS, (1, 2, 3, 4), rounds=4, rate=False)
    taps = [Press(s * 1000) for s in (11, 12, 71, 72, 131, 132, 191, 192)]
    taps += [Press(s * 1000, 1) for s in (13, 14)]  # bib 2 presses in the first window alone
    with open_store(str(where)) as store:
        store.put_timeline(data)
        run = classes.play(data, sorted(taps, key=lambda p: p.at_ms))
        store.ingest(run.journal, classes.BOX_IDS[0], AT_US)
    roster = tmp_path / "monday.csv"
    roster.write_text("name,bib,group\nAda,1,Mon\nBo,2,Mon\nCy,3,Mon\nDi,9,Mon\nEd,4,Tue\n")
    assert main(["roster", str(roster)]) == 0
    return where


def report():
    with open_store() as store:
        return class_report(store)


def test_who_never_pressed_is_in_no_sum_and_the_group_says_who_is_missing(path, capsys):
    assert main(["roster", "--wear", "newest", "--group", "Mon"]) == 0
    found = report()
    there = found.attendance
    assert (there.group, there.came, there.expected) == ("Mon", 2, 4)
    assert (there.never_pressed, there.missing, there.left_early) == (("Cy",), ("Di",), ("Bo",))
    cy = next(p for p in found.people if p.name == "Cy")
    assert cy.never_pressed and (cy.targets, cy.holds, cy.holds_kept) == (0, 0, 0)
    cells = [c for e in found.exercises for r in e.rows if r.name == "Cy" for c in r.cells]
    assert {(c.outcome, c.made, c.held_ms, c.reps) for c in cells} == {
        ("no press", None, None, None)
    }
    assert "2 of 4 of Mon came" in page(found) and "never pressed" in page(found)
    with open_store() as store:
        seen = past_classes(store)
        assert attendance(seen, "name cy").never == 1
        (week,) = group_report(store).weeks
    assert (week.came, week.planned, week.never) == (2, 3, 1), "bib 4 is nobody's"


def test_a_coachs_word_puts_somebody_there(path):
    main(["amend", "newest", "--bib", "3", "--window", "2", "--held", "end", "--why", "saw it"])
    cy = next(p for p in report().people if p.bib == 3)
    assert not cy.never_pressed and cy.holds_kept == 4 and cy.targets == 4


@pytest.mark.parametrize("wear_first", [True, False])
def test_an_absence_and_a_name_are_said_in_either_order(path, wear_first):
    said = (["roster", "--wear", "newest", "--group", "Mon"], ["bibs", "newest", "--absent", "3"])
    for command in said if wear_first else said[::-1]:
        assert main(command) == 0
    assert report().absent == ("Cy",) and report().attendance.absent == ("Cy",)


def test_who_answered_or_missed_few_windows_did_not_leave(path):
    from handbell.store.results.efforts import efforts
    from handbell.store.results.queries import load_class

    with open_store() as store:
        own = [e for e in efforts(load_class(store, 1)) if e.bib == 2]
    assert left_early(own, None, 250_000) == 40_000
    assert left_early(own, 7, 250_000) is None
    assert left_early(own[:5], None, 250_000) is None


def test_a_group_that_nobody_is_in_is_refused(path, capsys):
    assert main(["roster", "--wear", "newest", "--group", "Sun"]) == 2
    assert "Nobody on the roster is in" in capsys.readouterr().err


def test_who_shares_a_name_is_not_missing_where_they_came(path, tmp_path, capsys):
    two = tmp_path / "two.csv"
    two.write_text("name,bib,group\nMina,1,Mon\nMina,9,Tue\nBo,2,Mon\n")
    assert main(["roster", str(two), "--replace"]) == 0
    assert main(["roster", "--wear", "newest", "--group", "Mon"]) == 0
    there = report().attendance
    assert there.missing == () and there.came == 2
    with open_store() as store:
        (seen,) = past_classes(store)
        assert seen.missing == ()
