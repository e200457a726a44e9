"""The loop: a table of jobs, in order of urgency, and one rule for when each may begin.

A job begins when it is due and its cost fits into the room there is: the time before the next
cue, or none while a press waits to be taken. What costs nothing always fits. The same ``due``
says how long the box may sleep. A job that fails holds no other up: it is told, and tried again
later and later; nothing but a request for the prompt leaves the loop.
"""

import time

from handbell_core.ticks import ticks_add, ticks_diff

IDLE = -1  # what ``due`` returns for nothing to do
AGAIN_US = 100  # after a turn in which something was done
LATER_US = 2_000  # a job that failed is tried again so much later, then after twice as long,
LATER_TWICE = 9  # so often: a second
SOON_TWICE = 3  # what waits for nothing is put off by 16 ms at most


class Job:
    """One piece of work.

    ``due(tick)`` returns in how many microseconds it wants to run, 0 for now, IDLE for nothing to
    do; it changes nothing. ``run(tick)`` does it. ``cost_us`` is how long that may take on the
    chip, 0 for what waits for nothing; or it returns that.
    """

    def __init__(self, name: str, cost_us, due, run) -> None:
        self.name = name
        self._cost = None if isinstance(cost_us, int) else cost_us
        self._cost_us = cost_us
        self.due = due
        self.run = run
        self.failed = 0  # times, one after another
        self._again = 0  # when it may be tried again

    def cost_us(self) -> int:
        """Return how long it may take on the chip."""
        return self._cost() if self._cost else self._cost_us

    def later(self, tick: int) -> None:
        """It failed at ``tick``: put it off."""
        twice = LATER_TWICE if self._cost_us else SOON_TWICE
        self._again = ticks_add(tick, LATER_US << min(self.failed, twice))
        self.failed = min(self.failed + 1, 0xFFFF)

    def put_off_us(self, tick: int) -> int:
        """Return in how many microseconds a job that failed may be tried again.

        A tick that is further away is one of long ago, since ticks wrap.
        """
        away_us = ticks_diff(self._again, tick)
        return away_us if 0 < away_us <= LATER_US << LATER_TWICE else 0


class Loop:
    """Runs ``jobs``; ``room_us(tick)`` is the room there is, ``failed(name, error)`` is told."""

    def __init__(self, jobs: "tuple[Job, ...]", room_us, failed) -> None:
        self.jobs = jobs  # and others, from the next turn on
        self._room_us = room_us
        self._failed = failed

    def turn(self, most_us: int) -> int:
        """Do what is due and fits; return the tick of the next deadline, ``most_us`` away at most.

        What is due and doesn't fit ends no sleep: the cue it has to wait for does.
        """
        start = time.ticks_us()
        wait_us = most_us  # from the start of this turn
        for job in self.jobs:
            tick = time.ticks_us()
            since_us = ticks_diff(tick, start)
            if job.failed:
                put_off_us = job.put_off_us(tick)
                if put_off_us:
                    wait_us = min(wait_us, since_us + put_off_us)
                    continue
            try:
                due_us = job.due(tick)
                if due_us != 0:
                    job.failed = 0  # it has nothing to do any more, so it is well
                if due_us > 0:
                    wait_us = min(wait_us, since_us + due_us)
                elif due_us == 0 and self._fits(job, tick):
                    job.run(tick)
                    job.failed = 0
                    wait_us = min(wait_us, since_us + AGAIN_US)
            except Exception as error:  # noqa: BLE001 - one job's trouble is not the others'
                job.later(time.ticks_us())
                self._failed(job.name, error)
                wait_us = min(wait_us, since_us + AGAIN_US)
        return ticks_add(start, wait_us)

    def _fits(self, job: Job, tick: int) -> bool:
        cost_us = job.cost_us()
        return cost_us == 0 or self._room_us(tick) >= cost_us

    def failing(self) -> str:
        """Return the name of a job whose last try failed, "" when all go on."""
        for job in self.jobs:
            if job.failed:
                return job.name
        return ""
