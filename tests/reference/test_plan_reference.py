"""A plan's numbers, cards, calendar and sound against outside sources, each named beside its check.

Grades: *read*, *quoted*, *memory* and *computed* as in the other checks of this folder.
"""

import io
import wave
from datetime import datetime, timezone

import numpy as np
import pytest
from made_plans import EXAMPLES

from handbell.coach.library.files import read_entries
from handbell.coach.library.shelf import Library
from handbell.coach.numbers.numbers import kcal_per_kg, numbers_of
from handbell.coach.numbers.work_rest import WORK_TO_REST
from handbell.compile import build
from handbell.paper.calendar import calendar
from handbell.paper.legible import LEAST_RAD, PREFERRED_RAD, capital_mm
from handbell.paper.rehearsal import LEVEL, RATE_HZ, bells, samples, write_wav
from handbell.plan.files import load_plan, parse_plan
from handbell_core import cues

LIBRARY = Library(*read_entries(None))


def intervals(rounds, work_s, rest_s, last=False):
    text = (
        f'title = "Intervals"\n[[block]]\nrounds = {rounds}\nrest_s = {rest_s}\n'
        f"rest_after_last = {str(last).lower()}\n"
        f'[[block.exercise]]\nname = "Bike"\nwork_s = {work_s}\n'
    )
    return numbers_of(build(parse_plan(text.encode())), LIBRARY)


# Work density = 100 x work / (work + rest): 20/10 66.667 %, 30/10 75 %, 240/180 57.143 % (computed).
# Protocols: Tabata et al. 1996 (20/10, 7 to 8 sets; read, abstract), Klika & Jordan 2013 (12 x 30
# s with 10 s; quoted), Helgerud et al. 2007 (4 x 240 s with 180 s; read, abstract), Gibala (10 x
# 60/60; read). With the last rest kept, the density of the whole is that of one interval.
@pytest.mark.parametrize(
    ("rounds", "work_s", "rest_s", "percent"),
    [
        (8, 20, 10, 66.667),
        (7, 20, 10, 66.667),
        (12, 30, 10, 75),
        (4, 240, 180, 57.143),
        (10, 60, 60, 50),
    ],
)
def test_density_of_published_protocols(rounds, work_s, rest_s, percent):
    (share,) = intervals(rounds, work_s, rest_s, last=True).shares
    assert share.density_percent == pytest.approx(percent, abs=5e-4)
    (shorter,) = intervals(rounds, work_s, rest_s).shares
    exact = 100 * rounds * work_s / (rounds * work_s + (rounds - 1) * rest_s)
    assert shorter.density_percent == pytest.approx(exact)


# kcal/min = MET x 3.5 x kg / 200 (ACSM Guidelines; quoted). 70 kg, 30 min: 8.0 MET 294 kcal, 7.5
# MET 275.625, 3.8 MET 139.65 (computed). The two METs are those of vigorous circuit training in
# the Compendium of Physical Activities, 2011 and 2024 (quoted).
@pytest.mark.parametrize(("met", "kcal"), [(8.0, 294), (7.5, 275.625), (3.8, 139.65)])
def test_energy(met, kcal):
    assert 70 * kcal_per_kg(met, 30 * 60_000) == pytest.approx(kcal)


def test_energy_of_half_an_hour_without_rest_lies_between_both_mets():
    (share,) = intervals(1, 1800, 0).shares
    assert 70 * share.kcal_per_kg.least == pytest.approx(275.625)
    assert 70 * share.kcal_per_kg.most == pytest.approx(294)


# NSCA, Essentials of Strength Training and Conditioning, 4th ed., work-to-rest periods (quoted):
# 5-10 s 1:12 to 1:20; 15-30 s 1:3 to 1:5; 1-3 min 1:3 to 1:4; over 3 min 1:1 to 1:3.
def test_the_work_to_rest_table():
    rows = [(r.from_ms, r.to_ms, r.least, r.most) for r in WORK_TO_REST]
    assert rows == [
        (5_000, 10_000, 12, 20),
        (15_000, 30_000, 3, 5),
        (60_000, 180_000, 3, 4),
        (180_001, None, 1, 3),
    ]


# Published interval protocols rest less than that table says, but for work over 3 min; the
# comparison must say so and refuse nothing (computed from both).
@pytest.mark.parametrize(
    ("rounds", "work_s", "rest_s", "verdict"),
    [(8, 20, 10, "less"), (10, 60, 60, "less"), (4, 240, 180, "less"), (4, 240, 240, "as")],
)
def test_protocols_beside_the_table(rounds, work_s, rest_s, verdict):
    (bout,) = intervals(rounds, work_s, rest_s).bouts
    assert bout.verdict == verdict


# Height of characters by viewing distance, NUREG-0700 (read): at least 15 minutes of arc, better
# 20; 3 m: 13.1 / 17.5 mm; 5 m: 21.8 / 29.1 mm (computed).
@pytest.mark.parametrize(
    ("metres", "least", "preferred"), [(2, 8.7, 11.6), (3, 13.1, 17.5), (5, 21.8, 29.1)]
)
def test_letters_for_a_distance(metres, least, preferred):
    assert capital_mm(1000 * metres, LEAST_RAD) == pytest.approx(least, abs=0.05)
    assert capital_mm(1000 * metres, PREFERRED_RAD) == pytest.approx(preferred, abs=0.05)
    assert pytest.approx(np.radians(15 / 60), rel=1e-3) == LEAST_RAD
    assert pytest.approx(np.radians(20 / 60), rel=1e-3) == PREFERRED_RAD


def hertz(name):
    """Equal temperament, f = 440 x 2^((n - 69) / 12), A4 = 440 Hz (ISO 16, memory)."""
    n = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[name[0]] + 12 * int(name[1]) + 12
    return 440 * 2 ** ((n - 69) / 12)


def pitch(sound):
    """The strongest frequency by FFT, refined by a parabola through the peak."""
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 1 << 16))
    at = int(np.argmax(spectrum))
    below, peak, above = np.log(spectrum[at - 1 : at + 2])
    return (at + (below - above) / (2 * (below - 2 * peak + above))) * RATE_HZ / (1 << 16)


# C5 523.251, E5 659.255, G5 783.991, A5 880.000, C6 1046.502, E6 1318.510 Hz (computed). A box
# and so the file have whole Hz, so 5 cents (0.29 %) is the tolerance.
@pytest.mark.parametrize(
    ("cue", "notes"),
    [
        (cues.GO, ["E6"]),
        (cues.EASE, ["C6", "G5"]),
        (cues.NEAR, ["A5", "A5"]),
        (cues.COUNT, ["A5"]),
        (cues.SIDES, ["C6", "C6", "C6"]),
        (cues.TURN, ["G5", "C6"]),
        (cues.AWAIT, ["C5", "C5"]),
        (cues.CLOSE, ["G5", "C6", "E6"]),
    ],
)
def test_pitches_against_equal_temperament(cue, notes):
    sound = np.array(samples(cue), float)
    assert np.abs(sound).max() <= 32_768 * LEVEL
    heard, at = [], 0
    for tone_hz, ms in cues.MOTIFS[cue]:
        frames = ms * RATE_HZ // 1000
        if tone_hz:
            heard.append(pitch(sound[at : at + frames]))
        else:
            assert not sound[at : at + frames].any()
        at += frames
    assert at == len(sound)
    for found, note in zip(heard, notes, strict=True):
        assert abs(1200 * np.log2(found / hertz(note))) < 5, (note, found)


def test_a_whole_class_by_ear():
    """Every onset in the file, found by its energy alone, against the timeline."""
    built = build(load_plan(EXAMPLES["gate"]))
    ringing = bells(built.timelines[0].data)
    file = io.BytesIO()
    write_wav(file, ringing)
    file.seek(0)
    with wave.open(file) as wav:
        assert (wav.getnchannels(), wav.getsampwidth()) == (1, 2)
        rate = wav.getframerate()
        sound = np.frombuffer(wav.readframes(wav.getnframes()), "<i2")
    loud = np.flatnonzero(np.abs(sound) > 50)
    begins = loud[np.flatnonzero(np.diff(loud, prepend=-rate) > rate * 0.4)]
    assert len(begins) == len(ringing)
    for at, bell in zip(begins * 1000 / rate, ringing, strict=True):
        assert at == pytest.approx(bell.at_ms, abs=2)


# RFC 5545, read back by the icalendar library (its own parser of the standard).
def test_a_calendar_program_reads_the_class():
    icalendar = pytest.importorskip("icalendar", reason="pip install icalendar")
    built = build(load_plan(EXAMPLES["harbour"]))
    start = datetime(2026, 12, 1, 17, 0, tzinfo=timezone.utc)
    ms = int(start.timestamp() * 1000)
    data = calendar(built, ms, ms - 86_400_000, "Mind; the, step\\")
    (event,) = icalendar.Calendar.from_ical(data).walk("VEVENT")
    assert event["DTSTART"].dt == start
    assert (event["DTEND"].dt - start).total_seconds() == 960
    assert event["SUMMARY"] == "Harbour loop"
    assert str(event["DESCRIPTION"]).endswith("\nMind; the, step\\")
    assert "Kettlebell swing, Mountain climber" in event["DESCRIPTION"]
