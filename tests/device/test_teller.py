"""What makes telegrams and begins them at their instant, on a remote and on a box; time is ours."""

import time
from types import SimpleNamespace

import pytest

from box.loop import IDLE, Loop
from box.past import Past
from box.requests import _key_of
from box.teller import AHEAD_MS, SPIN_US, Teller, repeat
from handbell_core.agreement import RUNS, Act
from handbell_core.bursts_out import lasts_us
from handbell_core.clock import ClockModel
from handbell_core.journal import HEEDS, parse_record, record
from handbell_core.slots import AGAIN_MS, END_MS, SLOT_MS
from handbell_core.telegram import KEY_SIZE, unpack
from made import LedBox, lead_in, window

KEY, STATIONS = bytes(range(KEY_SIZE)), 24
UTC_US = 1_700_000_010_000_000
STEP_US = 500


class Bench:
    """A teller on a box of its own time; ``room_us`` is what its loop has before the next cue."""

    def __init__(self, monkeypatch, leads=False, station=5, model=ClockModel(UTC_US, 0)):  # noqa: B008
        self.us = 0
        self.room_us = 1_000_000
        self.sent = []  # when it began, what, when it ended
        self.heard = []
        self.remote = leads
        self.station = station
        monkeypatch.setattr(time, "ticks_us", self.tick, raising=False)
        self.model = model
        self.session = SimpleNamespace()
        self.load()
        self.teller = Teller(self.session, self, leads)
        self.loop = Loop((), lambda tick: self.room_us, lambda name, error: pytest.fail(str(error)))
        self.loop.jobs += (self.teller.job(),)

    def load(self):
        self.box = LedBox([lead_in(), window(600_000)], self.model)
        self.box.runner.heed()
        vars(self.session).update(
            runner=self.box.runner,
            clock=self.box.runner.clock,
            key=KEY + bytes((STATIONS,)),
            storage=SimpleNamespace(settings={"station": self.station, "remote": self.remote}),
            keeper=SimpleNamespace(box_us=lambda: self.us),
            hear=lambda data, tick: self.heard.append(data),
        )

    def tick(self):
        self.us += 10  # so that who spins gets on
        return self.us

    def is_busy(self):
        return bool(self.sent) and self.us < self.sent[-1][2]

    def send(self, data):
        self.sent.append((self.us, data, self.us + lasts_us(data)))
        return self.sent[-1][2]

    def act(self, number, at_ms=200_000):
        assert self.box.runner.hear(Act(number, RUNS, 0, at_ms), self.us // 1000)

    def run_to(self, ms):
        while self.us < ms * 1000:
            self.loop.turn(STEP_US)
            self.us += STEP_US

    def numbers(self):
        found = []
        for _, data, end_us in self.sent:
            act = unpack(KEY, self.box.runner.head.plan, data, end_us // 1000)
            assert act is not None and abs(act.at_ms - 200_000) <= 2  # it tells the instant right
            found.append(act.number)
        return found


def slots_of(bench):
    """How long after a slot's begin each telegram ended, in ms, and which slots."""
    ahead_ms = bench.session.clock.base_utc_ms
    ends_ms = [ahead_ms + end_us / 1000 for *_, end_us in bench.sent]
    return [ms % SLOT_MS for ms in ends_ms], [int(ms // SLOT_MS) for ms in ends_ms]


def test_a_box_repeats_twice_each_time_at_the_end_of_its_slot(monkeypatch):
    bench = Bench(monkeypatch)
    bench.run_to(1_000)
    bench.act(1)
    bench.run_to(20_000)
    after_ms, slots = slots_of(bench)
    assert bench.numbers() == [1, 1] and slots[1] - slots[0] == 36
    assert after_ms == pytest.approx([END_MS, END_MS], abs=0.2)


def test_a_remote_tells_each_act_at_once_and_then_on(monkeypatch):
    bench = Bench(monkeypatch, leads=True, station=0)
    bench.act(1)
    bench.run_to(3_100)
    bench.act(2)
    bench.run_to(3_100 + 6_200)
    after_ms, _ = slots_of(bench)
    assert after_ms == pytest.approx([END_MS] * len(after_ms), abs=0.2)
    numbers = bench.numbers()
    assert numbers == sorted(numbers) and numbers.count(2) == 9
    begins_us = [at_us for at_us, *_ in bench.sent]
    first_us = begins_us[numbers.index(2)]
    assert first_us < 3_100_000 + SLOT_MS * 1000 + END_MS * 1000
    bench.run_to(24_000)
    rests_us = bench.sent[-1][2] - bench.sent[-2][2]
    assert AGAIN_MS - 3 * SLOT_MS <= rests_us / 1000 <= AGAIN_MS


def test_a_telegram_that_is_made_is_dropped_for_a_newer_act(monkeypatch):
    for late_ms in (-AHEAD_MS // 2, 1):
        bench = Bench(monkeypatch)
        bench.act(1)
        slot_ms = Teller(bench.session, bench, False)._new_telling(bench.box.runner).slot_ms(1)
        bench.run_to(slot_ms + late_ms)
        assert bench.teller._ready and not bench.sent
        bench.act(2)
        bench.run_to(30_000)
        assert bench.numbers() == [2, 2]


def test_without_room_before_a_cue_its_slot_is_left_out(monkeypatch):
    bench = Bench(monkeypatch)
    bench.act(1)
    bench.room_us = 5_000
    bench.run_to(9_000)
    assert bench.sent == []
    bench.room_us = 1_000_000
    bench.run_to(30_000)
    assert bench.numbers() == [1, 1]


def test_a_telegram_that_would_be_late_is_not_sent_and_counts_for_nothing(monkeypatch):
    bench = Bench(monkeypatch)
    bench.act(1)
    while not bench.teller._ready:
        bench.run_to(bench.us // 1000 + 1)
    bench.us = bench.teller._begins + 2_000  # a write stopped the chip
    bench.run_to(bench.us // 1000 + 7_000)
    assert bench.sent == []
    bench.run_to(40_000)
    assert bench.numbers() == [1, 1]


@pytest.mark.parametrize("model", [None, ClockModel(UTC_US, 0, bound_us=20_001)])
def test_who_has_no_sure_clock_keeps_quiet(monkeypatch, model):
    bench = Bench(monkeypatch, model=model)
    bench.act(1)
    bench.run_to(20_000)
    assert bench.sent == [] and bench.teller.due_us(bench.us) == IDLE
    leads = Bench(monkeypatch, leads=True, model=model)
    leads.act(1)
    leads.run_to(2_000)
    assert len(leads.sent) >= 3  # a remote tells all the same


@pytest.mark.parametrize("station", [0, STATIONS + 1])
def test_a_box_at_no_station_of_the_class_keeps_quiet(monkeypatch, station):
    bench = Bench(monkeypatch, station=station)
    bench.act(1)
    bench.run_to(20_000)
    assert bench.sent == []


def test_an_older_host_told_no_number_of_stations(monkeypatch):
    bench = Bench(monkeypatch)
    bench.session.key = KEY + b"\0"
    bench.act(1)
    bench.run_to(20_000)
    assert bench.sent == []


def test_what_it_sees_while_it_sends_is_passed_over(monkeypatch):
    bench = Bench(monkeypatch)
    bench.act(1)
    bench.run_to(9_000)
    began_us, data, end_us = bench.sent[0]
    for tick in (began_us, end_us - 1, end_us, end_us + 1_990):
        bench.teller.hear(data, tick)
    assert bench.heard == []
    for tick in (began_us - 100, end_us + 2_100):
        bench.teller.hear(data, tick)
    assert len(bench.heard) == 2


def test_the_class_before_is_told_no_more(monkeypatch):
    bench = Bench(monkeypatch)
    bench.act(1)
    while not bench.teller._ready:
        bench.run_to(bench.us // 1000 + 1)
    bench.load()
    bench.run_to(30_000)
    assert bench.sent == []


def test_it_waits_for_its_instant_no_longer_than_it_says(monkeypatch):
    bench = Bench(monkeypatch)
    bench.act(1)
    waits = []
    inner = bench.teller.tell

    def tell(tick):
        ready, since = bench.teller._ready, bench.us
        inner(tick)
        if ready:
            waits.append(bench.us - since)

    bench.loop.jobs[0].run = tell
    bench.run_to(20_000)
    assert len(waits) == 2 and max(waits) <= SPIN_US + 100


def test_the_number_of_stations_comes_with_the_key_and_stays_behind_it():
    asked = {"key": KEY.hex(), "stations": STATIONS}
    assert _key_of(asked) == KEY + bytes((STATIONS,))
    assert _key_of({"key": KEY.hex()}) == KEY + b"\0"  # of a host of before
    assert _key_of({"stations": STATIONS}) == b""
    for wrong in (256, -1, "many"):
        with pytest.raises((ValueError, TypeError)):
            _key_of(asked | {"stations": wrong})
    past = Past(None, "00001.hbj")
    past.take(*parse_record(record(HEEDS, 0, 0, 0, _key_of(asked))))
    assert past.key == _key_of(asked)


def test_who_has_no_diode_or_leads_repeats_nothing(monkeypatch):
    bench = Bench(monkeypatch)
    loop = SimpleNamespace(jobs=())
    for remote, sender in ((False, None), (True, bench)):
        bench.session.storage.settings["remote"] = remote
        board = SimpleNamespace(sender=lambda sender=sender: sender)
        assert repeat(board, bench.session, loop) is bench.session.hear
        assert not loop.jobs
