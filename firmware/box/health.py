"""How a box is: what its screens, its lights and its host are told when something is wrong."""

from handbell_core import faults

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .session import Session


class Health:
    """Looks at the parts of a box; ``failing()`` names a job of the loop whose last try failed."""

    def __init__(self, storage, keeper, power, link, log, trouble) -> None:
        self._storage = storage
        self._keeper = keeper
        self._power = power
        self._link = link
        self._log = log
        self._trouble = trouble
        self.session: Session = None  # set by whoever makes it
        self.failing = _none

    def fault(self, in_run: bool = False) -> int:
        """Return the fault code that counts most now, 0 if all is well.

        Not ``in_run``: what the flash did not say, as nobody asks it again before the run is over.
        """
        runner = self.session.runner
        if runner is not None and runner.fault:
            return runner.fault
        if self.session.fault:
            return self.session.fault
        storage = self._storage
        if not (storage.settings_read and (in_run or storage.listed and storage.measured)):
            return faults.FLASH_ERROR
        return faults.FIRMWARE if self.failing() else self._log.fault

    def fill_run(self, facts) -> None:
        """Fill the facts that matter in a run."""
        facts.battery_low = self._power.low
        facts.fault = self.fault(True)

    def fill_rest(self, facts, tick: int) -> None:
        """Fill the facts of a box that rests."""
        keeper = self._keeper
        self.fill_run(facts)
        facts.clock_ok = self.session.clock.model is not None
        facts.battery_mv = self._power.mv
        facts.on_usb = self._power.usb
        facts.linked = self._link.linked(tick)
        facts.loaded = self.session.runner is not None
        facts.journals = self._storage.count_runs()
        facts.free_kb = self._storage.room()
        facts.fault = self.fault()
        facts.trouble = self._trouble.line() if self._trouble.count else b""
        if keeper.model is not None:
            facts.clock_age_s = keeper.age_s()
            facts.clock_error_ms = keeper.error_us() // 1000

    def starts_at(self, utc_ms: int) -> bytes:
        """Return the time of day at ``utc_ms``, b"" if the clock is lost (-1)."""
        if utc_ms < 0:
            return b""
        utc_s = utc_ms // 1000
        day_s = (utc_s + self._keeper.tz_s(utc_s)) % 86_400
        return b"%02d:%02d:%02d" % (day_s // 3600, day_s // 60 % 60, day_s % 60)


def _none() -> str:
    return ""
