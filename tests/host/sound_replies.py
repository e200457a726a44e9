"""Replies of a sound box, for fakes of a connection that say only what their test is about."""

from handbell_core import frames, journal, timeline

ID = "e66164084b00ab12"
SOUND = {
    "hello": {
        **{"id": ID, "ln": frames.VERSION, "tl": timeline.VERSION, "jn": journal.VERSION},
        **{"station": 0, "label": "", "buttons": 1, "boot": 1},
    },
    "status": {
        **{"state": "ready", "sel": "", "mv": 4000, "usb": True, "low": False, "kb": 900},
        **{"runs": 0, "fault": 0, "clock": True, "bound_us": 400},
    },
    "list": {"n": 0},
    "drop": {"gone": True},
}


def read(kind, asked, said):
    """Return the message in a reply that says this beside what a sound box says."""
    sound = SOUND.get(kind.do, {})
    if said.get("clock") is False:
        sound = {key: value for key, value in sound.items() if key != "bound_us"}
    return kind.read({**kind.more, **asked}, {**sound, **said})
