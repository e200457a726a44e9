"""Which runs of a box a remote leads, without a box: only what is asked of it."""

from types import SimpleNamespace

import pytest

from box.run import Run


def test_a_start_that_can_t_be_set_leaves_no_run_that_a_remote_leads():
    """What is played by hand next would be called the remote's, and refuse every hold at a gate."""

    def unread(*_):
        raise OSError(5)

    made = []
    run = Run.__new__(Run)
    run.runner = SimpleNamespace(arm=unread, stop=lambda *_: None)
    run.run_ms = lambda: 0
    run.new_runner = lambda: made.append("plain")
    with pytest.raises(OSError):
        run.arm(10_000)
    assert made == ["plain"]
