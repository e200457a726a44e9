"""What a plan becomes for other programs: a calendar, a spreadsheet, a sound file."""

import csv
import io
import json
import wave
from datetime import datetime, timezone

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_plans import EXAMPLES, plans, toml

from handbell.base.errors import HandbellError, PlanError
from handbell.base.files import whole_file
from handbell.cli.main import main
from handbell.compile import build
from handbell.compile.timetable import box_rows
from handbell.paper.calendar import calendar, uid
from handbell.paper.rehearsal import GATE_MS, RATE_HZ, Bell, bells, part, samples, write_wav
from handbell.paper.sheet import box_sheet, class_sheet, harmless
from handbell.plan.files import load_plan, parse_plan
from handbell_core import cues
from handbell_core import timeline as t
from handbell_core.clock import RunTime
from handbell_core.runner import Runner
from made import Sink

START = 1_796_144_400_000  # 2026-12-01 17:00 UTC


def run(capsys, *words):
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return code, said.out, said.err


def named(title, exercise="Squat"):
    text = f"title = {json.dumps(title)}\n[[block]]\n[[block.exercise]]\nwork_s = 30\n"
    return build(parse_plan(f"{text}name = {json.dumps(exercise)}\n".encode()))


# Calendar


def unfolded(data):
    text = data.decode("utf-8")
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")  # no letter is cut in two
    return text.replace("\r\n ", "").split("\r\n")


@given(st.text(st.characters(codec="utf-8"), min_size=1, max_size=32))
@settings(max_examples=60, deadline=None)
def test_any_title_survives_a_calendar_library(title):
    icalendar = pytest.importorskip("icalendar", reason="pip install icalendar")
    try:
        built = named(title)
    except PlanError:
        return
    data = calendar(built, START, START, "Mind.")
    unfolded(data)
    (event,) = icalendar.Calendar.from_ical(data).walk("VEVENT")
    shown = "".join(c for c in built.plan.title if c.isprintable())
    assert str(event["SUMMARY"]) == shown


def test_an_event_is_the_same_whenever_it_is_written():
    one, two = (calendar(named("Loop"), START, stamp, "") for stamp in (START, START + 60_000))
    different = [(a, b) for a, b in zip(unfolded(one), unfolded(two), strict=True) if a != b]
    assert {a.split(":")[0] for a, _ in different} == {"DTSTAMP", "LAST-MODIFIED"}
    assert uid("Loop", START) == uid("Loop", START) != uid("Loop", START + 1000)
    assert uid("Loop", START) != uid("Loops", START)
    # A changed plan at the same time takes the place of the old one.
    changed = unfolded(calendar(named("Loop", "Burpee"), START, START, ""))
    assert next(line for line in changed if line.startswith("UID")) in unfolded(one)


def test_a_gate_and_tenths():
    built = build(load_plan(EXAMPLES["gate"]))
    assert "Waits for the coach are not counted" in " ".join(
        unfolded(calendar(built, START, 0, ""))
    )
    text = 'title = "T"\nlead_in_s = 3.5\n[[block]]\n[[block.exercise]]\nname = "A"\nwork_s = 30\n'
    lines = unfolded(calendar(build(parse_plan(text.encode())), START, 0, ""))
    assert "DTSTART:20261201T170000Z" in lines and "DTEND:20261201T170034Z" in lines


@pytest.mark.parametrize(
    ("at", "zone", "utc", "said"),
    [
        ("2026-12-01 18:00", "Europe/Berlin", "20261201T170000Z", "17:00 UTC"),
        ("2026-07-01 18:00", "Europe/Berlin", "20260701T160000Z", "16:00 UTC"),
        ("2026-12-01T18:00", "Asia/Kathmandu", "20261201T121500Z", "12:15 UTC"),
        ("2026-03-29 02:30", "Europe/Berlin", "20260329T013000Z", "put forward"),
        ("2026-10-25 02:30", "Europe/Berlin", "20261025T003000Z", "comes twice"),
        ("2026-12-01 18:00", "UTC", "20261201T180000Z", "18:00 UTC"),
    ],
)
def test_a_start_on_the_wall_is_an_instant(capsys, tmp_path, at, zone, utc, said):
    pytest.importorskip("tzdata", reason="pip install tzdata")
    path = tmp_path / "class.ics"
    words = ("show", EXAMPLES["three-block"], "--calendar", path, "--at", at, "--zone", zone)
    code, out, _ = run(capsys, *words)
    assert code == 0 and said in " ".join(out.split())
    lines = unfolded(path.read_bytes())
    assert f"DTSTART:{utc}" in lines
    stamp = next(line for line in lines if line.startswith("DTSTAMP:"))
    written = datetime.strptime(stamp, "DTSTAMP:%Y%m%dT%H%M%SZ").replace(tzinfo=timezone.utc)
    assert abs((datetime.now(timezone.utc) - written).total_seconds()) < 60


@pytest.mark.parametrize(
    "words",
    [
        ["--calendar", "x.ics"],
        ["--calendar", "x.ics", "--at", "18:00"],
        ["--calendar", "x.ics", "--at", "tomorrow"],
        ["--calendar", "x.ics", "--at", "2026-02-30 18:00"],
        ["--calendar", "x.ics", "--at", "2026-12-01 18:00", "--zone", "Atlantis"],
        ["--at", "2026-12-01 18:00"],
        *(
            ["--calendar", "x.ics", "--at", f"{year}-12-31 18:00"]
            for year in ("0001", "1970", "9999")
        ),
    ],
)
def test_a_calendar_needs_a_day_and_a_time(capsys, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "show", EXAMPLES["three-block"], *words)
    assert (code, out) == (2, "") and err.strip().endswith(".")
    assert {p.name for p in tmp_path.iterdir()} <= {"data"}


# Spreadsheets


def table(data):
    assert data.startswith(b"\xef\xbb\xbf")
    text = data.decode("utf-8-sig")
    assert "\n" not in text.replace("\r\n", "")
    return list(csv.reader(io.StringIO(text, newline="")))


@given(plans())
@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_sheet_has_what_the_timetable_has(made):
    try:
        built = build(parse_plan(toml(made).encode()))
    except PlanError:
        return
    head, *lines = table(class_sheet(built))
    assert len(lines) == len(built.timetable)
    for line, row in zip(lines, built.timetable, strict=True):
        cells = dict(zip(head, line, strict=True))
        hours, minutes, seconds = cells["at"].split(":")
        ms = round((int(hours) * 3600 + int(minutes) * 60 + float(seconds)) * 1000)
        assert ms == row.class_ms == round(float(cells["at_s"]) * 1000)
        assert round(float(cells["for_s"]) * 1000) == row.duration_ms
        for n, cell in enumerate(row.stations):
            bibs = " ".join(map(str, cell.bibs))
            assert line[8 + 2 * n : 10 + 2 * n] == [cell.words, f"{cell.who} {bibs}".strip()]
    for timeline in built.timelines:
        rows = box_rows(timeline.data)
        assert len(table(box_sheet(rows))) == len(rows) + 1


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "|x", "%x", '=cmd|"/c"!A1']
)
def test_no_cell_is_a_formula(text):
    assert harmless(text) == "'" + text
    assert harmless(f"x{text}") == f"x{text}"


def test_a_plan_full_of_formulas(capsys, tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(
        'title = "=T()"\n[[station]]\nlabel = "@home"\n[[group]]\nname = "+G"\nbibs = [1]\n'
        '[[block]]\nname = "-B"\n[[block.exercise]]\nname = "=HYPERLINK(1)"\nwork_s = 30\n',
        encoding="utf-8",
    )
    out = tmp_path / "t.csv"
    code, said, _ = run(capsys, "show", path, "--csv", out)
    assert code == 0 and f"Written to {out}." in " ".join(said.split())
    for line in table(out.read_bytes()):
        for cell in line:
            assert not cell.startswith(("=", "+", "-", "@")), cell
    assert run(capsys, "show", path, "--csv", out, "--box", 1)[0] == 0
    assert table(out.read_bytes())[2][7] == "'=HYPERLINK(1)"


# Sound


def rung(data):
    """What the box itself rings in this class: the core's own runner, started at 20 s."""
    sink = Sink()
    runner = Runner(t.Reader(io.BytesIO(data)), RunTime(0, 0, None), sink)
    runner.arm(20_000)
    now = 0
    while sink.ended is None:
        now = runner.step(now)
    return [(at - 20_000, cue) for at, cue in sink.bells if at >= 20_000]


@given(plans())
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_file_rings_what_the_box_rings(made):
    """Against the runner that plays on the box; without gates, where people decide."""
    for block in made["block"]:
        block.pop("gate", None)
    made["rate"] = False
    try:
        built = build(parse_plan(toml(made).encode()))
    except PlanError:
        return
    for timeline in built.timelines[:2]:
        assert [(bell.at_ms, bell.cue) for bell in bells(timeline.data)] == rung(timeline.data)


def test_a_gate_waits_in_the_file():
    found = bells(build(load_plan(EXAMPLES["gate"])).timelines[0].data)
    at = next(n for n, bell in enumerate(found) if bell.cue == cues.AWAIT)
    gate, near, go = found[at : at + 3]
    assert near.cue == cues.NEAR and near.at_ms == gate.at_ms + GATE_MS - cues.NEAR_MS
    assert go.cue == cues.GO and go.at_ms == gate.at_ms + GATE_MS
    assert gate.class_ms == near.class_ms == go.class_ms
    times = [bell.at_ms for bell in found]
    assert times == sorted(times) and len(set(times)) == len(times)


def test_a_part_is_asked_for_in_the_times_of_the_timetable():
    """A gate takes no time in ``show``; parts behind one began 10 s early."""
    built = build(load_plan(EXAMPLES["gate"]))
    found = bells(built.timelines[0].data)
    second = next(row for row in built.timetable if row.block == 2 and row.round == 2)
    heard_there = part(found, second.class_ms, second.class_ms + 1)
    assert [(bell.at_ms, bell.cue) for bell in heard_there] == [(0, cues.GO)]
    gate = next(row for row in built.timetable if row.kind == "gate")
    waits = [(bell.at_ms, bell.cue) for bell in part(found, gate.class_ms, gate.class_ms + 1)]
    assert waits == [(0, cues.AWAIT), (GATE_MS - cues.NEAR_MS, cues.NEAR), (GATE_MS, cues.GO)]
    assert part(found, 0, gate.class_ms)[-1].at_ms < gate.class_ms


def test_a_sound_is_called_what_it_is(capsys, tmp_path):
    code, _, err = run(capsys, "rehearse", EXAMPLES["gate"], "--out", tmp_path / "x.mp3")
    assert code == 2 and "Call it x.wav" in err and not (tmp_path / "x.mp3").exists()


def test_a_silent_plan_has_nothing_to_hear(capsys, tmp_path):
    path = tmp_path / "plan.toml"
    text = EXAMPLES["three-block"].read_text(encoding="utf-8")
    path.write_text(text.replace("lead_in_s = 10", "silent = true"), encoding="utf-8")
    code, _, err = run(capsys, "rehearse", path, "--out", tmp_path / "x.wav")
    assert code == 1 and "is silent" in err
    assert not (tmp_path / "x.wav").exists()


def heard(path):
    with wave.open(str(path)) as wav:
        frames = wav.readframes(wav.getnframes())
        return wav.getnframes() / wav.getframerate(), memoryview(frames).cast("h")


def test_rehearse_a_part_of_a_class(capsys, tmp_path):
    path = tmp_path / "part.wav"
    code, out, _ = run(
        capsys, "rehearse", EXAMPLES["three-block"], "--from", "4:40", "--to", "5:41", "--out", path
    )
    assert code == 0 and "sound down" in out
    seconds, sound = heard(path)
    # The block ends at 4:40, the next begins at 5:40: break, heads-up, go.
    assert 60.4 < seconds < 62
    first = next(n for n, level in enumerate(sound) if level)
    assert first < 0.01 * RATE_HZ
    assert not any(sound[RATE_HZ : 56 * RATE_HZ])
    facts = json.loads(
        run(capsys, "rehearse", EXAMPLES["three-block"], "--out", path, "--speed", 8, "--json")[1]
    )["data"]
    assert heard(path)[0] == pytest.approx(facts["length_ms"] / 1000, abs=0.01)
    assert facts["length_ms"] < 940_000 / 8 + 2_000


def test_a_time_is_read_as_check_and_show_write_it(capsys, tmp_path):
    words = ("rehearse", EXAMPLES["three-block"], "--out", tmp_path / "x.wav", "--json")
    parts = [("4:40", "5:41"), ("280", "341"), ("0:04:40", "0:05:41")]
    facts = [run(capsys, *words, "--from", a, "--to", b)[1] for a, b in parts]
    assert len(set(facts)) == 1
    assert "from 0:00 to 15:40" in run(capsys, *words[:4], "--from", "1:20:10")[2]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--from", "99:00"], "No bell rings"),
        (["--from", "soon"], "is no time"),
        (["--box", "2"], "has no box 2"),
    ],
)
def test_rehearse_used_wrongly(capsys, tmp_path, monkeypatch, words, said):
    monkeypatch.chdir(tmp_path)
    code, _, err = run(capsys, "rehearse", EXAMPLES["three-block"], *words)
    assert code == 2 and said in err
    assert {p.name for p in tmp_path.iterdir()} <= {"data"}


def test_a_bell_cuts_off_the_one_before():
    file = io.BytesIO()
    write_wav(file, [Bell(0, 0, cues.GO), Bell(100, 100, cues.COUNT)])
    file.seek(0)
    with wave.open(file) as wav:
        sound = memoryview(wav.readframes(wav.getnframes())).cast("h")
    at = 100 * RATE_HZ // 1000
    assert list(sound[:at]) == list(samples(cues.GO)[:at])
    assert list(sound[at : at + 60 * RATE_HZ // 1000]) == list(samples(cues.COUNT))
    assert not any(sound[at + 60 * RATE_HZ // 1000 :])


def test_part_of_a_list():
    found = [Bell(at, at, cues.GO) for at in (0, 10, 20, 30)]
    assert [bell.at_ms for bell in part(found, 10, 30)] == [0, 10]
    assert [bell.at_ms for bell in part(found, 15, None)] == [5, 15]
    assert part(found, 31, None) == []


# Files


def test_a_file_is_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "deep" / "x.csv"
    with whole_file(path, own_sort=True) as file:
        file.write(b"one")
    with pytest.raises(RuntimeError), whole_file(path, own_sort=True) as file:
        file.write(b"tw")
        raise RuntimeError
    assert path.read_bytes() == b"one"
    assert [p.name for p in path.parent.iterdir()] == ["x.csv"]
    with (
        pytest.raises(HandbellError, match="can't be written"),
        whole_file(path / "y.csv", own_sort=True),
    ):
        pass  # a file stands where a folder is needed
