"""The guide's order: a cell meets nothing before plus and minus are traced and read."""

import re

import pytest

from hardware.build import ROOT
from hardware.load import box_of, read

GUIDE = (ROOT / "docs" / "makers" / "build.md").read_text(encoding="utf-8")
SAFETY = (ROOT / "docs" / "coaches" / "safety.md").read_text(encoding="utf-8")


def section(number):
    return re.search(rf"\n## {number}\. .*?(?=\n## )", GUIDE, re.S)[0]


def steps(text):
    found = re.findall(r"^(\d)\. (.*?)(?=^\d\. |\n\n|\Z)", text, re.S | re.M)
    return [" ".join(words.split()) for _, words in found]


def first(texts, words):
    return next(n for n, text in enumerate(texts) if words in text)


def test_polarity_comes_before_the_cell_and_the_cell_before_the_charger():
    guide = steps(section(5))
    trace = first(guide, "multimeter on continuity")
    insert = first(guide, "a cell goes into the holder")
    join = first(guide, "Join the plug**, USB still unplugged")
    power = first(guide, "USB power into the charger")
    assert (trace, insert, join, power) == (0, 1, 2, 3)
    assert guide[trace].startswith("**Holder empty, USB unplugged, switch off.**")
    for end in ("spring", "B- on the charger and not B+", "B+ and not B-"):
        assert end in guide[trace]
    assert guide[insert].startswith("**Part the plug**") and "no minus sign" in guide[insert]


def test_nothing_powers_the_charger_or_takes_a_cell_before_that():
    before = GUIDE[: GUIDE.index("## 5. The cell")]
    assert "USB power" not in before and "ell in" not in before
    assert "near it" in section(3) and "No cell yet" in section(3)


def _on_the_cell(box, ref):
    cell = {end for net in ("CELL_PLUS", "CELL_MINUS") for end in box.net[net]}
    return any(end.startswith(f"{ref}.") for end in cell)


def test_the_cautions_say_that_nothing_stops_a_reversed_cell():
    said = " ".join(SAFETY.split())
    after = said[said.index("## A cell the wrong way round") :]
    for words in (
        "Nothing in this circuit stops it",
        "fire service",
        "local fire rules",
        "lithium",
    ):
        assert words in after
    assert "safety.md#a-cell-the-wrong-way-round" in GUIDE
    box = box_of(read())
    assert not [
        ref for ref, part in box.part.items() if part.kind == "mosfet" and _on_the_cell(box, ref)
    ], "something may stop a reversed cell now: the cautions should say so"


def test_on_usb_alone_the_guide_promises_no_light_and_no_sound():
    """What hangs on the battery has no supply: lamps, and the loudspeaker by its resistor."""
    fed = set(box_of(read()).net["BATTERY"])
    assert {"L1.VDD", "R5.1"} <= fed and not any(end.startswith("U1.") for end in fed)
    table = " ".join(section(4).split())
    assert "stay dark and silent" in table
    assert "the loudspeaker rings nothing and the battery reads 0" in table
    assert "all else passes. They have their turn in step 6" in table
    hardware = (ROOT / "docs" / "makers" / "hardware.md").read_text(encoding="utf-8")
    assert "dark lamps and a silent loudspeaker" in hardware


def test_the_live_half_of_the_cells_plug_is_the_covered_one():
    """Before a cell goes in, and where the plug is made. Common practice, no source."""
    text = " ".join(GUIDE.split())
    assert "half of the plug on the holder's lead is the one whose contacts are covered" in text
    parting = text.index("**Part the plug**")
    covered = text.index("the half on the cell's lead is the one with covered contacts", parting)
    assert covered < text.index("Only now a cell goes into the holder")


def test_the_cautions_cover_a_remote():
    """Nobody takes it for an emergency stop; eyes, necks and cells are thought of."""
    said = " ".join(SAFETY.split())
    emergency = re.search(r"- \*\*Emergency\.\*\*.*?(?= - \*\*)", said)[0]
    assert emergency.index("Call out first") < emergency.index(
        "**Nothing here is an emergency stop**"
    )
    remote = re.search(r"- \*\*Remote\.\*\*.*?(?= - \*\*)", said)[0]
    for words in (
        "IEC 62471 (from memory)",
        "not measured",
        "nobody looks into it",
        "must break away",
        "Local rules come",
    ):
        assert words in remote
    assert "**Batteries,** in boxes and remotes. Use protected lithium cells" in said


def test_a_remote_is_checked_before_its_cell_and_dark_with_it():
    text = " ".join(re.search(r"\n## The remote\n.*?(?=\n## )", GUIDE, re.S)[0].split())
    before = text.index("before there is any cell or USB near it")
    dark = text.index("all sixteen emitters are dark")
    assert before < text.index("with the cell as in step 5") < dark
    box = box_of(read(), "remote")
    assert len([ref for ref, part in box.part.items() if part.kind == "emitter"]) == 16
    assert "(GP19) to minus more than 1 MOhm" in text and box.pins.emitter == 19
    assert {"U1.emitter", "R15.1"} == set(box.net["EMITTER_PIN"])  # and C11 behind it
    assert "clasp that breaks away" in text and "clasp that breaks away" in box.part["X6"].what


def test_a_step_up_is_set_before_it_is_joined_and_the_page_says_to_what():
    """Turned up it breaks the driver: its volts are read first, and those are the source's."""
    text = " ".join(section(3).split())
    part = " ".join(text[text.index("### The emitters") :].split())
    setting = part.index("**Set the step-up first,** joined to nothing else")
    assert setting < part.index("Solder the rest")
    for variant, said in (("", "Turn it to 11.0 V"), ("remote", "(a remote's to 14.4 V)")):
        box = box_of(read(), variant)
        low, high = box.part["U7"].out_v
        assert said in part and f"{(low + high) / 2:.1f} V" in said
        assert f"set to {(low + high) / 2:.1f} V" in box.part["U7"].what
        assert high - low == pytest.approx(0.2)  # "within 0.1 V"
        assert box.part["U7"].most_v > box.part["U8"].supply_v[1]
    assert f"{box.part['U7'].most_v:g} V, and the driver U8 breaks" in part


def test_the_cautions_cover_the_emitters_capacitor_and_heat():
    said = " ".join(SAFETY.split())
    parts = re.search(r"- \*\*Emitters' parts\.\*\*.*?(?= - \*\*)", said)[0]
    for words in ("4400 uF at 14.4 V", "keeps its charge", "hot", "switched off"):
        assert words in parts
    box = box_of(read(), "remote")
    assert box.part["C9"].nf + box.part["C12"].nf == 4_400_000
