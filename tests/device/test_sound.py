"""Which sound gives way: bells that all boxes ring together, and answers to one person's press."""

import time

import pytest

from box.sound import Sound
from handbell_core.cues import ANSWERS, CALL, EASE, GO, MADE, MOTIFS, NO_CUE, motif_ms
from made import ASK_TARGET, lead_in, rest, window
from rig import Rig, timeline

SHARED = sorted(set(MOTIFS) - set(ANSWERS))


class Output:
    def __init__(self, clock):
        self._clock = clock
        self.tone = self.duty = 0
        self.heard = []  # (tick, tone), tone 0 for silence, at each change

    def freq(self, hz):
        self.tone = hz
        self._hear()

    def duty_u16(self, duty):
        self.duty = duty
        self._hear()

    def _hear(self):
        tone = self.tone if self.duty else 0
        if self.heard and self.heard[-1][0] == self._clock[0]:
            self.heard.pop()  # changes of one moment are heard as one
        if tone != (self.heard[-1][1] if self.heard else 0):
            self.heard.append((self._clock[0], tone))


class Timer:
    ONE_SHOT = 0

    def __init__(self, clock):
        self._clock = clock
        self.due, self.callback = None, None

    def init(self, *, mode, period, tick_hz, callback, hard):
        assert (mode, tick_hz, hard) == (self.ONE_SHOT, 1_000_000, True)
        self.due, self.callback = self._clock[0] + period, callback

    def deinit(self):
        self.due = None


class Desk:
    """A sounder whose time is ours; it polls each millisecond, as the loop does."""

    def __init__(self, monkeypatch):
        self.clock = [0]
        monkeypatch.setattr(time, "ticks_us", lambda: self.clock[0], raising=False)
        self.output, self.timer = Output(self.clock), Timer(self.clock)
        self.sound = Sound((self.output,), 100, self.timer)

    def run_to(self, ms):
        while self.clock[0] < ms * 1000:
            self.clock[0] += 1000
            if self.timer.due is not None and self.clock[0] >= self.timer.due:
                self.timer.due = None
                self.timer.callback(self.timer)
            self.sound.poll(self.clock[0])

    def heard(self, from_ms=0):
        return [(at // 1000 - from_ms, tone) for at, tone in self.output.heard if at >= from_ms]


@pytest.fixture
def desk(monkeypatch):
    return Desk(monkeypatch)


def whole(cue, at_ms=0):
    """What is heard of a cue that nothing cuts."""
    out = []
    for tone, length_ms in MOTIFS[cue]:
        out.append((at_ms, tone))
        at_ms += length_ms
    return [*out, (at_ms, 0)]


def after(first, second, at_ms=20):
    """What is heard of a cue that cuts another one."""
    began = MOTIFS[first][0][0]
    rest = whole(second, at_ms)
    return [(0, began), *(rest[1:] if rest[0][1] == began else rest)]


@pytest.mark.parametrize("answer", ANSWERS)
@pytest.mark.parametrize("bell", SHARED)
def test_an_answer_cuts_no_bell_that_sounds(desk, bell, answer):
    desk.sound.play(bell, 0)
    desk.run_to(27)
    assert desk.sound.play(answer, 27_000) == 27_000
    desk.run_to(2_000)
    assert desk.heard() == whole(bell)


@pytest.mark.parametrize("answer", ANSWERS)
def test_an_answer_takes_no_armed_bell_back(desk, answer):
    desk.sound.arm(GO, 30_000)
    desk.run_to(10)
    desk.sound.play(answer, 10_000)
    desk.run_to(30)
    assert desk.sound.play(GO, 30_000) == 30_000
    desk.run_to(2_000)
    assert desk.heard() == whole(GO, 30)


def test_an_answer_between_a_bell_s_opening_and_the_loop_s_turn_is_dropped(desk):
    desk.sound.arm(GO, 30_000)
    desk.run_to(31)
    desk.sound.play(MADE, 31_000)
    assert desk.sound.play(GO, 30_000) == 30_000
    desk.run_to(2_000)
    assert desk.heard() == whole(GO, 30)


def test_a_bell_whose_time_comes_as_the_loop_plays_it_begins_once(desk, monkeypatch):
    duties = []
    monkeypatch.setattr(desk.output, "duty_u16", duties.append)
    for before_us in range(6):
        desk.clock[0] = 0
        desk.sound.arm(GO, 30_000)
        desk.clock[0] = 30_000 - before_us

        def ticks_us():  # each reading takes time, in which the timer may come
            desk.clock[0] += 1
            if desk.timer.due is not None and desk.clock[0] >= desk.timer.due:
                desk.timer.due = None
                desk.timer.callback(desk.timer)
            return desk.clock[0]

        with monkeypatch.context() as patch:
            patch.setattr(time, "ticks_us", ticks_us)
            duties.clear()
            desk.sound.play(GO, 30_000)
        assert 0 not in duties[duties.index(100) :]
        desk.sound.hush()


@pytest.mark.parametrize("answer", ANSWERS)
@pytest.mark.parametrize("bell", SHARED)
def test_a_bell_cuts_an_answer(desk, bell, answer):
    desk.sound.play(answer, 0)
    desk.run_to(20)
    desk.sound.play(bell, 20_000)
    desk.run_to(2_000)
    assert desk.heard() == after(answer, bell)


@pytest.mark.parametrize("answer", ANSWERS)
def test_a_bell_is_armed_though_an_answer_sounds_and_begins_on_its_microsecond(desk, answer):
    desk.sound.play(answer, 0)
    desk.run_to(20)
    desk.sound.arm(GO, 60_000)
    assert desk.sound.armed == GO
    desk.run_to(62)  # the loop comes late
    assert desk.sound.play(GO, 60_000) == 60_000
    desk.run_to(2_000)
    assert desk.heard()[-2:] == whole(GO, 60)


def test_an_answer_replaces_an_answer_and_a_bell_a_bell(desk):
    for first, second in ((MADE, CALL), (EASE, GO)):
        desk.clock[0] = 0
        desk.output.heard.clear()
        desk.sound.hush()
        desk.sound.play(first, 0)
        desk.run_to(20)
        desk.sound.play(second, 20_000)
        desk.run_to(2_000)
        assert desk.heard() == after(first, second)
        assert desk.sound.armed == NO_CUE


def bell_of(box, start, due_ms):
    """What a box's sounder gave from a bell on, up to the end of its motif."""
    settled = {change.world_us: change for change in box.sound.history}
    heard = []
    for world_us, change in settled.items():
        at_us, tone = world_us - start, change.freq_hz if change.duty else 0
        inside = -2_000 <= at_us - due_ms * 1000 < (motif_ms(EASE) + 5) * 1000
        if inside and tone != (heard[-1][1] if heard else 0):
            heard.append((round(at_us / 1000) - due_ms, tone))
    return heard


@pytest.mark.usefixtures("micropython")
def test_a_target_made_just_before_a_window_s_end_cuts_its_bell_on_no_box(tmp_path):
    def spans():
        return [lead_in(5_000), window(20_000, ask=ASK_TARGET, goal=1), rest(10_000)]

    data = timeline(spans)
    for n, early_ms in enumerate((1, 20, 35, 60)):  # each before, while or after the bell is armed
        with Rig(tmp_path / str(n)) as rig:
            rig.send([data])
            start = rig.arm([data])
            rig.box.press(0, start + 25_000_000 - early_ms * 1000)
            rig.world.run_to(start + 40_000_000)
            assert bell_of(rig.box, start, 25_000) == whole(EASE), early_ms
