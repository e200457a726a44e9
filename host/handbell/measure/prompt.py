"""A board's prompt for a bench: also feeds a script, skims its output, and starts afresh."""

from __future__ import annotations

from typing import Protocol

from handbell.boxes.firmware import prompt as plain
from handbell.boxes.firmware.prompt import Prompt, SerialPrompt, broke_off, refused

RUN_S = 15  # silence of a script that works; the longest takes 9 s


class BenchPrompt(Prompt, Protocol):
    """A prompt that also feeds and skims; its methods raise BoxError as a Prompt's do."""

    def feed(self, code: str, data: bytes = b"", skim: int = 0) -> str:
        """Run code, send it ``data``, throw away ``skim`` bytes and return what else it printed."""
        ...

    def again(self) -> None:
        """Stop what runs and begin with an empty memory, still at the prompt."""
        ...


class SerialBenchPrompt(SerialPrompt):
    """A bench's prompt at a serial port. Raises NoPromptError when nothing answers there."""

    def feed(self, code: str, data: bytes = b"", skim: int = 0) -> str:
        """Run code, send it ``data``, throw away ``skim`` bytes and return what else it printed."""
        with self._guarded():
            self._transport.exec_raw_no_follow(code)
            self._transport.serial.write(data)
            skimmed = self._skim(skim)
            if len(skimmed) < skim:  # it failed before it had said as much
                _, complaint, *_ = (*skimmed.split(b"\x04"), b"")
                if not complaint:
                    raise broke_off(self._url)
                raise refused(self._url, complaint.decode(errors="replace"))
            said, complaint = self._transport.follow(timeout=RUN_S)
        if complaint:
            raise refused(self._url, complaint.decode(errors="replace"))
        return bytes(said).decode(errors="replace")

    def _skim(self, size: int) -> bytes:
        """Read so many bytes at the port's own speed, fewer when it falls silent."""
        got = bytearray()
        while len(got) < size:
            more = self._transport.serial.read(min(size - len(got), 4096))
            if not more:
                break
            got += more
        return bytes(got)

    def again(self) -> None:
        """Stop what runs and begin with an empty memory, still at the prompt."""
        with self._guarded():
            self._transport.enter_raw_repl(timeout_overall=plain.ENTER_S)
