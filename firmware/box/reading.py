"""Reading a journal back, in the same memory however long it is."""

from handbell_core.journal import RECORD_SIZE

CHUNK = 20  # records read at a time


def each_record(file, take) -> None:
    """Call ``take(buf, at)`` for each whole record of an open journal; raises OSError."""
    data = file.read(CHUNK * RECORD_SIZE)
    while data:
        for at in range(0, len(data) - RECORD_SIZE + 1, RECORD_SIZE):
            take(data, at)
        data = file.read(CHUNK * RECORD_SIZE)
