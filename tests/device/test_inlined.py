"""A box with the firmware as it is put on, names short, does what one with it as written does."""

import pytest
from inlined import inlined_tree

from handbell_core import journal
from made import ASK_TARGET, GATE, TAP_TALLY, lead_in, rest, span, window
from rig import Rig, timeline

pytestmark = pytest.mark.usefixtures("micropython")


ON_THE_CLOCK = (journal.UTC, journal.OWN, journal.STATE, journal.END)


def spans():
    return [
        lead_in(5_000),
        window(20_000, ask=ASK_TARGET, goal=5),
        rest(10_000),
        span(GATE, 0),
        window(20_000, tap=TAP_TALLY),
        rest(15_000),
        window(20_000),
    ]


def played(folder, **spec):
    """Play a class with taps, a hold and a wait; return all that could be seen and kept."""
    data = timeline(spans)
    with Rig(folder, **spec) as rig:
        rig.send([data])
        start = rig.arm([data])
        shots = []
        for at in (6, 7, 8.5, 12, 18, 45, 52, 60, 75, 76, 90, 91, 93):
            rig.box.press(0, start + int(at * 1e6), hold_ms=1_800 if at in (45, 75) else 120)
        rig.box.press(1, start + 9_000_000, hold_ms=120)
        for at in range(2, 130, 4):  # in the middle of a second: nothing changes near it
            rig.world.run_to(start + at * 1_000_000 + 500_000)
            shots.append(rig.box.screen.pixels())
        (run,) = rig.runs()
        good, broken = journal.parse(run)
        assert not broken
        records = [record for record in good if record[0] not in ON_THE_CLOCK]
        bells = [bell - start for bell in rig.box.sound.bells() if bell > start - 100_000]
        return records, bells, shots


def counts(record):
    """What a record says but for its times: kind, button, window, bib and count."""
    kind, slot, window, _, payload = record
    count = payload[2:4] if kind == journal.RESULT else payload[4:7]
    return kind, slot, window, payload[:2], count


def close(one, other, within):
    return len(one) == len(other) and all(
        abs(a - b) <= within for a, b in zip(one, other, strict=True)
    )


def test_a_class_rings_counts_and_looks_the_same(tmp_path):
    tree = inlined_tree(tmp_path / "firmware")
    as_written, put_in = played(tmp_path / "a"), played(tmp_path / "b", firmware=tree)
    taps = [record for record in as_written[0] if record[0] == journal.TAP]
    assert len(taps) > 8 and len(as_written[1]) > 8 and len(set(as_written[2])) > 20
    assert [counts(record) for record in as_written[0]] == [counts(r) for r in put_in[0]]
    # How well a clock is set depends on how fast the computer that plays the host is.
    assert close([r[3] for r in as_written[0]], [r[3] for r in put_in[0]], 5)
    assert close(as_written[1], put_in[1], 5_000)
    assert as_written[2] == put_in[2]
