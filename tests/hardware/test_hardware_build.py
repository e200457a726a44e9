"""Every artefact is current, one command makes them, and prices add up."""

import re
import shutil

import pytest
import tomlkit

from handbell.base.errors import HandbellError
from hardware import build, prices
from hardware.load import PATH, box_of

pytest.importorskip("schemdraw", reason="schemdraw draws the schematic")


OF_THE_BOX = {build.PAGE, build.SCHEMATIC, build.PICTURE}
OF_THE_REMOTE = {build.PAGE, build.REMOTE_SCHEMATIC, build.REMOTE_PICTURE}
ARTEFACTS = OF_THE_BOX | OF_THE_REMOTE


@pytest.fixture
def copied(tmp_path):
    """A copy of box.toml and of the artefacts: (source, root)."""
    for path in ARTEFACTS:
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(build.ROOT / path, tmp_path / path)
    source = tmp_path / "box.toml"
    shutil.copy(PATH, source)
    return source, tmp_path


def alter(source, table, key, value):
    document = tomlkit.parse(source.read_text(encoding="utf-8"))
    place = document
    for part in table.split("/"):
        place = place[part]
    place[key] = value
    source.write_text(tomlkit.dumps(document), encoding="utf-8")


def test_check_passes(capsys):
    """What CI runs: no fault, nothing stale."""
    assert build.main(["--check"]) == 0, capsys.readouterr().err


def test_check_tells_what_the_rules_found_where_the_drawing_fails_of_it(
    copied, capsys, monkeypatch
):
    """A cell the wrong way round makes the schematic wrong, too: both are told."""
    source, _ = copied
    nets = source.read_text(encoding="utf-8")
    other = {"BT1.+": "BT1.-", "BT1.-": "BT1.+"}
    source.write_text(re.sub(r"BT1\.[+-]", lambda match: other[match[0]], nets), encoding="utf-8")
    monkeypatch.setattr(build.faults, "__defaults__", (source,))
    monkeypatch.setattr(build.stale, "__defaults__", (source, build.ROOT))
    assert build.main(["--check"]) == 1
    told = capsys.readouterr().err
    assert "BT1's + is not on U4's B+" in told
    assert "schematic is not box.toml" in told


def test_everything_committed_is_current():
    assert build.stale() == []


@pytest.mark.parametrize(
    "table, key, value, stale",
    [
        ("pins", "lamps", 17, OF_THE_BOX),
        ("part/R4", "ohm", 910, OF_THE_BOX),
        ("part/R10", "ohm", 11_000, ARTEFACTS),
        ("variant/remote/part/C12", "nf", 1_000_000, OF_THE_REMOTE),
        ("part/R15", "ohm", 1_100, ARTEFACTS),
        ("pins", "emitter", 20, ARTEFACTS),
        ("part/U2", "price", 21.0, {build.PAGE}),
        ("part/L1", "colour_ma", 12, {build.PAGE}),
    ],
)
def test_a_change_makes_what_shows_it_stale(copied, table, key, value, stale):
    source, root = copied
    alter(source, table, key, value)
    found = build.stale(source, root)
    assert {path for path in ARTEFACTS if any(path.as_posix() in fault for fault in found)} == stale
    assert all("run `python -m hardware.build`" in fault for fault in found)
    assert set(build.write(source, root)) == stale
    assert build.stale(source, root) == [] and build.write(source, root) == []


def test_a_page_without_its_markers_is_refused(copied):
    source, root = copied
    page = root / build.PAGE
    page.write_text(page.read_text(encoding="utf-8").replace("made: nets", "made: knots"))
    with pytest.raises(HandbellError, match="don't match: knots, nets"):
        build.write(source, root)


def test_a_broken_source_is_a_sentence(copied):
    source, root = copied
    alter(source, "part/R4", "ohms", 910)
    with pytest.raises(HandbellError, match=r"box.toml: part.R4.ohms: Extra inputs"):
        build.stale(source, root)
    source.write_text("[part", encoding="utf-8")
    with pytest.raises(HandbellError, match=r"box\.toml can't be read"):
        build.stale(source, root)


def test_prices_add_up(data):
    """Summed again from the file as it stands: one button, then twelve boxes, a spare, a hub."""
    one = sum(part["price"] * (3 if "%" in ref else 1) for ref, part in data["part"].items())
    assert prices.box_price(box_of(data)) == pytest.approx(one)
    button = sum(data["part"][ref]["price"] for ref in ("SB#", "RP#", "RS#", "CB#"))
    assert prices.box_price(box_of(data, buttons=4)) == pytest.approx(one + 3 * button)
    hub = next(
        item["price"] for item in data["shared"] if item["set"] == "twelve" and "price" in item
    )
    assert prices.set_price(data, "twelve") == pytest.approx(13 * one + hub)


def test_a_remotes_price_adds_up(data):
    """Summed again from the file: what it drops, changes and adds; four buttons, four strings."""
    change = data["variant"]["remote"]
    total = 0.0
    for ref in {*data["part"], *change["part"]} - set(change["drop"]):
        part = data["part"].get(ref, {}) | change["part"].get(ref, {})
        total += part["price"] * (0 if "%" in ref else 4 if "#" in ref or "@" in ref else 1)
    assert prices.box_price(box_of(data, "remote")) == pytest.approx(total)
    page = (build.ROOT / build.PAGE).read_text(encoding="utf-8")
    assert f"| {total:.2f} |" in page and f"**{total:.2f}**" in page


def test_page_tells_the_prices_with_their_date(data):
    page = (build.ROOT / build.PAGE).read_text(encoding="utf-8")
    one = prices.box_price(box_of(data))
    assert f"| one box: the reference box | {one:.2f} |" in page
    assert f"**{prices.set_price(data, 'twelve'):.2f}**" in page
    assert "prices from memory, 2026-11" in page


def test_every_part_is_ordered_once(data):
    for variant in ("", "perfboard", "aa", "bench", "remote"):
        box = box_of(data, variant)
        ordered = [ref for line in prices.lines(box) for ref in line.refs]
        assert sorted(ordered) == sorted(box.part)


def test_page_is_drawn_between_its_markers_only():
    page = (build.ROOT / build.PAGE).read_text(encoding="utf-8")
    names = re.findall(r"<!-- made: (\w+) -->", page)
    assert len(names) == len(set(names)) == page.count("<!-- end -->")


def test_a_remote_needs_its_clock_part_and_a_box_does_not(data):
    """Without it a remote that lost its power in class leads it no more."""
    needed = {name: not box_of(data, name).part["U3"].optional for name in ("", "remote")}
    assert needed == {"": False, "remote": True}
