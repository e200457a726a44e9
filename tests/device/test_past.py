"""What a box makes of a run that the power cut off, without a box: only what is asked of it."""

import os
import subprocess
from pathlib import Path
from types import SimpleNamespace

import pytest
from runtimes import micropython_path

from box.joining import Joining
from box.past import Past
from handbell_core.agreement import RUNS, Act
from handbell_core.telegram import pack
from made import LedBox, lead_in, window

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


def led_box(zero_ms, run_ms):
    """A box whose class of 30 s began at a run time; a remote led it until the power failed."""
    box = LedBox([lead_in(10_000), window(20_000)])
    found = SimpleNamespace(
        storage=SimpleNamespace(settings={"start_ms": 0, "start_run": ""}),
        selected="aa",
        clock=SimpleNamespace(run_ms_of_utc=lambda _: zero_ms, utc_ms=lambda ms: ms),
        run_ms=lambda: run_ms,
        runner=box.runner,
        dated_by=lambda: None,
    )
    found.account = SimpleNamespace(go_on=lambda *_: None, recall=lambda _: None)
    found.heed = lambda *_: found.heeded.append(1) or box.runner.heed()
    found.heeded = []
    return found


@pytest.mark.parametrize(
    ("run_ms", "joins", "heeded"), [(40_000, 0, 0), (5_000, 8, 0), (5_000, 0, 1)]
)
def test_a_remote_leads_only_what_is_gone_on_with(run_ms, joins, heeded):
    """What is over by its clock, or was joined too often, stays a box that goes by hand."""
    found, run = led_box(0, run_ms), past("0001.run")
    run.key, run.zero_utc_ms, run.joins = b"by a key", 1_700_000_000_000, joins
    assert run.go_on(found) == bool(heeded) == bool(found.heeded) == found.runner.heeds


@pytest.mark.parametrize("fails", [False, True])
def test_a_box_brought_back_by_a_telegram_has_begun_or_is_as_it_was(fails):
    plan, key = LedBox([lead_in(10_000), window(20_000)]).runner.head.plan, b"by a key"
    run = past("0001.run")
    run.key, run.number, run.from_ms = key, 2, 15_000
    made = []

    def go_on(*_):
        if fails:
            raise OSError(5)

    def anew(of):
        made.append(of)
        box.runner = LedBox([lead_in(10_000), window(20_000)]).runner

    box = Joining.__new__(Joining)
    box._past, box.selected, box.fault, box._file = run, "aa", 0, None
    box._settings_tries = box._past_tries = 0
    box.keeper, box._taken = SimpleNamespace(model=None), None
    box.clock = SimpleNamespace(ms_of=lambda tick: tick, model=None)
    box.run_ms = lambda: 0
    box.account = SimpleNamespace(go_on=go_on)
    box.heed = lambda _, number: anew("heeds") or box.runner.heed(number)
    box.new_runner = lambda: anew("plain")
    anew("plain")
    data = pack(key, plan, Act(3, RUNS, 15_000, 8_000), 0, 30_000)
    if fails:
        with pytest.raises(OSError):
            box.hear(data, 0)
        assert made == ["plain", "heeds", "plain"] and box._past is run
        assert not box.runner.heeds
    else:
        assert box.hear(data, 0) and box._past is None
        assert box.runner.begun and not box.runner.awaits_start


@pytest.mark.parametrize(("presses", "windows"), [(3_360, 0), (20_000, 0), (40, 60)])
def test_a_run_of_any_length_is_read_back_in_the_same_memory(micropython, presses, windows):
    """16 presses a second for 210 s are 3,360; a heap this small never held so many."""
    small = [word.replace("236wk", "208wk") for word in micropython]
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
