"""What a box makes of a run that the power cut off, without a box: only what is asked of it."""

import os
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest
from runtimes import micropython_path

from box.past import Past

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


class Asked(Exception):
    """The box was asked when the class began, so it means to go on."""


def app(start_run):
    def run_ms_of_utc(_):
        raise Asked

    return SimpleNamespace(
        storage=SimpleNamespace(settings={"start_ms": 1_700_000_000_000, "start_run": start_run}),
        selected="aa",
        clock=SimpleNamespace(run_ms_of_utc=run_ms_of_utc),
    )


def past(name):
    run = Past(None, name)
    run.timeline = "aa"
    return run


def test_a_hand_started_run_does_not_take_the_start_set_for_another():
    past("0002.run").go_on(app("0001.run"))
    with pytest.raises(Asked):
        past("0001.run").go_on(app("0001.run"))


@pytest.mark.parametrize(("presses", "windows"), [(3_360, 0), (20_000, 0), (40, 60)])
def test_a_run_of_any_length_is_read_back_in_the_same_memory(micropython, presses, windows):
    """16 presses a second for 210 s are 3,360; a heap this small never held so many."""
    small = [word.replace("236wk", "184wk") for word in micropython]
    done = subprocess.run(
        [*small, str(HERE / "past_probe.py"), str(presses), str(windows)],
        env={**os.environ, "MICROPYPATH": micropython_path()},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    counts, totals = done.stdout.splitlines()
    half = presses // 2
    before = 20 if windows else 0
    taps = presses + 40 * windows
    assert counts == f"{taps} {windows + 1} {half} {half} {before}"
    reps = 20 * windows
    assert totals == (f"[(7, {reps}), (8, {reps})]" if windows else "[]")
