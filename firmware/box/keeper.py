"""The box's clock: its own microseconds, UTC once it was told, and the rate of its crystal.

The rate outlives a boot and is kept in the flash; the clock itself does not, unless a clock part
(``rtc``) is fitted.
"""

import time

from handbell_core import faults
from handbell_core.clock import PPB, TEMPERATURE_PPB, ClockModel
from handbell_core.ticks import Extender, ticks_diff

from .bus import PART_ADDRESS

AGEING_PPB_A_DAY = 10  # 3 ppm in a crystal's first year, its fastest (from memory), rounded up
RATE_LASTS_S = 30 * 86_400
SAVE_AGAIN_S = 86_400  # a rate that has not moved is written anew this often
ARM_BOUND_US = 20_000  # a clock that may be off by more is not armed
ARM_AGE_US = 12 * 3_600_000_000
HAND_BOUND_US = 1_000_000  # and by more than this not used for a start by hand
LOOKS = 20  # a part that does not answer at the start is looked for so often,
LOOK_AGAIN_US = 1_000_000  # and so soon
PART_PPB = 2_000  # a DS3231's rate from 0 to 40 degrees (its data sheet)
EDGE_US = 100  # how late an edge of the part may be told
TOLD_S = 60  # a host is told by how much it moved a clock from here on
FAR_US = 100_000  # a clock that jumps further has the part set at once, not when it next ticks
PART_FAR_US = 1_500_000  # its seconds need not be UTC's, but are set when further from them
JUDGE_EVERY_US = 60_000_000
PART_AGAIN_US = 10_000_000  # a part that did not answer is left alone for so long
PPB_MOST = 1_000_000  # no crystal is off by more
UTC_END_S = 4_102_444_800  # the year 2100, where the part's calendar ends


def clock_part(bus, pin):
    """Return the clock part on a bus, None where none answers."""
    try:
        bus.readfrom_mem(PART_ADDRESS, 0, 1)
        from .rtc import Rtc  # most boxes have none and need not hold its code

        return Rtc(bus, pin)
    except Exception:  # noqa: BLE001 - what a failing part answers can raise anything
        return None


class Keeper:
    """Keeps the time of a box; ``storage`` holds what outlives a boot.

    A clock part may be on ``bus``, with its square wave on ``pin``: ``rtc``, None if it isn't.
    """

    def __init__(self, storage, bus, pin) -> None:
        self.extender = Extender(time.ticks_us())
        self._storage = storage
        self._bus = bus
        self._pin = pin
        self._looks = LOOKS  # left
        self._look()
        self.model: ClockModel = None
        self.take_zone()
        self.part_set = False  # the host that was last here has set the part
        self._moved_s = 0  # by so much it has moved the clock
        self._compare = False  # the part is to be held against the clock
        self._first_us = self._judged_us = -1  # edges of the part, in box time
        self._by_part_us = 0  # from the first to the last judged one, by the part

    def _look(self) -> None:
        self._failed = 0  # the tick at which the part failed, 0 while it answers
        self._looked = time.ticks_us()
        self._looks = max(0, self._looks - 1)
        self._freed = self._bus.freed
        self.rtc = clock_part(self._bus, self._pin)

    def box_us(self) -> int:
        """Return microseconds since this boot."""
        return self.extender.extend(time.ticks_us())

    def told(self, message: dict, may_save: bool) -> None:
        """Take what a host measured: offset, and the rate if it knows that.

        Raises KeyError, TypeError or ValueError, with nothing taken.
        """
        utc_us = _whole(message["utc_us"], 0, UTC_END_S * 1_000_000)
        box_us = _whole(message["box_us"], -(1 << 60), 1 << 60)
        bound_us = _whole(message["bound_us"], 0, 0xFFFFFFFF)
        tz_s = _whole(message["tz_s"], -86_400, 86_400)
        utc_s = utc_us // 1_000_000
        zone = {
            "tz_s": tz_s,
            "tz_at_s": _whole(message.get("tz_at_s", 0), 0, UTC_END_S),
            "tz_next_s": _whole(message.get("tz_next_s", 0), -86_400, 86_400),
        }
        rate = None
        if "ppb_bound" in message:
            rate_s = _whole(message["rate_utc_us"], 0, UTC_END_S * 1_000_000) // 1_000_000
            ppb = _whole(message["ppb"], -PPB_MOST, PPB_MOST)
            rate = ppb, _whole(message["ppb_bound"], 0, PPB_MOST), rate_s
        self.zone = zone
        if rate is not None:
            known = _doubted(rate, utc_s)
            if may_save:
                try:
                    self._save_rate(rate)
                except OSError:
                    pass  # it holds for this boot
        else:
            known = self.rate(utc_s)
            if may_save:
                try:
                    self._storage.save(**zone)
                except OSError:
                    pass  # it holds for this boot
        old, self.model = self.model, ClockModel(utc_us, box_us, known[0], bound_us, known[1])
        self._compare = True
        self.part_set = False
        self._moved_s = 0 if old is None else (utc_us - old.utc_of(box_us)) // 1_000_000
        if self.rtc is None or self._failed or not may_save:
            return
        if old is None or abs(old.utc_of(box_us) - utc_us) > FAR_US:
            try:  # a power cut would bring the old clock back
                self._set(self.rtc)
                self.part_set = True
            except Exception:  # noqa: BLE001 - see ``poll``; it is set when it answers again
                self._failed = time.ticks_us() or 1

    def _save_rate(self, rate: "tuple[int, int, int]") -> None:
        settings = self._storage.settings
        old = settings["ppb"], settings["ppb_bound"]
        rate_s = settings["rate_s"]
        if rate[:2] != old or rate[2] - rate_s > SAVE_AGAIN_S:
            rate_s = rate[2]
        self._storage.save(ppb=rate[0], ppb_bound=rate[1], rate_s=rate_s, **self.zone)

    def take_zone(self) -> None:
        """Take the time zone from the settings."""
        settings = self._storage.settings
        self.zone = {name: settings[name] for name in ("tz_s", "tz_at_s", "tz_next_s")}

    def tz_s(self, utc_s: int) -> int:
        """Return by how many seconds a clock on the wall is ahead of UTC at ``utc_s``."""
        zone = self.zone
        at_s = zone["tz_at_s"]
        return zone["tz_next_s"] if at_s and utc_s >= at_s else zone["tz_s"]

    def rate(self, utc_s: int) -> "tuple[int, int]":
        """Return (ppb, doubt) of the crystal: the kept one, or 0 and what a crystal may be off."""
        settings = self._storage.settings
        return _doubted((settings["ppb"], settings["ppb_bound"], settings["rate_s"]), utc_s)

    def facts(self) -> dict:
        """Return what a host that has told the time is told: the kept rate, if any, and more."""
        settings = self._storage.settings
        utc_s = self.model.utc_us // 1_000_000
        facts = {"part": 1} if self.part_set else {}
        if abs(self._moved_s) >= TOLD_S:
            facts["moved_s"] = self._moved_s
        if settings["ppb_bound"] and utc_s - settings["rate_s"] <= RATE_LASTS_S:
            facts["ppb"] = settings["ppb"]
            facts["ppb_bound"] = settings["ppb_bound"]
            facts["rate_utc_us"] = settings["rate_s"] * 1_000_000
        return facts

    def utc_ms(self) -> int:
        """Return UTC now in ms; only with a clock."""
        return self.model.utc_of(self.box_us()) // 1000

    def error_us(self) -> int:
        """Return the largest error the clock can have now; only with a clock."""
        return self.model.error_us(self.box_us())

    def age_s(self) -> int:
        """Return the seconds since the clock was set; only with a clock."""
        return (self.box_us() - self.model.box_us) // 1_000_000

    def unfit(self) -> int:
        """Return the fault that keeps the box from being armed, 0 if there is none."""
        if self.model is None:
            return faults.CLOCK_LOST
        if self.box_us() - self.model.box_us > ARM_AGE_US:
            return faults.CLOCK_OLD
        return faults.CLOCK_UNSURE if self.error_us() > ARM_BOUND_US else 0

    def shared(self) -> "ClockModel | None":
        """Return the clock if it is good enough for a start by hand in step with other boxes."""
        if self.model is None or self.error_us() > HAND_BOUND_US:
            return None
        return self.model

    def at_its_rate(self, running: ClockModel) -> ClockModel:
        """Return a run's clock going on at the rate just learnt, without a jump.

        A host may have set another clock meanwhile: that one is for the next run.
        """
        return running.at_rate(self._judged_us, self.model.rate_ppb, self.model.doubt_ppb)

    # The clock part

    @property
    def may_tell(self) -> bool:
        """Whether a clock part may tell the time; one is still looked for where there was one."""
        return self.rtc is not None or self._looks > 0 and self._storage.settings["rtc_s"] > 0

    def poll(self, tick: int, may_save: bool) -> bool:
        """Let the clock part work; return whether the box has a clock, or its rate, by it.

        Each try to reach a part that doesn't answer may take long, so there is one in 10 s.
        """
        if self.rtc is None:
            if may_save:
                self._look()  # it may have been there all along, on a bus that was held
            else:
                self._failed = tick or 1
            return False
        if self._failed:
            if ticks_diff(tick, self._failed) < PART_AGAIN_US:
                return False
            self._failed = 0
        try:
            return self._work(self.rtc, tick, may_save)
        except Exception:  # noqa: BLE001 - what a failing part answers can raise anything
            self._failed = tick or 1
            return False

    def _work(self, rtc, tick: int, may_save: bool) -> bool:
        if not rtc.ticked():
            return False
        box_us = self.extender.at(rtc.tick)
        if self.model is None:
            return self._ask(box_us)
        if self._compare and may_save:
            self._align(rtc, box_us)
            return False
        return self._discipline(box_us)

    def due_us(self, tick: int) -> int:
        """Return in how many microseconds the part has something to tell."""
        freed = self._bus.freed != self._freed
        if self.rtc is None and not freed and not self._looks:
            return -1
        if self._failed:
            return max(0, PART_AGAIN_US - ticks_diff(tick, self._failed))
        if self.rtc is None:
            return 0 if freed else max(0, LOOK_AGAIN_US - ticks_diff(tick, self._looked))
        return 0 if self.rtc.has_ticked else -1

    def _ask(self, box_us: int) -> bool:
        """Take the time from the part, whose second began at ``box_us``."""
        settings = self._storage.settings
        if self.rtc.stopped or not settings["rtc_s"]:
            return False
        utc_s = self.rtc.read_s()
        age_s = utc_s - settings["rtc_s"]
        if age_s < 0:
            return False
        bound_us = settings["rtc_bound_us"] + age_s * PART_PPB // 1000 + EDGE_US
        rate_ppb, doubt_ppb = self.rate(utc_s)
        utc_us = utc_s * 1_000_000 + settings["rtc_off_us"]
        self.model = ClockModel(utc_us, box_us, rate_ppb, bound_us, doubt_ppb)
        return True

    def _align(self, rtc, box_us: int) -> None:
        """Note how the part's seconds lie against UTC; set it if they are far from it."""
        utc_s = rtc.read_s()
        if rtc.stopped or abs(self.model.utc_of(box_us) - utc_s * 1_000_000) > PART_FAR_US:
            self._set(rtc)
            return
        self._note(utc_s, box_us, 0)
        self._compare = False

    def _set(self, rtc) -> None:
        """Begin a second of the part now. Cut in between, it counts as never set."""
        self._storage.save(rtc_s=0)
        box_us = self.box_us()
        utc_s = self.model.utc_of(box_us) // 1_000_000
        rtc.write(utc_s)
        rtc.ticked()  # an edge from before is of another second
        self._first_us = -1  # its seconds begin elsewhere from now on
        self._note(utc_s, box_us, self.box_us() - box_us)

    def _note(self, utc_s: int, box_us: int, doubt_us: int) -> None:
        """Keep how the part, whose second ``utc_s`` began at ``box_us``, lies against UTC."""
        off_us = self.model.utc_of(box_us) - utc_s * 1_000_000
        bound_us = self.model.error_us(box_us) + doubt_us
        self._storage.save(rtc_s=utc_s, rtc_off_us=off_us, rtc_bound_us=bound_us)

    def _discipline(self, box_us: int) -> bool:
        """Take the crystal's rate from the part where that is surer than what is known."""
        if self._first_us < 0:
            self._first_us = self._judged_us = box_us
            self._by_part_us = 0
        since_us = box_us - self._judged_us
        if since_us < JUDGE_EVERY_US:
            return False
        # Counted on from minute to minute: over hours a crystal may be off by half a second.
        self._by_part_us += (since_us + 500_000) // 1_000_000 * 1_000_000
        self._judged_us = box_us
        by_box_us = box_us - self._first_us
        doubt_ppb = PART_PPB + 2 * EDGE_US * PPB // by_box_us
        if doubt_ppb * 10 > self.model.doubt_ppb * 9:
            return False  # not worth a change
        rate_ppb = (self._by_part_us - by_box_us) * PPB // by_box_us
        self.model = self.model.at_rate(box_us, rate_ppb, doubt_ppb)
        return True


def _whole(value, least: int, most: int) -> int:
    """Return ``value`` as an integer; raises TypeError or ValueError, also if out of range."""
    try:
        number = int(value)
    except OverflowError:  # of an infinite one
        number = most + 1
    if not least <= number <= most:
        raise ValueError(value)
    return number


def _doubted(rate: "tuple[int, int, int]", utc_s: int) -> "tuple[int, int]":
    """Return (ppb, doubt) at ``utc_s`` of a rate: its ppb, its bound, and when it was measured."""
    ppb, bound_ppb, rate_s = rate
    age_s = utc_s - rate_s
    if not bound_ppb or age_s > RATE_LASTS_S:
        unknown = ClockModel(0, 0)
        return unknown.rate_ppb, unknown.doubt_ppb
    return ppb, bound_ppb + max(0, age_s) * AGEING_PPB_A_DAY // 86_400 + TEMPERATURE_PPB
