"""Boxes with a diode repeat what the remote says: the real firmware, and the air between."""

from remote_hall import KEY, Hall, assert_together

from handbell_core.bursts_out import lasts_us
from handbell_core.lead import GO_ON, PAUSE
from handbell_core.slots import END_MS, SLOT_MS, next_slot
from handbell_core.telegram import unpack
from handbell_core.timeline import HEADER_SIZE, Head

NEAR_US = 5_000  # of its slot's end; a busy machine keeps virtual boxes waiting


def test_who_is_deaf_to_the_remote_hears_another_box(tmp_path):
    hall = Hall(tmp_path, 2, repeats=True)
    with hall.rig:
        hall.load()
        hall.mirror = True
        hall.deaf = hall.boxes[1:]
        hall.arm()
        hall.works(PAUSE, hall.at(2_000))
        hall.run_to(hall.at(4_500))
        assert hall.states() == ["gate"] * 2
        slow = hall.step_us, hall.late_us
        hall.step_us, hall.late_us = 20_000, 22_000  # they see it once more as it is sent
        hall.holds(GO_ON, hall.at(4_500))
        hall.run_to(hall.at(8_300))
        hall.step_us, hall.late_us = slow
        hall.run_to(hall.at(15_500))
        assert hall.states() == ["play"] * 2
        late_us = 22_000  # of the air here, once more for what a box repeats
        assert_together(hall.bells_after(hall.at(8_000)), 2, late_us + 3_000)
        for n, sender in enumerate(hall.boxes, 1):
            told = told_by(hall, sender)
            assert len(told) >= 3 and all(told.count(number) <= 2 for number in told)
            assert_in_its_slots(hall, sender, n)
        assert not {t.data for t in hall.remote.telegrams} - all_of(hall, KEY)


def told_by(hall, sender):
    return [int.from_bytes(t.data[2:4], "little") for t in sender.telegrams]


def assert_in_its_slots(hall, sender, station):
    for telegram in sender.telegrams:
        ends_us = telegram.world_us + lasts_us(telegram.data) + hall.world.clock.start_utc_us
        slot, after_us = divmod(ends_us, SLOT_MS * 1000)
        assert abs(after_us - END_MS * 1000) < NEAR_US
        assert next_slot(slot, station, len(hall.boxes)) == slot


def all_of(hall, key):
    """What the remote sent that this key opens."""
    plan = Head.unpack(hall.data[-1][:HEADER_SIZE]).plan
    return {t.data for t in hall.remote.telegrams if unpack(key, plan, t.data, 0)}
