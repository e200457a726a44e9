from air import Chance
from slots_hall import WHOLE, Hall, evenly

from handbell_core.slots import REMOTE, SLOT_MS, TOLD_MS

OFF_MS = 20


def links(seed, stations, deaf=0):
    """Each link's own chance; ``deaf`` in 100 of them let nothing through."""
    chance = Chance(seed)
    many = stations + 1
    lets = bytearray(many * many)
    for n in range(len(lets)):
        if chance.below(100) >= deaf:
            lets[n] = chance.below(256)
    return lambda sender, hearer, number: lets[sender * many + hearer] * (WHOLE // 255)


def test_all_hear_of_each_act_and_telegrams_of_one_never_cross():
    for stations in (1, 2, 5, 24):
        hall = Hall(stations, evenly(40, 60), stations, OFF_MS)
        for number in (1, 2, 3):
            hall.act()
            hall.run_for(20_000)
            assert hall.all_heard_ms(number) is not None
        hall.check()
        assert hall.crossed == 0
        for number in (1, 2, 3):
            told = [n for n, act, _ in hall.sent if act == number and n != REMOTE]
            assert all(told.count(n) <= 2 for n in told)
            assert len(told) == 2 * stations  # 20 s are long enough


def test_presses_in_quick_succession_agree_on_the_newest():
    for seed in range(6):
        stations = (3, 8, 24)[seed % 3]
        hall = Hall(stations, links(seed, stations, deaf=40), seed, OFF_MS)
        for _ in range(10):
            hall.act(100 + hall.chance.below(3_000))
            hall.run_for(20 + hall.chance.below((400, 1_500, 9_000)[seed % 3]))
            hall.check()
        hall.run_for(30_000)
        hall.check()
        newest = hall.remote.agreement.number
        knows = [node.agreement.number == newest for node in hall.nodes]
        assert all(knows) or stations < 24


def test_who_is_deaf_to_the_remote_hears_it_by_the_others():
    comes = lambda sender, hearer, number: 0 if sender == REMOTE and hearer > 1 else WHOLE  # noqa: E731
    hall = Hall(24, comes, 5, OFF_MS)
    hall.act()
    hall.run_for(9_500)
    assert hall.all_heard_ms(1) is not None
    alone = Hall(24, lambda sender, hearer, number: 0 if sender else comes(sender, hearer, 1), 5)
    alone.act()
    alone.run_for(60_000)
    assert alone.all_heard_ms(1) is None


def test_who_heard_nothing_tells_nothing():
    hall = Hall(6, evenly(0, 100), 3, OFF_MS)
    hall.act()
    hall.run_for(30_000)
    assert {n for n, *_ in hall.sent} == {REMOTE}
    last_ms = [at_ms for _, _, at_ms in hall.sent][len(TOLD_MS) - 1]
    assert last_ms - hall.sent[0][2] <= TOLD_MS[-1] and len(hall.sent) > len(TOLD_MS) + 3


def test_a_clock_that_is_further_off_talks_into_others():
    """What a box with an unsure clock would do, and why it keeps quiet."""
    hall = Hall(24, evenly(100, 100), 9, 2 * OFF_MS)
    hall.act()
    hall.run_for(20_000)
    assert hall.crossed > 0


def test_boxes_that_tell_an_old_act_cross_none_that_tells_a_newer_one():
    heard_ms = []
    for wait in range(0, 690, 23):
        hall = Hall(24, evenly(70, 50), wait, OFF_MS)
        hall.act()
        hall.run_for(3_000 + wait)
        hall.act()
        hall.run_for(9_000)
        assert hall.crossed == 0
        heard_ms.append(hall.all_heard_ms(2))
    assert sorted(heard_ms)[len(heard_ms) // 2] < 2_500


def test_only_a_new_acts_first_telegram_may_cross_anything():
    for wait in range(0, 690, 23):
        hall = Hall(24, evenly(70, 50), wait, OFF_MS)
        for _ in range(3):
            hall.act()
            hall.run_for(2_000 + wait)
        slots = [(round(at_ms / SLOT_MS), n, number) for n, number, at_ms in hall.sent]
        for slot, n, number in slots:
            others = [one for one in slots if one[0] == slot and one[1] != n]
            if others:
                told = [one for one in slots if one[2] == number and one[1] == n]
                its = [one for one in slots if one[2] == others[0][2] and one[1] == others[0][1]]
                assert (n == REMOTE and told[0][0] == slot) or its[0][0] == slot
