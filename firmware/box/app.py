"""The box: its parts put together, and the table of what its loop does.

Nothing here waits except ``board.idle``. Deadlines are raw ticks; large integers are touched once
an event, never once a turn.
"""

import gc
import time

from handbell_core.ticks import ticks_diff

from . import FIRMWARE
from .account import Account
from .bus import Bus
from .buttons import Buttons
from .desk import Desk
from .display import Display
from .health import Health
from .keeper import Keeper
from .link import BYTES_A_PASS, Link
from .log import Log
from .loop import IDLE, Job, Loop
from .power import Power
from .requests import QUIET, Requests
from .screens import Facts
from .session import Session
from .sound import Sound
from .transfer import Transfer
from .trial import Trial
from .trouble import Trouble
from .view import DRAW_US, PIECE_US, STRIP_US, View

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .hearing import Hearing

LONGEST_IDLE_US = 1_000_000
FEW_BYTES = 12  # taken in near a cue
LISTEN_US = 1_000
HEAR_US = 2_500  # reading a piece of what a receiver saw
ANSWER_US = 15_000  # answering a request may take this long on the chip
COLLECT_US = 40_000  # and collecting garbage this long
SLOW_US = 10_000  # reading the battery, asking how much room there is
COLLECT_EVERY_US = 4_000_000
SLOW_EVERY_US = 10_000_000


class App:
    """A box on a board."""

    def __init__(self, board) -> None:
        tick = time.ticks_us()
        self._board = board
        self._dog = None
        self._collected = self._slow = tick
        self._storage = storage = Transfer(board.ROOT)
        storage.count_start()
        self._trouble = trouble = Trouble(storage)
        facts = Facts()
        facts.version = FIRMWARE.encode()
        bus = Bus(board)
        display = Display(bus, reset=board.display_reset(), paged=board.DISPLAY_PAGED)
        self._keeper = keeper = Keeper(storage, bus, board.rtc_pin())
        self._power = power = Power(board)
        pins = [board.button(slot) for slot in range(len(board.BUTTON_PINS))]
        self._buttons = buttons = Buttons(pins, board.captures(pins))
        self._sound = sound = Sound(board.sounders(), board.SOUND_DUTY, board.timer())
        self._link = link = Link()
        log = Log(storage)
        account = Account(log, storage, power, buttons, facts, trouble, board.unique_id())
        hears = getattr(board, "RECEIVER_PIN", None) is not None  # a board file of before has none
        self._session = session = Session(
            storage, keeper, log, account, sound, buttons, facts, trouble, hears
        )
        self._hearing: "Hearing | None" = None
        self._edges = board.edges if hears else None  # from which it is made, once
        session.listen = self._begin_to_hear
        health = Health(storage, keeper, power, link, log, trouble)
        health.session = session
        self._view = view = View(display, board.strip(), board.LAMP_CAP, session, health, facts)
        self._desk = desk = self._make_desk(board, storage, session, view, facts, trouble)
        session.draw_anew, session.open_look, session.presses = view.changed, view.open, desk
        self._trial = trial = Trial()
        self._requests = Requests(
            desk, session, storage, keeper, power, health, trouble, trial, link.arrived_at
        )
        storage.when_read = self._settings_read
        try:
            session.first()
        except Exception as error:  # noqa: BLE001 - a box without a plan still answers its host
            trouble.tell("plan", error)
        desk.show_station()
        self._loop = Loop(
            (
                Job("anchor", 0, session.anchor_due_us, session.anchor),
                Job("presses", 0, self._presses_due_us, self._take_presses),
                Job("run", 0, session.step_due_us, session.step),
                Job("sound", 0, sound.wait_us, sound.poll),
                Job("bell", 0, session.bell_due_us, session.arm_bell),
                Job("clock part", 0, keeper.due_us, session.keep_time),
                Job("join", 0, session.join_due_us, self._join),
                Job("hear", HEAR_US, self._hear_due_us, self._hear),
                Job("listen", LISTEN_US, self._listen_due_us, self._listen),
                Job("strip", STRIP_US, view.strip_due_us, view.strip),
                Job("answer", ANSWER_US, self._answer_due_us, self._answer),
                Job("draw", DRAW_US, view.draw_due_us, view.draw),
                Job("ahead", DRAW_US, view.ahead_due_us, view.look_ahead),
                Job("send", PIECE_US, view.send_due_us, view.send),
                Job("log", session.write_cost_us, session.write_due_us, session.write),
                Job("trial", session.write_cost_us, trial.due_us, self._stand),
                Job("start", session.write_cost_us, session.start_due_us, session.keep_start),
                Job("test", 0, desk.test_due_us, desk.end_test),
                Job("collect", COLLECT_US, self._collect_due_us, self._collect),
                Job("look", SLOW_US, self._look_due_us, self._look),
                Job("rest", COLLECT_US, session.rest_due_us, self._rest),
                Job("trouble", session.write_cost_us, trouble.due_us, self._keep_trouble),
            )
            + desk.jobs(),
            session.room_us,
            trouble.tell,
        )
        health.failing = self._loop.failing
        if trial.pending:
            self._dog = board.watchdog()  # as main.py did

    def _make_desk(self, board, storage, session, view, facts, trouble) -> Desk:
        """Return what takes presses: a remote's buttons lead, if the host made it one."""
        if not storage.settings["remote"]:
            return Desk(board, storage, session, view, facts, trouble)
        from .remote import Remote  # its code is of no use to a box

        return Remote(board, storage, session, view, facts, trouble, board.sender())

    def run(self) -> None:
        """Run until the host asks for the prompt; no error of our own ends it."""
        while not self._desk.leave:
            try:
                until = self.turn()
            except Exception as error:  # noqa: BLE001 - not even of the loop itself
                self._trouble.tell("loop", error)
                until = time.ticks_us()
            try:
                self._board.idle(until)
            except Exception as error:  # noqa: BLE001 - nor of the board's own file
                self._trouble.tell("idle", error)

    def turn(self) -> int:
        """Do one turn of the loop and return the tick of the next deadline."""
        tick = time.ticks_us()
        session = self._session
        try:
            if self._dog is None:
                if session.in_class:
                    self._dog = self._board.watchdog()  # from the first class on
            elif session.is_well(tick) and self._trial.is_well(tick, session.in_class):
                self._dog.feed()
        except Exception as error:  # noqa: BLE001 - a watchdog that isn't fed says enough
            self._trouble.tell("watchdog", error)
        return self._loop.turn(LONGEST_IDLE_US)

    def end(self) -> None:
        """Leave everything quiet and safe for MicroPython's prompt, and say that the box is off."""
        leaves = [self._sound.hush, self._session.end, self._view.stop, self._link.close]
        if self._hearing is not None:
            leaves.append(self._hearing.close)  # it writes into memory by itself
        for leave in leaves:
            try:
                leave()
            except Exception:  # noqa: BLE001 - the others still have to be left
                pass
        if self._dog is not None:
            self._board.watchdog_off()

    # Presses

    def _presses_due_us(self, tick: int) -> int:
        return 0 if self._buttons.pending() else self._buttons.wait_us(tick)

    def _take_presses(self, tick: int) -> None:
        self._buttons.take(tick, self._desk)

    # What is late

    def _settings_read(self) -> None:
        """The settings could not be read at the start, and now they are."""
        storage = self._storage
        storage.count_start()
        if self._keeper.model is None:
            self._keeper.take_zone()
        self._desk.named()

    # The clock

    def _join(self, tick: int) -> None:
        if self._session.join(tick):
            self._view.end_instead()
            self._desk.joined()

    def _rest(self, tick: int) -> None:
        self._session.new_runner()

    # What a remote says

    def _begin_to_hear(self) -> None:
        """A remote leads from now on: its code and its ring take memory only then."""
        look, self._edges = self._edges, None
        edges = look and look()
        if edges:
            from .hearing import Hearing

            hear = self._session.hear
            if getattr(self._board, "REPEATS", False):
                from .teller import repeat

                hear = repeat(self._board, self._session, self._loop)
            self._hearing = Hearing(edges, hear)

    def _hear_due_us(self, tick: int) -> int:
        hearing = self._hearing
        if hearing is not None:
            return hearing.due_us(tick)
        return 0 if self._edges is not None and self._session.is_told else IDLE

    def _hear(self, tick: int) -> None:
        if self._hearing is None:
            self._begin_to_hear()
        else:
            self._hearing.take(tick)

    # The link

    def _listen_due_us(self, tick: int) -> int:
        return 0 if self._link.has_input() else self._link.reply_due_us(tick)

    def _listen(self, tick: int) -> None:
        link, session = self._link, self._session
        at_rest = not session.in_class
        link.poll(BYTES_A_PASS if session.room_us(tick) > ANSWER_US else FEW_BYTES, at_rest)
        if link.broke:
            link.broke = False
            if at_rest:
                raise KeyboardInterrupt

    def _answer_due_us(self, tick: int) -> int:
        return 0 if self._link.waits() else IDLE

    def _answer(self, tick: int) -> None:
        request = self._link.request()
        if "do" in request:
            self._link.send(self._requests.answer(request))
            if request["do"] not in QUIET:
                self._view.changed()

    # What is not urgent

    def _collect_due_us(self, tick: int) -> int:
        return max(0, COLLECT_EVERY_US - ticks_diff(tick, self._collected))

    def _collect(self, tick: int) -> None:
        self._collected = tick
        gc.collect()

    def _look_due_us(self, tick: int) -> int:
        return max(0, SLOW_EVERY_US - ticks_diff(tick, self._slow))

    def _look(self, tick: int) -> None:
        """Look at the battery and the room, at least once in half a wrap of the ticks."""
        self._slow = tick
        self._power.read()
        self._keeper.extender.extend(tick)
        self._buttons.forget(tick)
        self._storage.room()
        self._view.changed()

    def _stand(self, tick: int) -> None:
        self._session.blind(self._trial.stand)

    def _keep_trouble(self, tick: int) -> None:
        self._session.blind(self._trouble.keep)
