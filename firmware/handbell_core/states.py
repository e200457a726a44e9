"""The words that the machines of a run share: states, pages, times, and how a table is read.

A machine is a table of rows of four, laid end to end, which takes half the memory of tuples: states
(bits, see ``on``), event, next state, and what is done. What no row names does nothing.
"""

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    Table = tuple[Any, ...]

NEVER = 1 << 29
HOLD_MS = 1_500
LONG_MS = 5_000
LEFT_LEAST_MS = 5_000  # with less left of a window, as it goes on after a pause, it is over
SETTLE_RELEASE_MS = 30  # a release is known this late (taps.OPEN_US), so a hold is too
SETTLE_MS = HOLD_MS + 200  # every press begun before has ended by then, or become a hold
SURE_SETTLE_MS = LONG_MS + 200  # a stop is a press of 5 s, which no athlete's rhythm has
AGAIN_MS = 5_000  # so long a start by hand waits for its second hold
SHOW_MS = 1_200
MENU_MS = 8_000
DOOR_MS = 3_000  # after a long hold is let go, so long another one leads on to the choices
STEPS_MOST = 16  # taps that step through the choices; nobody needs more to find one of four
RATED_MS = 6_000
KNOWN_MS = 60  # a press is known this long after it began: it has to be closed for a while first
GIVE_UP_MS = 6_000  # so long a class stands still for a flash that does not answer

# States of a run as screens, journals and hosts know them; journals hold 1 to 9.
# CLOSING: the class is over, but a press begun in it has not ended. HELD, AGAIN: the first hold of
# a start by hand until it is let go, and the wait for the second one.
READY, SET, PLAY, TALLY, AT_GATE, LEAVING, ASKING, OVER, CLOSING, FAULT, HELD, AGAIN = range(1, 13)
STATES = (
    "",
    "ready",
    "set",
    "play",
    "tally",
    "gate",
    "leaving",
    "asking",
    "over",
    "closing",
    "fault",
    "held",
    "again",
)
# The class tells some apart: a start set by hand, a window, a wait chosen for the span's end; and
# where a remote leads, a stand that only an act ends, and that an act is about to end.
SET_BY_HAND, WORK, PLAY_WAITS, WORK_WAITS, TALLY_WAITS, STANDS, GOING = range(13, 20)
STATE_OF = bytes(range(13)) + bytes((SET, PLAY, PLAY, PLAY, TALLY, AT_GATE, LEAVING))

# Pages of what a long hold leads to: a door that only a hold opens, the choices, a last question.
CLOSED, RETURN, SKIP, WAIT, STOP, DOOR, SURE = range(-1, 6)


def on(*states: int) -> int:
    """Return states as bits."""
    bits = 0
    for state in states:
        bits |= 1 << state
    return bits


# A press begun in these means no window.
STARTING = on(SET, SET_BY_HAND, LEAVING)
NO_WINDOW = STARTING | on(STANDS, GOING)


def row_of(table: "Table", state: int, event: str) -> int:
    """Return where the row for an event in a state begins, -1 if nothing comes of it."""
    for at in range(0, len(table), 4):
        if table[at + 1] == event and table[at] >> state & 1:
            return at
    return -1
