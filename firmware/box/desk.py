"""Beside the run: who this box is, the pages at rest, the self-test, and leaving for the prompt."""

import binascii
import time

from handbell_core.cues import CALL
from handbell_core.taps import PRESS

from .loop import IDLE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .selftest import SelfTest

IDENTIFY_US = 4_000_000
HEALTH_US = 20_000_000


class Desk:
    """Takes presses, for the session or for what is on beside it."""

    def __init__(self, board, storage, session, view, facts, trouble) -> None:
        self.board = board
        self.box_id = binascii.hexlify(board.unique_id()).decode()
        self.leave = False
        self._storage = storage
        self._session = session
        self._view = view
        self._facts = facts
        self._trouble = trouble
        self._test: "SelfTest" = None
        facts.box_id = self.box_id.encode()
        self.named()

    def named(self) -> None:
        """The station or its label changed."""
        settings = self._storage.settings
        self._facts.station = settings["station"]
        self._facts.label = bytes(ord(c) if ord(c) < 256 else 63 for c in settings["label"])
        self._view.changed()

    def identify(self) -> None:
        """Show and ring the station for a few seconds (only ring in a class)."""
        self._session.sound.play(CALL, time.ticks_us())
        if not self._session.in_class:
            self.show_station()

    def show_station(self) -> None:
        """Show which box this is for a few seconds."""
        self._view.show_instead(self._view.screens.identify, IDENTIFY_US)

    def jobs(self) -> tuple:
        """Return what the loop has to do for it."""
        return ()

    def armed(self) -> None:
        """The host has set a class."""

    def joined(self) -> None:
        """A class goes on that the power had cut off."""

    # Presses

    def button(self, slot: int, event: int, tick: int) -> None:
        """Take a debounced press or release; presses behind one that fails still count."""
        try:
            self._button(slot, event, tick)
        except Exception as error:  # noqa: BLE001 - see above
            self._trouble.tell("press", error)

    def _button(self, slot: int, event: int, tick: int) -> None:
        if self._test is not None:
            if event == PRESS:
                self._test.pressed(slot)
            return
        if event == PRESS:
            self._view.pressed()
        if self._session.button(slot, event, tick):
            self._next_page()

    def _next_page(self) -> None:
        """A tap at rest: the next plan that is here, then the health page, then the first plan."""
        view = self._view
        was_on_health, view.on_health = view.on_health, False
        if not self._session.next_timeline(was_on_health):
            view.show_instead(view.screens.health, HEALTH_US)
            view.on_health = True

    # The self-test

    def self_test(self, message: dict) -> dict:
        """Work a part by itself, as a host asks."""
        if self._test is None:
            from .selftest import SelfTest  # its code is seldom needed

            session = self._session
            session.let_go()  # what is pressed from now on is pressed for the test
            self._test = SelfTest(
                self.board,
                self._storage,
                session.keeper.rtc,
                session.buttons,
                session.sound,
                self._view,
            )
            self._view.lamps_held = True
        return self._test.do(message)

    def test_due_us(self, tick: int) -> int:
        """Return in how many microseconds the self-test is to be left."""
        if self._test is None:
            return IDLE
        return 0 if self._session.in_class else self._test.left_us(tick)

    def end_test(self, tick: int) -> None:
        """Leave the self-test."""
        self._test = None
        self._view.lamps_held = False
        self._view.end_instead()
