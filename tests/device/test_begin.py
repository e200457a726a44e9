"""What a start makes of little memory: what it keeps clear for the class gives way to the box."""

import pytest
from troubled import play, troubled

from handbell_core import journal
from rig import Rig, of_kind

pytestmark = pytest.mark.usefixtures("micropython")


@pytest.mark.parametrize("where", ["Storage.__init__", "Log.__init__"])
def test_a_box_that_finds_too_little_memory_at_first_starts_without_a_clear_piece(tmp_path, where):
    trouble = f"""
        from box.log import Log
        from box.storage import Storage
        whole = {where}
        def tight(self, *a):
            if clear:
                raise MemoryError
            whole(self, *a)
        {where} = tight
    """
    rig, _ = play(tmp_path, trouble)
    with rig:
        (run,) = rig.runs()
    assert len(of_kind(run, journal.TAP)) == 5


def test_a_box_whose_modules_find_too_little_memory_at_first_imports_them_anew(tmp_path):
    firmware = troubled(tmp_path, "")
    begin = firmware / "begin.py"
    text = begin.read_text(encoding="utf-8")
    tight = "        if clear:\n            raise MemoryError\n        from box.app import App\n    except"
    assert text.count("        from box.app import App\n    except") == 1
    begin.write_text(
        text.replace("        from box.app import App\n    except", tight), encoding="utf-8"
    )
    with Rig(tmp_path, firmware=firmware) as rig:
        assert rig.ask("status")["state"] == "empty"
