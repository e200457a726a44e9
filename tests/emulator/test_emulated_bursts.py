"""Telegrams by infra-red on the emulated chip, in and out: PIO1 and DMA, with the flash at work."""

import itertools

import pytest

TELEGRAMS = 50
SOON_US = 300_000
HEAP = 4_096


@pytest.fixture(scope="module")
def shown(image, firmware):
    from emulated_bursts import Shown

    return Shown(image, firmware, TELEGRAMS)


def test_every_telegram_is_heard_once_and_in_order(shown):
    assert [one.data for one in shown.heard()] == list(shown.ends_us)
    assert shown.lines("TOOK")[0][2] == "0"  # nothing was lost on the way


def test_they_went_on_through_slow_flash_writes(shown):
    slow = [end - begin for begin, end in shown.writes() if end - begin > 400_000]
    assert len(slow) >= 5
    ended = [one.ended for one in shown.heard()]
    assert sum(begin < at < end for begin, end in shown.writes() for at in ended) >= 10


def test_each_is_told_soon_after_its_end_or_the_writes(shown):
    late_us = []
    for one in shown.heard():
        free = max([one.ended, *(end for begin, end in shown.writes() if begin < one.ended < end)])
        late_us.append(one.told - free)
    print(f"told {max(late_us) / 1000:.1f} ms late at most")
    assert max(late_us) < SOON_US


def test_each_has_the_time_at_which_it_ended(shown):
    off_us = [one.ended - shown.ends_us[one.data] for one in shown.heard()]
    spread_us = max(off_us) - min(off_us)  # what they share: when the chip's clock began
    print(f"ends differ by {spread_us:.0f} us from those shown, a hundred early or late")
    assert spread_us < 2 * 100 + 2 * 32


def test_it_takes_little_memory_and_time(shown):
    from box.hearing import PIECE_US

    (heap,), (most_us, all_us, _) = shown.lines("HEAP")[0], shown.lines("TOOK")[0]
    print(f"{heap} bytes; {most_us} us a pass at most, {all_us} us in all")
    assert int(heap) <= HEAP
    assert int(most_us) < PIECE_US


def test_what_it_sends_is_read_and_has_its_carrier(shown):
    from air import read

    from handbell_core.bursts import Reader

    rises = shown.carrier
    periods = [b - a for a, b in itertools.pairwise(rises) if b - a < 50]
    assert sum(periods) / len(periods) == pytest.approx(1e6 / 38_000, rel=0.001)
    seen, began, last = [], rises[0], rises[0] - 50_000
    for rise, after in zip(rises, [*rises[1:], rises[-1] + 1e6], strict=True):
        if after - rise > 50:
            end = rise + 1e6 / 38_000
            seen += [(True, int(began - last)), (False, int(end - began))]
            began, last = after, end
    assert read(Reader(), seen) == [bytes(range(100, 116))]
    ends_us = began_of_last(seen, rises[0])
    promised, now = map(int, shown.lines("SENT")[0])
    assert abs((ends_us - rises[0]) - (promised - now)) < 3_000


def began_of_last(seen, first_us):
    """When the last burst began, of edges that begin with the first one."""
    return first_us + sum(us for _, us in seen[1:-1])
