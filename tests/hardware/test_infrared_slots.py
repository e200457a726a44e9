"""What the core's slots do against the reckoning's: how soon all boxes of a hall have heard an act."""

import numpy as np
import pytest
from slots_hall import WHOLE, Hall

from hardware.infrared import acts

BOXES, ACTS, UNTIL_MS = 24, 80, 20_000


def shares(times_ms):
    return {until: np.mean(np.array(times_ms) <= until) for until in (2_000, 3_000, 5_000)}


@pytest.mark.parametrize(("by_remote", "between"), [(0.6, 0.4), (0.2, 0.5)])
def test_all_have_heard_as_soon_as_the_reckoning_says(by_remote, between):
    """The same chance for each link, acts far enough apart: the reckoning has one at a time."""
    rng = np.random.default_rng(4)
    first = np.full((9, BOXES), by_remote)
    then = np.full((BOXES, BOXES), between)
    model = [
        acts.Slots(boxes=BOXES).heard_ms(first, then, UNTIL_MS, rng).max() for _ in range(ACTS)
    ]
    hall = Hall(BOXES, lambda n, *_: WHOLE * (between if n else by_remote), 3, 20)
    for _ in range(ACTS):
        hall.act()
        hall.run_for(UNTIL_MS + hall.chance.below(8_280))
    ours = [hall.all_heard_ms(n + 1) or 1 << 30 for n in range(ACTS)]
    assert hall.crossed == 0
    reckoned = shares(model)
    near = 3 * np.sqrt(2 * 0.25 / ACTS)  # three errors of a difference at the worst share
    for until, share in shares(ours).items():
        assert share == pytest.approx(reckoned[until], abs=near)
