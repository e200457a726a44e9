"""The worked dumps in docs/engineers/formats.md, decoded by the core."""

import io
import re
import struct
from pathlib import Path

from handbell_core import frames, journal
from handbell_core import timeline as tl

PAGE = (Path(__file__).parents[2] / "docs" / "engineers" / "formats.md").read_text(encoding="utf-8")


def block(kind: str) -> str:
    return re.search(rf"```{kind}\n(.*?)\n```", PAGE, re.S)[1]


def dump(kind: str) -> bytes:
    rows = [line.split("  ", 1)[1] for line in block(kind).splitlines()]
    return bytes.fromhex(" ".join(rows))


def test_timeline_dump():
    data = dump("timeline")
    file = io.BytesIO(data)
    head = tl.verify(file)
    assert (head.spans, head.windows, head.grid_s) == (2, 1, 30)
    assert tl.digest_of(file).hex() in PAGE
    reader = tl.Reader(file)
    assert reader.text(tl.TITLE) == b"Harbour"
    assert reader.text(tl.STATION_LABEL) == b"Station 1"
    span = reader.span(1, tl.Span())
    assert tl.KINDS[span.kind] == "window" and tl.ASKS[span.ask] == "target"
    assert (span.start_ms, span.duration_ms, span.goal) == (10_000, 30_000, 10)
    assert reader.text(span.name) == b"Push-up" and span.bib == [7, 8, 0, 0]


def test_journal_dump():
    good, broken = journal.parse(dump("journal"))
    assert broken == 0
    assert [rec[0] for rec in good] == [
        journal.RUN,
        journal.STATE,
        journal.TAP,
        journal.RESULT,
        journal.END,
    ]
    assert good[0][4] == tl.digest_of(io.BytesIO(dump("timeline")))
    assert good[2][3] == 12_345 and struct.unpack("<HHHB", good[2][4][:7]) == (7, 130, 1, 0)


def test_frame():
    assert frames.decode(block("frame").encode()) == {"q": 1, "s": "a1b2c3", "do": "hello"}


def test_every_request_is_listed_and_no_other():
    table = PAGE.split("| do | asks or tells | reply |")[1]
    listed = set(re.findall(r"^\| `(\w+)` \|", table, re.M))
    source = (Path(__file__).parents[2] / "firmware/box/requests.py").read_text(encoding="utf-8")
    assert listed == set(re.findall(r'^    "(\w+)": Requests\.', source, re.M))
