"""A press of one button as a machine, and what its gestures mean by where it began.

A press belongs to the state and the span it began in, although its meaning is known only when it
ends or has lasted long enough.
"""

from .states import (
    AGAIN,
    ASKING,
    AT_GATE,
    GOING,
    PLAY,
    PLAY_WAITS,
    READY,
    SET_BY_HAND,
    STANDS,
    TALLY,
    TALLY_WAITS,
    WORK,
    WORK_WAITS,
    on,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .states import Table

# States of a button: let go; pressed, and its meaning not known; the same, begun on a page that
# was shown to it; the same on the last question, under 1.5 s and over; held; held, which took a tap
# back; the first hold of a start by hand, under 5 s and over; nothing more will come of it.
(
    UP, DOWN, ON_PAGE, ON_SURE, SURE_HOLDS, HOLDS, TOOK_BACK, FIRST, LONG_FIRST, SPENT,
) = range(10)  # fmt: skip
OPEN = on(DOWN, ON_PAGE, ON_SURE)  # what it means is still to be known
_ANY = on(UP, DOWN, ON_PAGE, ON_SURE, SURE_HOLDS, HOLDS, TOOK_BACK, FIRST, LONG_FIRST, SPENT)

# What happens to a button, and which gesture it makes. ``lasts``: it is down for 1.5 s, or 5 s.
PRESS: "Table" = (
    _ANY, "down", DOWN, "",
    _ANY, "on_page", ON_PAGE, "",
    _ANY, "on_sure", ON_SURE, "",
    on(DOWN), "up", UP, "tap",
    on(DOWN), "lasts", HOLDS, "hold",
    on(HOLDS), "lasts", SPENT, "long",
    on(TOOK_BACK), "lasts", SPENT, "long_back",
    on(ON_PAGE, ON_SURE), "up", UP, "page_tap",
    on(ON_PAGE), "lasts", SPENT, "page_hold",
    on(ON_SURE), "lasts", SURE_HOLDS, "",
    on(SURE_HOLDS), "lasts", SPENT, "page_hold",
    on(FIRST), "lasts", LONG_FIRST, "long",
    on(FIRST, LONG_FIRST), "up", UP, "let_go",
    on(HOLDS), "up", UP, "eased",
    on(SPENT), "up", UP, "off",
    on(TOOK_BACK, SURE_HOLDS), "up", UP, "",
    _ANY, "void", UP, "",
)  # fmt: skip

# Which presses a gesture takes: all; begun since the present state; begun in the present span.
ALL, NOW, HERE = range(3)

_IN_SPANS = on(WORK, WORK_WAITS, PLAY, PLAY_WAITS)
_TALLIES = on(TALLY, TALLY_WAITS)
_STANDS = on(STANDS, GOING)
# (state in which it began, gesture, which presses, event of the class)
MEANS: "Table" = (
    on(READY), "hold", NOW, "hold_first",
    on(READY), "let_go", ALL, "let_go",
    on(AGAIN), "hold", NOW, "hold_again",
    on(AGAIN), "tap", NOW, "cancel",
    on(SET_BY_HAND), "hold", NOW, "later",
    _IN_SPANS | _TALLIES | on(AT_GATE), "tap", ALL, "count",
    _STANDS, "tap", ALL, "count_none",
    _STANDS, "hold", ALL, "confirm",
    _IN_SPANS, "hold", ALL, "back",
    _IN_SPANS, "eased", ALL, "leg_back",
    _TALLIES, "hold", ALL, "confirm",
    on(AT_GATE), "hold", NOW, "go_on",
    on(ASKING), "tap", HERE, "more",
    on(ASKING), "hold", HERE, "less",
)  # fmt: skip


class Press:
    """The last press of a button: its state, when it began, and in which state and span.

    An act may move the class while it lasts, so its ``class_ms`` is kept.
    """

    def __init__(self) -> None:
        self.state = UP
        self.at_ms = self.class_ms = 0
        self.began_in = READY
        self.index = -1
