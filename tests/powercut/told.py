"""What a firmware under test said when it started, and how to start another one."""

import sys

said: list = []


def forget() -> None:
    """Forget the modules and the path of the firmware that was started."""
    sys.path[:] = [place for place in sys.path if place not in ("fw_a", "fw_b")]
    for name in list(sys.modules):
        if name == "begin" or name.startswith("parts"):
            del sys.modules[name]
