"""What handbell boxes shows: whole at 80 columns, and each trouble in a sentence of its own."""

import io
from dataclasses import replace

from rich.console import Console

from handbell.boxes.link.messages import Hello, Status
from handbell.cli.commands.upkeep.boxes import text
from handbell.cli.output import Out
from handbell.work.upkeep.boxes import Boxes, BoxSeen


def seen(n: int, label: str = "", box_id: str = "", plan: str = "Evening", **status) -> BoxSeen:
    who = Hello(box_id or f"e6616408438a9f{n:02}", station=n, label=label)
    how = Status(**({"state": "ready", "bound_us": 300 * n, "room_kb": 1364, "usb": True} | status))
    name, held = label or f"Station {n}", "" if plan == "another" else plan
    return BoxSeen(f"/dev/ttyACM{n}", name, who, how, plan, held, False, "")


def shown(*rows: BoxSeen, columns: int = 80) -> str:
    file = io.StringIO()
    out = Out(file)
    out.console = Console(file=file, width=columns, markup=False, highlight=False, emoji=False)
    text(Boxes(True, rows, ()), out)
    return file.getvalue()


def test_at_80_columns_nothing_is_cut_off():
    said = shown(seen(1, "By the door"), seen(10, state="held", usb=False, battery_mv=3912))
    assert all(len(line) <= 80 for line in said.splitlines())
    assert "…" not in said and "/dev/ttyACM10" in said and "3.91 V" in said and "9f10" in said


def test_so_much_of_an_id_is_shown_as_tells_the_boxes_apart():
    first, second = seen(1, box_id="e66164084a3c9f21"), seen(2, box_id="e66164084b3c9f21")
    assert "4a3c9f21" not in shown(first)
    assert "a3c9f21" in shown(first, second) and "b3c9f21" in shown(first, second)


def test_each_plan_is_named_with_the_boxes_that_hold_it():
    assert "Evening: all boxes\n" in shown(seen(1), seen(2))
    said = shown(seen(1), seen(2, plan="another"), seen(3, plan=""))
    assert "Evening: Station 1\n" in said
    assert "Another plan than was sent last: Station 2\n" in said and "No plan: Station 3\n" in said


def test_another_plan_is_named_where_the_store_knows_it():
    other = replace(seen(2, plan="another"), title="Morning")
    assert "Morning, not what was sent last: Station 2\n" in shown(seen(1), other)


def test_a_remote_is_named_as_one():
    row = seen(0, "Remote", box_id="e6616408438a9f77", state="awaits")
    row = replace(row, who=replace(row.who, remote=True))
    lines = [line for line in shown(seen(1), row, columns=120).splitlines() if "9f77" in line]
    assert lines[0].split()[:2] == ["remote", "Remote"]
    assert "waits for the remote to begin" in lines[0]


def test_a_box_that_was_replaced_and_came_back_is_told():
    back = replace(seen(3), replaced=True)
    said = shown(seen(1), back, columns=300)
    assert "Station 3: calls itself station 3, and another box hangs there." in said
    assert "handbell stations 3=9f03 hangs it there again." in said


def test_each_trouble_is_a_sentence_with_what_to_do():
    said = shown(seen(1, room_kb=12, low=True, fault=23), columns=200)
    assert "Station 1: has room for 12 KB only. Run handbell collect." in said
    assert "USB low" in said and "Station 1: " in said
