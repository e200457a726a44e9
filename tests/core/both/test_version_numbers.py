from handbell_core.versions import name, reads


def test_a_minor_is_always_read_and_a_later_major_never():
    assert [name(v) for v in (1, 2, 0x11, 0xF2)] == ["1.0", "2.0", "1.1", "2.15"]
    assert reads(2, 1) and reads(2, 2)
    assert reads(2, 0x12) and reads(0x12, 2), "newer and older by a minor"
    assert reads(2, 0xF1)
    assert not reads(2, 3) and not reads(0x12, 3) and not reads(1, 2)
    assert not reads(2, 0) and not reads(2, 0x10), "no major is no version"
