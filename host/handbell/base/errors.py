"""Handbell's exceptions: one plain sentence about what is wrong, one about what to do next."""

from __future__ import annotations

EXIT_OK = 0
EXIT_FAILED = 1
EXIT_USAGE = 2
EXIT_STOPPED = 130  # by Ctrl-C, as shells count it


class HandbellError(Exception):
    """Something a coach can be told in plain words.

    ``what`` names the file, place or box and the fault; ``remedy`` says what to do next.
    Both are whole sentences or end without a full stop; ``str()`` joins them.
    """

    exit_code = EXIT_FAILED

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(what, remedy)
        self.what = what.rstrip(".")
        self.remedy = remedy.rstrip(".")

    def __str__(self) -> str:
        return " ".join(map(_ended, filter(None, (self.what, self.remedy))))


def _ended(sentence: str) -> str:
    """Return a sentence with a sign at its end, and only one."""
    return sentence if sentence.endswith(("?", "!")) else f"{sentence}."


class UsageError(HandbellError):
    """The command line was off; exit code 2."""

    exit_code = EXIT_USAGE


class StoppedError(HandbellError):
    """Somebody stopped the command; exit code 130."""

    exit_code = EXIT_STOPPED

    def __init__(
        self, remedy: str = "What was finished is kept; run the command again to go on"
    ) -> None:
        super().__init__("Stopped", remedy)


class FaultsError(HandbellError):
    """A file that can't be used; carries every fault found, not only the first.

    ``faults`` is a list of sentences, each naming the place in the file and the remedy.
    """

    def __init__(self, path: str, faults: list[str]) -> None:
        count = len(faults)
        super().__init__(
            f"{path}: {count} {'thing' if count == 1 else 'things'} to fix",
            " ".join(f"[{n}] {fault}" for n, fault in enumerate(faults, 1)),
        )
        self.path = path
        self.faults = faults


class PlanError(FaultsError):
    """A plan, or a file of the coach's that plans are made with."""


class RosterError(FaultsError):
    """A roster."""


class BoxError(HandbellError):
    """A box refused or failed; ``box`` is its label, ``code`` the box's own fault code or 0."""

    def __init__(self, box: str, what: str, remedy: str = "", code: int = 0) -> None:
        super().__init__(f"{box}: {what}", remedy)
        self.box = box
        self.code = code


class StoreError(HandbellError):
    """The store can't be opened, read or written."""


class UnreadJournalError(StoreError):
    """A journal that can't be read. Its bytes are kept in the store all the same."""
