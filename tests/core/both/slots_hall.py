"""A hall in which a remote and boxes tell acts in slots, by the core's own rules; no telegram is
real light. Times in ms of UTC; each clock is off by as much as it is said to be.
"""

from air import Chance

from handbell_core.agreement import STANDS, Act, Agreement
from handbell_core.slots import END_MS, REMOTE, Telling
from handbell_core.telegram import KEY_SIZE, unpack
from made import lead_in, reader, window

KEY = bytes(range(KEY_SIZE))
DARK_MS = 2
WHOLE = 1 << 16  # of a chance
FAR_MS = 1 << 60
LATE_MS = 60_000  # from a press to its act's instant, unless it is said


class Clock:
    def __init__(self, base_utc_ms):
        self.base_utc_ms = base_utc_ms


class Node:
    """A remote (station 0) or a box, as what tells and hears sees it: a runner."""

    def __init__(self, timeline, station, stations, off_ms, began_ms):
        self.timeline = timeline
        self.head = timeline.head
        self.agreement = Agreement()
        self.clock = Clock((began_ms + off_ms) // 1000 * 1000)
        self.off_ms = off_ms
        self.telling = Telling(self, station, stations)
        self.heard_ms = {}  # by number of an act

    def run_ms(self, at_ms):
        return at_ms + self.off_ms - self.clock.base_utc_ms

    def next_ms(self, at_ms):
        """When it tells next, as its clock has it, in true time."""
        slot_ms = self.telling.slot_ms(self.run_ms(at_ms))
        return at_ms + slot_ms - self.run_ms(at_ms)


class Telegram:
    def __init__(self, sender, data, number, ends_ms):
        self.sender, self.data, self.number, self.ends_ms = sender, data, number, ends_ms
        self.begins_ms = ends_ms - END_MS  # as if each were the longest

    def crosses(self, other):
        """Whether who sees both can read none."""
        if other is self:
            return False
        return self.begins_ms < other.ends_ms + DARK_MS and other.begins_ms < self.ends_ms + DARK_MS


class Hall:
    """``comes(sender, hearer, number)`` is the chance of WHOLE that a telegram comes through."""

    def __init__(self, stations, comes, seed=1, off_ms=0, began_ms=1_700_000_000_000):
        self.chance = Chance(seed)
        self.now_ms = began_ms
        self._comes = comes
        timeline = reader([lead_in(), window(3_600_000)])
        self.nodes = []
        for n in range(stations + 1):
            off = self.chance.below(2 * off_ms + 1) - off_ms
            node = Node(timeline, n, 1 if n == REMOTE else stations, off, began_ms - 977 * n)
            self.nodes.append(node)
        self.remote = self.nodes[0]
        self.acts = [None]  # by number
        self._due_ms = [FAR_MS] * len(self.nodes)  # when each tells next
        self._on = []  # telegrams that still go,
        self._over = []  # and that have only just ended
        self.sent = []
        self.crossed = 0  # of one act with each other

    def act(self, in_ms=LATE_MS):
        """Somebody presses a button of the remote."""
        remote = self.remote
        number = remote.agreement.number + 1
        act = Act(number, STANDS, 1000 * number, remote.run_ms(self.now_ms) + in_ms)
        assert remote.agreement.hear(act)
        remote.heard_ms[number] = self.now_ms
        self.acts.append((1000 * number, self.now_ms + in_ms))
        self._due_ms[REMOTE] = remote.next_ms(self.now_ms)

    def run_for(self, ms):
        until_ms = self.now_ms + ms
        while True:
            begin_ms = min(self._due_ms)
            end_ms = min([one.ends_ms for one in self._on] + [FAR_MS])
            if min(begin_ms, end_ms) > until_ms:
                break
            if end_ms <= begin_ms:
                self.now_ms = end_ms
                self._end(end_ms)
            else:
                self.now_ms = begin_ms
                self._begin(self._due_ms.index(begin_ms), begin_ms)
        self.now_ms = until_ms

    def _begin(self, n, at_ms):
        node = self.nodes[n]
        slot_ms = node.run_ms(at_ms)
        data = node.telling.telegram(KEY, slot_ms + END_MS)
        act = unpack(KEY, node.head.plan, data, slot_ms + END_MS)
        assert act.number == node.agreement.number  # nothing but the newest that it knows
        one = Telegram(n, data, act.number, at_ms + END_MS)
        for other in self._on + self._over:
            if one.crosses(other):
                self.crossed += other.number == one.number
        self._on.append(one)
        self.sent.append((n, act.number, at_ms))
        node.telling.told(slot_ms)
        self._due_ms[n] = node.next_ms(at_ms)

    def _end(self, at_ms):
        for one in [one for one in self._on if one.ends_ms == at_ms]:
            alone = not any(one.crosses(other) for other in self._on + self._over)
            for n, _node in enumerate(self.nodes):
                if n == one.sender or not alone:
                    continue
                if self.chance.below(WHOLE) < self._comes(one.sender, n, one.number):
                    self._hear(n, one, at_ms)
            self._over.append(one)
        self._on = [one for one in self._on if one.ends_ms > at_ms]
        self._over = self._over[-3:]

    def _hear(self, n, one, at_ms):
        node = self.nodes[n]
        act = unpack(KEY, node.head.plan, one.data, node.run_ms(at_ms))
        if node.agreement.hear(act):
            node.heard_ms[act.number] = at_ms
            self._due_ms[n] = node.next_ms(at_ms)

    def all_heard_ms(self, number):
        """How long after the press all had heard of an act, None where some have not."""
        if any(number not in node.heard_ms for node in self.nodes):
            return None
        return max([node.heard_ms[number] for node in self.nodes]) - self.remote.heard_ms[number]

    def check(self):
        """Nobody agrees on anything but what the remote said last of all that it heard."""
        for node in self.nodes:
            newest = node.agreement.newest
            if newest.number:
                assert newest.number == max(node.heard_ms) <= self.remote.agreement.number
                class_ms, at_ms = self.acts[newest.number]
                assert newest.class_ms == class_ms
                if newest.at_ms > node.run_ms(self.now_ms):
                    assert newest.at_ms == node.run_ms(at_ms)


def evenly(remote, boxes):
    """Return chances in percent of what the remote sends, and boxes."""
    return lambda sender, hearer, number: WHOLE * (boxes if sender else remote) // 100
