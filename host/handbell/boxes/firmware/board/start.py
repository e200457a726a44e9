"""What board this is; a scratch file that an earlier bench left is removed."""
# mypy: ignore-errors
# ruff: noqa: F821, UP031

import sys

clean()
_stat = os.statvfs(".")
show(
    machine=getattr(sys.implementation, "_machine", ""),
    version="%d.%d.%d" % sys.implementation.version[:3],
    free_kb=_stat[0] * _stat[3] // 1024,
)
