from handbell_core import cues
from handbell_core.timeline import BOTH_SIDES, GATE, LEAD_IN, REST, WINDOW


def sheet(kind, duration_ms, flags=0, count_s=0):
    out = []
    after = 0
    while True:
        offset, cue = cues.next_cue(kind, duration_ms, flags, count_s, after)
        if not cue:
            return out
        assert offset >= after
        out.append((offset, cue))
        after = offset + 1


def test_the_sheet():
    assert sheet(WINDOW, 30_000) == [(0, cues.GO), (27_000, cues.NEAR)]
    assert sheet(WINDOW, 7_900) == [(0, cues.GO)]
    assert sheet(GATE, 0) == [(0, cues.AWAIT)]
    assert sheet(REST, 10_000, count_s=3) == [
        (0, cues.EASE),
        (7_000, cues.COUNT),
        (8_000, cues.COUNT),
        (9_000, cues.COUNT),
    ]
    assert sheet(WINDOW, 20_000, BOTH_SIDES) == [
        (0, cues.GO),
        (10_000, cues.SIDES),
        (17_000, cues.NEAR),
    ]
    assert sheet(LEAD_IN, 5_000, count_s=10)[1:] == [(n * 1000, cues.COUNT) for n in range(1, 5)]


def test_tones_are_equal_temperament_between_500_and_2000_hz():
    # ISO 16: A4 = 440 Hz (from memory); f = 440 * 2 ** ((n - 69) / 12). The chip takes whole Hz.
    numbers = {cues.C5: 72, cues.E5: 76, cues.G5: 79, cues.A5: 81, cues.C6: 84, cues.E6: 88}
    numbers[cues.G6] = 91
    for hz, n in numbers.items():
        assert abs(hz - 440 * 2 ** ((n - 69) / 12)) < 0.5
    for motif in cues.MOTIFS.values():
        for tone, ms in motif:
            assert tone == 0 or 500 <= tone <= 2000
            assert ms > 0
    for cue in cues.MOTIFS:
        assert cues.motif_ms(cue) <= 600


def test_motifs_differ_in_rhythm():
    rhythms = [tuple((tone > 0, ms) for tone, ms in m) for m in cues.MOTIFS.values()]
    assert len(set(rhythms)) == len(rhythms)
