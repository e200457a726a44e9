"""An image onto a box: logs first, its drive, the copy, the proof; cut off anywhere; refused."""

import itertools
import json
from types import SimpleNamespace

import pytest
import sound_replies
from fake_board import AFTER, BEFORE
from fake_pico import URL, FakePico, patch
from made_image import image_file, name
from test_prepare import put, small_image

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.firmware import drives, flashing
from handbell.boxes.firmware.flashing import Means, flash
from handbell.boxes.firmware.uf2 import read_image
from handbell.boxes.link.messages import Hello
from handbell.cli.main import main

OWN = {"box.json": b'{"station": 3}', "timelines/00001-ab.tl": b"plan"}


@pytest.fixture
def image(tmp_path):
    return read_image(image_file(tmp_path / "new.uf2"))


@pytest.fixture
def pico(tmp_path, micropython, monkeypatch):
    """A box that runs a firmware from files, with plans and settings of its own."""
    pico = FakePico(tmp_path / "pico", micropython)
    patch(monkeypatch, pico)
    put(pico, small_image("0.1"))
    for path, data in OWN.items():
        (pico.flash / path).parent.mkdir(exist_ok=True)
        (pico.flash / path).write_bytes(data)
    return pico


@pytest.fixture
def collected(monkeypatch, pico):
    """Collecting brings home every log but those that are ``kept`` on the box."""
    came = SimpleNamespace(logs=[], kept=0, open=0)

    def collect(fleet, store, progress):
        home = pico.runs[came.kept :]
        for log in home:
            came.logs.append(log.read_bytes())
            log.unlink()
        value = SimpleNamespace(runs=[1] * len(home), open=came.open)
        return [SimpleNamespace(error=None, value=value, label="Box 3")]

    monkeypatch.setattr(flashing, "collect", collect)
    return came


def put_on(pico, image, url=URL, **more):
    means = Means(
        clock=pico,
        tell=pico.told.append,
        open_prompt=pico.open_prompt,
        drives=pico.drives,
        ports=pico.ports,
    )
    for key, value in more.items():
        setattr(means, key, value)
    return flash(url, image, None, means)


def log(pico, number, data=b"taps"):
    (pico.flash / "runs").mkdir(exist_ok=True)
    (pico.flash / "runs" / f"{number:05}.hbj").write_bytes(data)


def has_its_own(pico):
    return OWN.items() <= pico.files().items()


def test_the_image_runs_and_the_box_keeps_what_is_its_own(pico, image, collected):
    assert pico.start() == "firmware 0.1"
    done = put_on(pico, image)
    assert pico.start() == "image 0.2.0"
    assert has_its_own(pico) and pico.copies == 1
    assert (done.port, done.who.firmware, done.set_aside) == (URL, "0.2.0", "fw_a")
    assert "active" not in pico.files() and "fw_a/begin.mpy" in pico.files()
    said = " ".join(done.words())
    assert "firmware from its folder fw_a, which is set aside" in said
    assert any("boot mode" in words and "BOOTSEL" in words for words in pico.told)


def test_again_it_is_there_already(pico, image, collected):
    put_on(pico, image)
    done = put_on(pico, image)
    assert done.already and pico.copies == 1 and not pico.in_boot
    assert pico.start() == "image 0.2.0"
    assert done.words() == [f"The box has this image already: {name()}."]


def test_files_that_prepare_puts_there_later_go_first_until_the_image_comes_again(
    pico, image, collected
):
    put_on(pico, image)
    put(pico, small_image("0.3"))
    assert pico.start() == "firmware 0.3"
    done = put_on(pico, image)
    assert not done.already and done.set_aside == "fw_a"
    assert pico.start() == "image 0.2.0"


def test_logs_come_home_first(pico, image, collected):
    log(pico, 1)
    log(pico, 2, b"more")
    done = put_on(pico, image)
    assert done.collected == 2 and collected.logs == [b"taps", b"more"]
    assert done.words()[0] == "Logs brought home first: 2."


def test_with_logs_that_stay_nothing_is_done(pico, image, collected):
    log(pico, 1)
    log(pico, 2)
    collected.kept = 1
    with pytest.raises(BoxError, match=r"Box 3: 1 log is still on this box\. Bring them home"):
        put_on(pico, image)
    assert pico.start() == "firmware 0.1" and not pico.in_boot and pico.copies == 0
    assert len(pico.runs) == 1


def test_a_box_in_class_is_left_alone(pico, image, collected):
    pico.busy = True
    with pytest.raises(BoxError, match="in a class, which nothing may stop"):
        put_on(pico, image)
    assert not pico.in_boot


def test_a_box_whose_firmware_does_not_answer_keeps_its_logs(pico, image, collected):
    log(pico, 1)
    (pico.flash / "active").write_bytes(b"nothing")
    assert "begin" in pico.start()
    with pytest.raises(BoxError, match=r"1 log is still on this box.*prepare without --image"):
        put_on(pico, image)
    assert not pico.in_boot and pico.restarts == 2
    assert len(pico.runs) == 1


def test_another_board_is_refused(pico, image, collected):
    pico.machine = "Raspberry Pi Pico2 with RP2350"
    with pytest.raises(BoxError, match="RP2350, and the image is for the Pico"):
        put_on(pico, image)
    assert not pico.in_boot and pico.start() == "firmware 0.1"


def test_a_board_without_a_prompt_is_taken_when_somebody_holds_its_button(pico, image, collected):
    def sleep(seconds, inner=pico.sleep):
        if not pico.in_boot and pico.copies == 0:
            pico.hold_bootsel()
        inner(seconds)

    pico.sleep, pico.machine = sleep, ""

    def open_prompt(url):
        if pico.copies:
            pico.machine = "Raspberry Pi Pico with RP2040"
        return FakePico.open_prompt(pico, url)

    put_on(pico, image, open_prompt=open_prompt)
    assert pico.start() == "image 0.2.0"
    assert pico.told[0].startswith("Nothing answers on the port. Unplug the box, hold the button")


def test_a_new_board_in_boot_mode_needs_no_port(tmp_path, micropython, monkeypatch, image):
    pico = FakePico(tmp_path / "fresh", micropython)
    patch(monkeypatch, pico)
    pico.hold_bootsel()
    done = put_on(pico, image, url=None)
    assert pico.start() == "image 0.2.0"
    assert (done.port, done.before, done.kept) == (URL, "", None)
    assert done.words()[-1] == "To go back to what it had before, see docs/makers/image.md."


def test_the_box_may_come_back_on_another_port_beside_others(pico, image, collected):
    def take(image, inner=pico.take):
        pico.port = "another port"
        inner(image)

    pico.take = take
    done = put_on(pico, image, ports=lambda: ["some other box", *pico.ports()])
    assert done.port == "another port"


def test_the_way_back_is_the_image_that_was_there(pico, image, collected, tmp_path):
    put_on(pico, image)
    newer = read_image(image_file(tmp_path / "newer.uf2", "0.3.0", "ba9876543210"))
    done = put_on(pico, newer)
    assert done.before == image.name and done.kept.read_bytes() == image.path.read_bytes()
    assert done.words()[-1] == f"To go back: handbell prepare --image {done.kept}"
    back = put_on(pico, read_image(done.kept))
    assert pico.start() == "image 0.2.0" and back.before == newer.name


# Cut off


@pytest.mark.parametrize("tear", [BEFORE, AFTER])
def test_cut_off_at_any_word_with_the_board_nothing_is_lost_and_a_second_run_finishes(
    tmp_path, micropython, monkeypatch, image, tear
):
    for cut_at in itertools.count():
        pico = FakePico(tmp_path / f"cut{cut_at}", micropython)
        patch(monkeypatch, pico)
        monkeypatch.setattr(flashing, "collect", lambda *_: pytest.fail("there are no logs"))
        monkeypatch.setattr(flashing, "bring_home", lambda *_: 0)
        put(pico, small_image("0.1"))
        operations = itertools.count()

        def open_prompt(url, pico=pico, operations=operations, cut_at=cut_at):
            prompt = pico.open_prompt(url, cut_at, tear)

            def operate(whole, torn=None, inner=prompt._operate):
                pico.operations = next(operations)
                return inner(whole)

            prompt._operate = operate
            return prompt

        try:
            put_on(pico, image, open_prompt=open_prompt)
        except BoxError as error:
            assert "stopped answering" in str(error)
        else:
            assert cut_at > 3
            break
        pico.unplug()
        assert pico.start() in ("firmware 0.1", "image 0.2.0")
        put_on(pico, image)
        assert pico.start() == "image 0.2.0"


@pytest.mark.parametrize("at", range(5))
def test_left_while_waiting_a_second_run_finishes(pico, image, collected, at):
    naps = itertools.count()

    def sleep(seconds, inner=pico.sleep):
        if next(naps) == at:
            raise KeyboardInterrupt
        inner(seconds)

    pico.sleep = sleep
    try:
        put_on(pico, image)
        assert at > 0
    except KeyboardInterrupt:
        pico.unplug()
        assert pico.start() in ("firmware 0.1", "image 0.2.0") and has_its_own(pico)
    pico.sleep = lambda seconds: FakePico.sleep(pico, seconds)
    put_on(pico, image)
    assert pico.start() == "image 0.2.0" and has_its_own(pico)


def test_torn_in_the_copy_the_board_stays_in_boot_mode_and_is_asked_for_again(
    pico, image, collected, monkeypatch
):
    def torn(folder, name, data):
        (folder / name).write_bytes(data[: len(data) // 2])
        return OSError(5, "Input/output error")

    with monkeypatch.context() as patched:
        patched.setattr(flashing, "copy_onto", torn)
        with pytest.raises(HandbellError, match=r"given the image \(Input/output error\) and does"):
            put_on(pico, image)
    assert pico.in_boot and has_its_own(pico)
    done = put_on(pico, image, url=None)
    assert pico.start() == "image 0.2.0" and done.set_aside == ""
    assert "active" not in pico.files()


def test_an_error_at_the_end_of_a_copy_that_arrived_is_none(pico, image, collected, monkeypatch):
    def vanishes(folder, name, data):
        (folder / name).write_bytes(data)
        return OSError(19, "No such device")

    monkeypatch.setattr(flashing, "copy_onto", vanishes)
    assert put_on(pico, image).who.firmware == "0.2.0"


def test_without_a_drive_it_says_what_to_do_and_the_box_is_as_before(pico, image, collected):
    with pytest.raises(HandbellError, match=r"No drive RPI-RP2 appeared, and nothing.*--drive"):
        put_on(pico, image, drives=lambda: [])
    pico.unplug()
    assert pico.start() == "firmware 0.1" and has_its_own(pico)


def test_of_two_drives_none_is_taken(pico, image, collected, tmp_path):
    with pytest.raises(HandbellError, match="2 boards are in boot mode"):
        put_on(pico, image, drives=lambda: [pico.drive, tmp_path])
    assert pico.copies == 0


def test_a_board_that_still_has_what_it_had_is_found_out(pico, image, collected, monkeypatch):
    monkeypatch.setattr(pico, "take", lambda image: pico.unplug())
    with pytest.raises(BoxError, match=r"runs firmware 0\.1 of no image, and not Handbell image"):
        put_on(pico, image)


# The drive


def drive(folder, board="RPI-RP2"):
    folder.mkdir(parents=True)
    (folder / "INFO_UF2.TXT").write_text(f"UF2 Bootloader v3.0\r\nBoard-ID: {board}\r\n")
    return folder


def test_a_drive_is_known_by_what_is_written_on_it(tmp_path):
    drives.check_drive(drive(tmp_path / "a"))
    with pytest.raises(HandbellError, match=r"is a RP2350, and the image is for the Pico"):
        drives.check_drive(drive(tmp_path / "b", "RP2350"))
    with pytest.raises(HandbellError, match=r"is no drive of a board in boot mode"):
        drives.check_drive(tmp_path)


def test_drives_are_looked_for_where_this_computer_shows_them(tmp_path, monkeypatch):
    here = drive(tmp_path / "media" / "somebody" / "RPI-RP2")
    (tmp_path / "media" / "somebody" / "Photos").mkdir()
    places = sorted((tmp_path / "media").glob("*/*"))
    monkeypatch.setattr(drives, "_places", lambda: places)
    assert drives.find_drives() == [here]


def test_copying_tells_what_went_wrong_once_it_had_begun(tmp_path, monkeypatch):
    assert drives.copy_onto(tmp_path, "a.uf2", b"data") is None
    assert (tmp_path / "a.uf2").read_bytes() == b"data"
    with pytest.raises(HandbellError, match="Nothing can be written to"):
        drives.copy_onto(tmp_path / "gone", "a.uf2", b"data")

    def fails(_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("os.fsync", fails)
    assert drives.copy_onto(tmp_path, "a.uf2", b"data").errno == 5


# The command


def test_the_command_says_what_was_done_and_hangs_the_box(
    pico, image, collected, monkeypatch, capsys
):
    monkeypatch.setenv("HANDBELL_PORTS", "'the port'")
    monkeypatch.setattr("handbell.boxes.firmware.drives.find_drives", list)
    monkeypatch.setattr("handbell.boxes.link.connection.Connection", pico.connect)
    done = flashing.Flashed(
        image.name, URL, before=name("0.1"), set_aside="fw_b", collected=1, who=WHO
    )
    monkeypatch.setattr(flashing, "flash", lambda *_: done)
    assert main(["prepare", "--image", str(image.path), "--station", "3"]) == 0
    out = capsys.readouterr().out
    assert "Logs brought home first: 1." in out and "fw_b, which is set aside" in out
    assert f"Box {sound_replies.ID} on the port: station 3" in out
    assert main(["prepare", "--image", str(image.path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["data"]["image"] == image.name


WHO = Hello(sound_replies.ID, board="pico", firmware="0.2.0", python="1.28.0")


def test_a_file_that_is_no_image_is_told_before_anything_is_done(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("handbell.boxes.link.fleet.Fleet", pytest.fail)
    (tmp_path / "a.uf2").write_bytes(b"no")
    assert main(["prepare", "--image", str(tmp_path / "a.uf2")]) == 1
    assert "is no UF2 image" in capsys.readouterr().err
    assert main(["prepare", "--drive", str(tmp_path)]) == 2
    assert "--drive goes with --image" in capsys.readouterr().err
