"""The battery: true from the first reading on, and low without flutter."""

import pytest

from box.power import Power

LIMIT_MV = 3_600


class Board:
    BATTERY_LOW_MV = LIMIT_MV

    def __init__(self, *readings):
        self.readings = list(readings)
        self.taken = 0

    def battery_mv(self):
        self.taken += 1
        return self.readings.pop(0) if len(self.readings) > 1 else self.readings[0]

    def on_usb(self):
        return False


def settled(board, mv):
    board.readings = [mv]
    return board


def test_the_first_reading_is_true_though_some_of_it_are_not():
    for wild in (0, 1_200, 6_600):
        power = Power(Board(wild, 3_900, wild, 3_910, 3_905, wild, 3_900))
        assert 3_900 <= power.mv <= 3_910 and not power.low, wild
    power = Power(Board(4_100, 3_400, 3_410, 3_405, 3_400))
    assert 3_400 <= power.mv <= 3_410 and power.low


def test_a_battery_that_is_switched_on_is_taken_for_what_it_is_at_once():
    board = Board(0)
    power = Power(board)
    assert power.low
    settled(board, 3_950)
    power.read()
    assert power.mv == 3_950 and not power.low


def test_a_dip_under_load_is_no_empty_battery():
    board = Board(3_800)
    power = Power(board)
    for _ in range(30):
        settled(board, 3_450)  # one reading while lamps and sounder draw most
        power.read()
        settled(board, 3_800)
        for _ in range(5):
            power.read()
        assert not power.low


def test_around_the_limit_it_is_called_low_once():
    board = Board(3_660)
    power = Power(board)
    changes = []
    for n in range(200):
        # Falling by 1 mV a reading, with 60 mV up and down from reading to reading.
        settled(board, 3_660 - n + (60 if n % 4 < 2 else -60))
        power.read()
        if not changes or power.low != changes[-1]:
            changes.append(power.low)
    assert changes == [False, True]


@pytest.mark.parametrize(("mv", "low"), [(3_600, True), (3_690, True), (3_705, False)])
def test_a_low_battery_is_well_again_only_some_way_above_the_limit(mv, low):
    board = Board(3_550)
    power = Power(board)
    assert power.low
    settled(board, mv)
    for _ in range(40):
        power.read()
    assert power.low is low
    settled(board, 3_595)
    for _ in range(40):
        power.read()
    assert power.low


def test_a_board_without_a_battery_is_never_low():
    board = Board(0)
    board.BATTERY_LOW_MV = 0
    power = Power(board)
    power.read()
    assert not power.low


def test_a_reading_costs_few_looks():
    board = Board(3_900)
    power = Power(board)
    board.taken = 0
    power.read()
    assert board.taken <= 10
