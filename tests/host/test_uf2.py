"""Images: what the UF2 description and the RP2040's boot mode ask, and what is refused in words."""

import pytest
from made_image import image_file, name, uf2_file

from handbell.base.errors import HandbellError
from handbell.boxes.firmware.uf2 import FILES_AT, flash_of, read_image


def test_an_image_is_read_whole_and_says_what_it_is(tmp_path):
    image = read_image(image_file(tmp_path / "a.uf2", "1.2.3", "00ff00ff00ff"))
    assert (image.version, image.runtime) == ("1.2.3", "1.28.0")
    assert image.name == name("1.2.3", "00ff00ff00ff")
    assert image.flash[:256] == bytes(range(256)) and len(image.flash) == 3_072
    assert len(image.sha256) == 64


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "is no UF2 image"),
        (b"\x7fELF" + bytes(600), "is no UF2 image"),
        (uf2_file(bytes(600))[:-1], "ends in the middle"),
        (uf2_file(bytes(600))[:-512], "not whole: block 0 of 3"),
        (uf2_file(bytes(600))[512:], "not whole: block 1 of 3"),
        (uf2_file(bytes(600)) * 2, "not whole"),
        (uf2_file(bytes(600), block={1: {0: 7}}), "damaged in block 1"),
        (uf2_file(bytes(600), block={1: {1: 7}}), "damaged in block 1"),
        (uf2_file(bytes(600), family=0xE48BFF59), "another chip"),  # an RP2350's
        (uf2_file(bytes(600), block={2: {2: 0}}), "another chip"),
        (uf2_file(bytes(600), block={2: {2: 0x2001}}), "block 2 is none"),  # not for the flash
        (uf2_file(bytes(600), block={1: {4: 252}}), "block 1 is none"),
        (uf2_file(bytes(600), block={1: {3: 0x10000200}}), "block 1 is none"),
        (uf2_file(bytes(600), at=0x20000000), "block 0 is none"),  # into memory, not the flash
        (uf2_file(bytes(FILES_AT + 1)), "reaches into the board's own files"),
        (uf2_file(bytes(600)), "holds no Handbell firmware"),
    ],
)
def test_what_is_wrong_with_an_image_is_said(tmp_path, data, why):
    (tmp_path / "a.uf2").write_bytes(data)
    with pytest.raises(HandbellError, match=why):
        read_image(tmp_path / "a.uf2")


def test_a_block_that_lost_its_end_is_told(tmp_path):
    data = bytearray(uf2_file(bytes(600)))
    data[511] ^= 1
    with pytest.raises(HandbellError, match="damaged in block 0"):
        flash_of(tmp_path, bytes(data))


def test_an_image_may_fill_all_before_the_board_s_files(tmp_path):
    assert len(flash_of(tmp_path, uf2_file(bytes(FILES_AT)))) == FILES_AT


def test_an_image_that_is_not_there_is_one_sentence(tmp_path):
    with pytest.raises(HandbellError, match=r"none\.uf2 can't be read"):
        read_image(tmp_path / "none.uf2")
