import binascii
import io

from handbell_core import journal
from handbell_core.frames import LONGEST, FrameReader, decode, encode
from handbell_core.timeline import FormatError, Head, Reader, Span, digest_of, verify
from made import lead_in, rest, timeline_bytes, window


def test_crc_and_base64_vectors():
    # CRC-32/ISO-HDLC check value in the RevEng catalogue; base64 of RFC 4648 section 10.
    assert binascii.crc32(b"123456789") == 0xCBF43926
    rows = (b"", b""), (b"f", b"Zg=="), (b"fo", b"Zm8="), (b"foo", b"Zm9v"), (b"foob", b"Zm9vYg==")
    for raw, coded in rows + ((b"fooba", b"Zm9vYmE="), (b"foobar", b"Zm9vYmFy")):
        assert binascii.b2a_base64(raw).strip() == coded
        assert binascii.a2b_base64(coded) == raw


def test_timeline_round_trip():
    data = timeline_bytes([lead_in(), window(goal=12, round=2, item=3, next=2), rest()], count_s=2)
    head = verify(io.BytesIO(data))
    assert head.size() == len(data) and head.spans == 3 and head.windows == 1
    assert head.count_s == 2 and head.slot_ms == 25_000
    r = Reader(io.BytesIO(data))
    s = r.span(1, Span())
    assert (s.goal, s.round, s.item, s.start_ms, s.end_ms()) == (12, 2, 3, 5_000, 15_000)
    assert s.bib == [7, 8, 0, 0]
    assert r.text(0) == b"Title" and r.text(2) == b"Burpee" and r.text(99) == b""
    assert len(digest_of(io.BytesIO(data))) == 12


def fails(call):
    try:
        call()
    except FormatError:
        return True
    return False


def test_every_flipped_bit_and_every_cut_is_found():
    data = timeline_bytes([lead_in(), window()])
    for at in range(len(data)):
        bad = bytearray(data)
        bad[at] ^= 1 << (at % 8)
        assert fails(lambda bad=bad: verify(io.BytesIO(bytes(bad)))), at
        assert fails(lambda at=at: verify(io.BytesIO(data[:at]))), at
    assert fails(lambda: verify(io.BytesIO(data + b"\0")))
    assert fails(lambda: Head.unpack(b"HBTL"))


def test_frames_byte_by_byte_among_junk():
    messages = [{"q": n, "do": "hello", "text": "a b c"} for n in range(5)]
    wire = b"MicroPython v1\r\n>>> \x03\x04"
    for m in messages:
        wire += b"\x00\xffjunk" + encode(m) + b'\r\n{"half": \n' + b"x" * 3 * LONGEST + b"\n"
    reader = FrameReader()
    got = []
    for i in range(len(wire)):
        got.extend(reader.feed(wire[i : i + 1]))
    assert got == messages
    assert reader.junk > 0
    assert FrameReader().feed(wire) == messages


def test_a_frame_that_is_changed_is_junk():
    line = encode({"q": 1})[:-1]
    assert decode(line) == {"q": 1}
    for at in range(len(line)):
        bad = bytearray(line)
        bad[at] ^= 1
        assert decode(bytes(bad)) != {"q": 1}
    for cut in range(len(line)):
        assert decode(line[:cut]) is None
    assert decode(b"[1, 2] 00000000") is None


def test_an_endless_line_costs_no_memory():
    reader = FrameReader()
    for _ in range(3000):
        assert reader.feed(b"y" * 100) == []
    assert len(reader._line) <= LONGEST
    assert reader.feed(b"\n" + encode({"q": 2})) == [{"q": 2}]


def test_journal_with_a_torn_tail_and_a_broken_record():
    recs = [journal.tap_record(0, 1, n, 7, 100, n, 0) for n in range(5)]
    data = b"".join(recs)
    good, broken = journal.parse(data)
    assert [g[3] for g in good] == [0, 1, 2, 3, 4] and broken == 0
    for cut in range(len(data)):
        good, broken = journal.parse(data[:cut])
        assert len(good) == cut // journal.RECORD_SIZE and broken == 0
    bad = bytearray(data)
    bad[30] ^= 4
    good, broken = journal.parse(bytes(bad))
    assert [g[3] for g in good] == [0, 2, 3, 4] and broken == 1
