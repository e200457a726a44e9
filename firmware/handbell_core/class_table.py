"""The class as a machine: what each event leads to in each mode, and what is done then."""

from .deeds import Deeds
from .states import (
    AGAIN,
    ASKING,
    AT_GATE,
    CLOSING,
    FAULT,
    GOING,
    HELD,
    LEAVING,
    OVER,
    PLAY,
    PLAY_WAITS,
    READY,
    SET,
    SET_BY_HAND,
    STANDS,
    STARTING,
    TALLY,
    TALLY_WAITS,
    WORK,
    WORK_WAITS,
    on,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .states import Table

RESTING = on(READY, HELD, AGAIN)
_WINDOWS = on(WORK, WORK_WAITS)
_TALLIES = on(TALLY, TALLY_WAITS)
_WAITS = on(PLAY_WAITS, WORK_WAITS, TALLY_WAITS)
_SPANS = _WINDOWS | _TALLIES | on(PLAY, PLAY_WAITS)
_ONWARD = _SPANS | on(ASKING)
_STANDS = on(STANDS, GOING)
_IN_CLASS = _ONWARD | _STANDS | on(AT_GATE, LEAVING, CLOSING)
_CHOOSING = _SPANS | STARTING | _STANDS | on(AT_GATE)
_NOT_OVER = RESTING | STARTING | _IN_CLASS
_HEEDING = RESTING | STARTING | _ONWARD | _STANDS | on(AT_GATE)

# These need the next span at hand, and change nothing when it can't be read.
READING = ("arm", "hold_again", "later", "go_on", "alone", "begin")

# (modes, event, next mode or 0 for the same, action); the first row that fits is taken.
CLASS: "Table" = (
    # The host, and starts by hand
    RESTING | on(SET, SET_BY_HAND), "arm", SET, Deeds._arm,
    on(READY), "hold_first", HELD, Deeds._hold_first,
    on(HELD), "let_go", AGAIN, Deeds._let_go,
    on(AGAIN), "hold_again", SET_BY_HAND, Deeds._start_by_hand,
    on(AGAIN), "cancel", READY, Deeds._rest,
    on(AGAIN), "time_up", READY, Deeds._rest,
    on(SET_BY_HAND), "later", SET_BY_HAND, Deeds._later,
    on(AT_GATE), "go_on", LEAVING, Deeds._start_by_hand,
    on(LEAVING), "stay", AT_GATE, Deeds._stay,
    STARTING, "begin", PLAY, Deeds._begin,
    RESTING, "join", PLAY, Deeds._rest,
    RESTING, "join_gate", AT_GATE, Deeds._rest,
    # Acts of the remote, and a box that goes on without one
    _HEEDING, "stand", STANDS, Deeds._stand,
    _HEEDING, "run", PLAY, Deeds._run,
    RESTING | STARTING | _STANDS | on(AT_GATE), "announce", GOING, Deeds._announce,
    on(STANDS), "alone", LEAVING, Deeds._start_by_hand,
    on(LEAVING), "stand_again", STANDS, Deeds._stay,
    RESTING, "join_stand", STANDS, Deeds._rest,
    # Spans
    _WINDOWS, "span_over", 0, Deeds._window_over,
    _TALLIES, "span_over", 0, Deeds._tally_over,
    _WAITS, "to_window", AT_GATE, Deeds._wait_here,
    _WAITS, "to_tally", AT_GATE, Deeds._wait_here,
    _WAITS, "to_span", AT_GATE, Deeds._wait_here,
    _ONWARD, "to_window", WORK, Deeds._open_window,
    _ONWARD, "to_tally", TALLY, Deeds._open_tally,
    _ONWARD, "to_span", PLAY, Deeds._open,
    _ONWARD, "to_gate", AT_GATE, Deeds._open_gate,
    _ONWARD, "to_stand", STANDS, Deeds._open_gate,
    _ONWARD, "to_rating", ASKING, Deeds._ask,
    _ONWARD, "to_end", CLOSING, Deeds._end,
    on(WORK), "wait_after", WORK_WAITS, None,
    on(PLAY), "wait_after", PLAY_WAITS, None,
    on(TALLY), "wait_after", TALLY_WAITS, None,
    _WINDOWS, "leave_out", 0, Deeds._skip,
    # Presses
    _IN_CLASS, "count", 0, Deeds._count,
    _IN_CLASS, "count_none", 0, Deeds._count_standing,
    _IN_CLASS, "back", 0, Deeds._take_back,
    _IN_CLASS, "leg_back", 0, Deeds._take_leg_back,
    _IN_CLASS, "confirm", 0, Deeds._confirm,
    on(ASKING, CLOSING), "more", 0, Deeds._more,
    on(ASKING, CLOSING), "less", 0, Deeds._less,
    _CHOOSING, "give_back", 0, Deeds._give_back,
    _CHOOSING, "offer", 0, None,
    # The end
    on(CLOSING), "quiet", OVER, Deeds._finish,
    _NOT_OVER, "end_it", OVER, Deeds._finish,
    on(FAULT), "end_it", OVER, None,
    STARTING | _ONWARD | _STANDS, "give_up", FAULT, Deeds._fail,
)  # fmt: skip
