"""What a long hold leads to, as a machine of pages: out of the reach of who leans and taps."""

from .states import CLOSED, DOOR, RETURN, SKIP, STOP, SURE, WAIT

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .states import Table

_SHIFT = 1  # CLOSED is -1, and bits begin at 0


def page(menu: int) -> int:
    """Return a page's number in the table."""
    return menu + _SHIFT


def _on(*menus: int) -> int:
    bits = 0
    for menu in menus:
        bits |= 1 << menu + _SHIFT
    return bits


_SHOWN = _on(RETURN, SKIP, WAIT, STOP, DOOR, SURE)

# What leads on: ``open`` shows the page for its time, ``soon`` lets it close soon after the button
# was let go, ``next`` goes past what is not offered; the others are events of the class. Every tap
# counts; those of ``next`` are taken back by a hold.
MENU: "Table" = (
    _on(CLOSED), "offer", DOOR, "open",
    _on(DOOR), "off", DOOR, "soon",
    _on(DOOR), "hold", RETURN, "open",
    _on(RETURN), "tap", SKIP, "next",
    _on(SKIP), "tap", WAIT, "next",
    _on(WAIT), "tap", STOP, "next",
    _on(STOP), "tap", RETURN, "next",
    _on(RETURN), "hold", CLOSED, "",
    _on(SKIP), "hold", CLOSED, "leave_out",
    _on(WAIT), "hold", CLOSED, "wait_after",
    _on(STOP), "hold", SURE, "open",
    _on(SURE), "hold", CLOSED, "end_it",
    _on(DOOR, SURE), "tap", CLOSED, "",
    _SHOWN, "time_up", CLOSED, "",
    _SHOWN, "close", CLOSED, "",
)  # fmt: skip
