"""Calibrating: the estimate tightens, survives what goes wrong, and reaches the boxes."""

import io
import json
import re

import pytest
from clock_fakes import Box, Boxes, Host
from rich.console import Console

from handbell.base.drift import DAY_US
from handbell.boxes.clocks.calibrate import calibrate
from handbell.boxes.clocks.clock import Clocks
from handbell.cli.calibration import Shown
from handbell.cli.main import main
from handbell.cli.output import Out
from handbell.store import open_store
from handbell.work.upkeep.boxes import _calibrated

PPM = (-28.0, 3.0, 30.0)


def boxes(host: Host) -> list[Box]:
    return [
        Box(host, f"e66164084b00000{n}", ppm, origin_us=n * 10**9) for n, ppm in enumerate(PPM, 1)
    ]


def run(fleet: Boxes, clocks: Clocks, minutes: int, watch=lambda *_: None):
    return calibrate(fleet, clocks, minutes, fleet.connections[0].clock, watch)


def test_the_estimate_tightens_and_reaches_every_box():
    host = Host()
    fleet = Boxes(boxes(host))
    seen: list[tuple[int, int]] = []

    def watch(rows, gone_s, wanted_s):
        rates = [row.estimate.rate for row in rows]
        if all(rates):
            seen.append((gone_s, max(rate.bound_ppb for rate in rates)))

    rows, broken_off = run(fleet, Clocks(), 30, watch)
    assert not broken_off and host.true_us < 31 * 60_000_000
    assert seen[0][0] >= 300 and seen[-1][0] == 1800
    assert seen[-1][1] < 200 and seen[-1][1] < seen[0][1] / 4
    for box, row, ppm in zip(fleet.connections, rows, PPM, strict=True):
        assert row.given and row.why == "" and row.contacts > 50
        told = box.given
        assert abs(told["ppb"] - (1 / (1 + ppm / 1e6) - 1) * 1e9) <= told["ppb_bound"]
        assert host.utc_us() - told["rate_utc_us"] < 5_000_000


def test_broken_off_early_it_keeps_and_gives_what_it_knows():
    host = Host()
    fleet = Boxes(boxes(host))

    def watch(rows, gone_s, wanted_s):
        if gone_s > 400:
            raise KeyboardInterrupt

    rows, broken_off = run(fleet, Clocks(), 60, watch)
    assert broken_off and host.true_us < 500_000_000
    assert all(row.given for row in rows)
    rows, broken_off = run(fleet, Clocks(), 2)
    assert not broken_off and not any(row.given for row in rows)
    assert "5 min apart" in rows[0].estimate.why


def test_one_box_failing_stops_no_other():
    host = Host()
    gone, fine, silent = boxes(host)
    host.at.append((200_000_000, lambda: setattr(gone, "gone", True)))
    host.at.append((700_000_000, lambda: setattr(silent, "silent", 30)))
    rows, _ = run(Boxes([gone, fine, silent]), Clocks(), 20)
    assert "was unplugged" in rows[0].why and not rows[0].given
    assert rows[1].given and rows[1].why == ""
    assert "does not answer" in rows[2].why
    assert rows[2].given, "what was measured before counts, and the box answers again"


def test_all_gone_ends_it_at_once():
    host = Host()
    fleet = Boxes(boxes(host))
    for box in fleet.connections:
        box.gone = True
    rows, _ = run(fleet, Clocks(), 600)
    assert all("was unplugged" in row.why for row in rows) and host.true_us < 60_000_000


@pytest.mark.parametrize("move_us", [3_600_000_000, -3_600_000_000, 250_000])
def test_a_move_of_the_computers_clock_on_the_way_leaves_the_rate_right(move_us):
    host = Host()
    fleet = Boxes(boxes(host))
    host.at.append((900_000_000, lambda: host.step(move_us)))
    rows, _ = run(fleet, Clocks(), 30)
    for row, ppm in zip(rows, PPM, strict=True):
        rate = row.estimate.rate
        assert abs(rate.ppb + ppm * 1000) <= rate.bound_ppb + 1
        assert rate.span_s < 1000


def test_a_restart_on_the_way_leaves_the_rate_right():
    host = Host()
    fleet = Boxes(boxes(host))
    box = fleet.connections[2]
    host.at.append((900_000_000, box.restart))
    rows, _ = run(fleet, Clocks(), 30)
    rate = rows[2].estimate.rate
    assert box.who.boot == 2
    assert abs(rate.ppb + 30_000) <= rate.bound_ppb + 1 and rate.contacts > 50


@pytest.fixture
def plugged_in(monkeypatch):
    """The command line with fakes for boxes."""
    host = Host()
    fleet = Boxes(boxes(host))

    class Plugged:
        def __enter__(self):
            return fleet

        def __exit__(self, *_):
            pass

    monkeypatch.setattr("handbell.work.upkeep.boxes.open_fleet", lambda ports: Plugged())
    return fleet


def test_the_command_tells_a_pipe_a_line_a_minute_and_keeps_every_contact(plugged_in, capsys):
    assert main(["boxes", "--calibrate", "10"]) == 0
    out, err = capsys.readouterr()
    assert len(err.splitlines()) == 11
    assert "0 of 10 min: 0 of 3 rates known" in err and "10 of 10 min: 3 of 3 rates known" in err
    assert "\x1b" not in out + err
    shown = [float(n) for n in re.findall(r"Box 000\d +([+-][\d.]+)", out)]
    assert shown == pytest.approx(PPM, abs=0.2), "the table shows the crystals' own errors"
    assert "Every box knows its rate" in out
    box = plugged_in.connections[0]
    with open_store() as store:
        kept = store.contacts_of(box.who.id, 0)
        assert len(kept) > 20 and {row[6] for row in kept} == {"calibrate"}
        later = Clocks(store).estimate(box.who.id, kept[-1][3] + 10 * DAY_US)
    assert abs(later.rate.ppb - 28_000) <= later.rate.bound_ppb


def test_on_a_terminal_the_table_is_live():
    out = io.StringIO()
    shown_on = Out(out)
    shown_on.console = Console(file=out, force_terminal=True, width=120, highlight=False)
    with Shown(shown_on) as shown:
        run(Boxes(boxes(Host())), Clocks(), 10, lambda now, *gone: shown(_calibrated(now), *gone))
    told = out.getvalue()
    assert "10:00 to go. Ctrl-C ends it; it is kept." in told and "0:00 to go" in told
    assert "Box 0003" in told and "9 min" in told


def test_the_command_as_json(plugged_in, capsys):
    assert main(["boxes", "--calibrate", "6", "--json"]) == 0
    out, _ = capsys.readouterr()
    (first, *_), told = json.loads(out)["data"]["boxes"], json.loads(out)["data"]
    assert first["rate"]["bound_ppb"] > 0 and first["rate"]["span_s"] >= 360 - 5
    assert told["ended_early"] is False and told["others"] == []


def test_what_is_too_short_to_give_a_rate_or_too_long_is_refused(plugged_in, capsys):
    for minutes in ("0", "5", "601"):
        assert main(["boxes", "--calibrate", minutes]) == 2
