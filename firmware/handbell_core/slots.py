"""Whose turn it is to tell an act by infra-red, so that nobody talks into another's telegram.

UTC is cut into slots; every third one is the remote's, and the others go round the stations. See
``docs/engineers/infrared.md``. One telegram goes in a slot and ends ``END_MS`` after its begin,
however long it lasts.
"""

from .acts import gate_after
from .states import NEVER
from .telegram import SOON_MOST_MS, pack

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .clock import RunTime
    from .led import Led

# The longest telegram, its dark, and two clocks that are each off by as much as one may be.
SLOT_MS = 230
OFF_MOST_US = 20_000
END_MS = 186  # from a slot's begin to its telegram's end: the longest lasts 185.5 ms
TURN = 3  # slots, of which one is the remote's
REMOTE = 0  # its station, which is none

# By then at the latest, after its first telegram, a remote has told an act once more each time;
# from then on it does every so often at the least. Who repeats it does so this many times.
TOLD_MS = (0, 690, 1_380, 2_070, 2_760, 3_450, 4_140, 4_830, 5_520)
AGAIN_MS = 5_000
TIMES = 2


def next_slot(slot: int, station: int, stations: int) -> int:
    """Return the first slot from ``slot`` on that is a station's.

    The remote's are those whose number ``TURN`` divides. Which station comes first after an act
    hangs on when it is said, so none is always last; a slot is one station's whatever act it
    tells, so who tells an old act crosses nobody who tells a newer one.
    """
    if station == REMOTE:
        return slot + -slot % TURN
    others = TURN - 1
    at = slot // TURN * others + max(0, slot % TURN - 1)  # the others' slots before it
    at += (station - 1 - at) % stations
    return at // others * TURN + at % others + 1


class Telling:
    """When one sender tells the newest act of a run, and with which bytes.

    ``station`` is ``REMOTE``, or one of 1 to ``stations``: its box tells what it heard. Without
    ``stations`` it has no slots.
    """

    def __init__(self, runner: "Led", station: int, stations: int) -> None:
        self.runner = runner
        self.number = 0  # of the act that is told
        self._station = station
        self._stations = stations
        self._times = 0  # it was told
        self._from_ms = 0  # before which it is not told again
        self._slot_ms = -1  # when the slot begins in which it is told next, if that is not past
        self._clock: "RunTime | None" = None
        self._ahead_ms = 0  # of run time is a time in which a slot begins at 0

    def slot_ms(self, run_ms: int) -> int:
        """Return when the slot begins in which the newest act is to be told, NEVER for no more."""
        runner = self.runner
        agreement = runner.agreement
        newest = agreement.newest
        number = newest.number
        if not number or number != agreement.number or not self._stations:
            return NEVER
        if number != self.number:
            self.number = number
            self._times = self._from_ms = 0
            self._slot_ms = -1
        if self._clock is not runner.clock:
            self._clock = runner.clock
            period_ms = SLOT_MS * TURN * self._stations  # in which all is as it was
            self._ahead_ms = runner.clock.base_utc_ms % period_ms
            self._slot_ms = -1
        if self._slot_ms < run_ms:
            # One that is too far off for a telegram to tell waits until one can.
            can_ms = newest.at_ms - SOON_MOST_MS - END_MS
            self._slot_ms = self._next_ms(max(run_ms, self._from_ms, can_ms))
        return self._slot_ms

    def _next_ms(self, run_ms: int) -> int:
        station = self._station
        slot = -(-(run_ms + self._ahead_ms) // SLOT_MS)
        if station == REMOTE:
            if self._times:  # the first telegram of an act waits for no turn
                slot = next_slot(slot, REMOTE, 1)
        elif self._times >= TIMES:
            return NEVER
        else:
            slot = next_slot(slot, station, self._stations)
        return slot * SLOT_MS - self._ahead_ms

    def telegram(self, key: bytes, end_ms: int) -> bytes:
        """Return the newest act as it is when its telegram ends; raises what reading raises."""
        runner = self.runner
        act = runner.agreement.newest
        gate_ms = gate_after(runner.timeline, act.class_ms)
        return pack(key, runner.head.plan, act, end_ms, gate_ms)

    def told(self, slot_ms: int) -> None:
        """It was told in the slot that began then."""
        self._times += 1
        self._from_ms = slot_ms + 1
        if self._station == REMOTE and self._times >= len(TOLD_MS):
            self._from_ms += AGAIN_MS - TURN * SLOT_MS
        self._slot_ms = -1
