"""What two readers said of the library, not knowing its marks, against what `swap` proposes."""

import pytest
from made_loads import PAGE, marks, page

from handbell.coach.library.entry import IMPACTS
from handbell.coach.library.loads import LOADS, MOVED_BY
from handbell.coach.library.shelf import load_library
from handbell.coach.swap.rank import Surroundings, Wish, beyond, choices
from handbell.coach.swap.sore import strained

LIBRARY = load_library()
MARKS = marks()
BARE = Surroundings()


def test_the_readers_marked_every_exercise():
    assert set(MARKS) == set(LIBRARY.entries)
    assert all({part for one in said for part in one} <= set(LOADS) for said in MARKS.values())


@pytest.mark.parametrize("reader", [0, 1])
def test_whatever_a_reader_marked_the_library_marks(reader):
    for entry in LIBRARY.entries.values():
        assert set(MARKS[entry.id][reader]) <= set(entry.bears), entry.id


@pytest.mark.parametrize("reader", [0, 1])
def test_nothing_is_proposed_that_a_reader_says_loads_the_sore_part(reader):
    pairs = answered = 0
    for old in LIBRARY.entries.values():
        for part in MARKS[old.id][reader]:
            wish = Wish("sore", (part,))
            found = choices(LIBRARY, old, wish, BARE) or beyond(LIBRARY, old, wish, BARE)
            pairs += 1
            answered += bool(found)
            for choice in found:
                assert part not in MARKS[choice.entry.id][reader], (old.id, part, choice.entry.id)
                assert choice.entry.level <= old.level
                assert IMPACTS.index(choice.entry.impact) <= IMPACTS.index(old.impact)
    assert answered >= 0.8 * pairs


@pytest.mark.parametrize("reader", [0, 1])
@pytest.mark.parametrize("muscle", MOVED_BY)
def test_a_sore_muscle_is_spared_what_a_reader_says_loads_its_joints(muscle, reader):
    joints, wish = set(MOVED_BY[muscle]), Wish("sore", (muscle,))
    for old in LIBRARY.entries.values():
        if joints.isdisjoint(MARKS[old.id][reader]):
            continue
        assert strained(old, wish.sore), old.id
        for choice in choices(LIBRARY, old, wish, BARE) or beyond(LIBRARY, old, wish, BARE):
            assert joints.isdisjoint(MARKS[choice.entry.id][reader]), (old.id, choice.entry.id)


def test_the_readers_agree_with_each_other():
    """Else their marks would say little: 94 % of all entries and parts."""
    cells = [(said, part) for said in MARKS.values() for part in LOADS]
    alike = sum((part in said[0]) is (part in said[1]) for said, part in cells)
    assert alike / len(cells) > 0.9


def test_the_page_of_loads_is_current():
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python tests/made_loads.py"
