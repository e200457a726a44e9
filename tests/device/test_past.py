"""What a box makes of a run that the power cut off, without a box: only what is asked of it."""

from types import SimpleNamespace

import pytest

from box.past import Past


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
    run = Past(name)
    run.timeline = "aa"
    return run


def test_a_hand_started_run_does_not_take_the_start_set_for_another():
    past("0002.run").go_on(app("0001.run"))
    with pytest.raises(Asked):
        past("0001.run").go_on(app("0001.run"))
