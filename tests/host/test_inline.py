"""Constants put where they are used: what the program says is the same, and what can go is gone."""

import ast
import re

import pytest
from inlined import said

from handbell.base.errors import HandbellError
from handbell.boxes.firmware.files import firmware_root, sources
from handbell.boxes.firmware.inline import LARGEST, inline

PARTS = """\
from array import array

LIMIT = 1_500  # in ms
HALF = LIMIT // 2
_MASK = (1 << 6) - 1
LESS = -3
ON, OFF = 1, 0
READY, SET, PLAY = range(1, 4)
WORDS = ("", "ready", "set")
LONG = 1 << 40
SIZE = array
LAST = LARGEST = (1 << 30) - 1


def masked(value=LIMIT):
    return value & _MASK
"""


@pytest.fixture
def turned(tmp_path):
    """A function that turns a program and checks that it says the same; it returns the files."""

    def turn(main, keep=(), **others):
        files = {"main.py": main, "parts.py": PARTS}
        files |= {f"{name}.py": text for name, text in others.items()}
        out = inline({path: text.encode() for path, text in files.items()}, keep)
        assert said(tmp_path, out, "after") == said(tmp_path, files, "before") != ""
        for path, text in files.items():
            assert out[path].count(b"\n") == text.count("\n"), "no line moves"
        return {path: text.decode() for path, text in out.items()}

    return turn


def test_a_value_takes_the_place_of_an_imported_name_and_the_name_goes(turned):
    out = turned("from parts import HALF, LIMIT, masked\nprint(LIMIT + 1, HALF, masked())\n")
    assert out["main.py"] == "from parts import masked\nprint((1500) + 1, (750), masked())\n"
    left = set(re.findall(r"\w+", out["parts.py"]))
    assert not left & {"LIMIT", "HALF", "_MASK", "LESS", "ON", "OFF", "READY"}
    assert {"WORDS", "LONG", "SIZE", "LAST"} <= left
    assert "(1500)" in out["parts.py"], "a default of an argument"


def test_a_module_taken_for_its_values_alone_is_not_imported(turned):
    plain = "A = 1\nB = 2\n"
    out = turned("import sys\nimport plain\nfrom plain import A\nprint(A)\n", plain=plain)
    assert "import plain" in out["main.py"], "whoever takes the module itself keeps it"
    out = turned("from plain import A, B\nprint(A, B)\n", plain=plain)
    assert out["main.py"].splitlines()[0] == "pass"
    loud = "print('loud')\nA = 1\n"
    out = turned("from loud import A\nprint(A)\n", loud=loud)
    assert out["main.py"].splitlines()[0] == "import loud"
    assert out["loud.py"] == "print('loud')\npass\n"
    out = turned("from loud import A\nloud = A\nprint(loud)\n", loud=loud)
    assert out["main.py"].splitlines()[0] == "from loud import A", "its name is taken"


def test_a_module_of_the_same_package_is_imported_without_names(turned):
    files = {"pack/__init__": "", "pack/loud": "print('loud')\nA = 1\n"}
    out = turned(
        "import pack.other\n", **files, **{"pack/other": "from .loud import A\nprint(A)\n"}
    )
    assert out["pack/other.py"] == "from . import loud\nprint((1))\n"


def test_one_module_s_name_does_not_hold_another_s_back(turned):
    main = "from one import A\nfrom two import A as B\nprint(A, B)\n"
    out = turned(main, one="A = 'text'\n", two="A = 2\n")
    assert out["two.py"] == "pass\n" and out["one.py"] == "A = 'text'\n"


def test_what_only_a_type_checker_reads_holds_nothing_back(turned):
    passes_on = "from parts import ON, OFF\nTYPE_CHECKING = False\nif TYPE_CHECKING:\n"
    passes_on += "    from parts import SET\n    __all__ = ['ON']\n"
    out = turned("from on import OFF, ON\nprint(ON, OFF)\n", on=passes_on)
    assert out["main.py"].splitlines()[0] == out["on.py"].splitlines()[0] == "pass"
    assert not {"ON", "OFF", "SET"} & set(re.findall(r"\w+", out["parts.py"]))


def test_a_range_that_begins_below_nothing(turned):
    out = turned("A, B = range(-1, 1)\nprint(A, B)\n")
    assert out["main.py"] == "pass\nprint((-1), (0))\n"


def test_through_a_module_s_name_and_another_name(turned):
    main = "import sys\nfrom pack import parts as p\nfrom pack.parts import SET as S\n"
    main += "print(p.READY, S, p.WORDS[p.READY], p.LESS ** 2, 2 ** p.LESS, p.ON.bit_length())\n"
    out = turned(main, **{"pack/__init__": "", "pack/parts": PARTS})
    assert "p.WORDS[(1)]" in out["main.py"] and "(-3) ** 2" in out["main.py"]
    assert "SET" not in out["main.py"]


def test_within_a_package_by_dots_and_over_two_steps(turned):
    out = turned(
        "from pack.other import B, C\nprint(B, C)\n",
        **{
            "pack/__init__": "",
            "pack/one": "A = 5\n",
            "pack/other": "from . import one\nfrom .one import A\nB = A + 1\nC = one.A * 2\n",
        },
    )
    assert out["main.py"] == "pass\nprint((6), (10))\n"
    assert out["pack/other.py"] == "pass\npass\npass\npass\n"


def test_of_names_unpacked_from_a_range_only_those_needed_are_bound(turned):
    out = turned("import parts\nprint(parts.PLAY, parts.SET)\n", keep=("SET",))
    assert out["parts.py"].splitlines()[7] == "SET = 2; PLAY = 3"
    assert "(3)" not in out["main.py"], "a plain import is left alone"


@pytest.mark.parametrize(
    ("main", "stays"),
    [
        ("from parts import LIMIT\ndef f(LIMIT):\n    return LIMIT\nprint(f(2), LIMIT)", "(LIMIT)"),
        ("from parts import LIMIT\nLIMIT += 1\nprint(LIMIT)", "print(LIMIT)"),
        ("N = 1\nN = N + 1\nprint(N)", "N = N + 1"),
        ("N = 1\ndef f():\n    global N\n    N = 2\nf()\nprint(N)", "print(N)"),
        ("N = 1\ndef f():\n    N = 5\n    return N\nprint(f(), N)", "print(f(), N)"),
        ("N = 1\nprint([N for N in range(3)], N)", ", N)"),
        ("N = 1\nclass A:\n    N = 2\n    M = N\nprint(A.N, A.M, N)", "M = N"),
        ("N = 1\ntry:\n    raise OSError\nexcept OSError as N:\n    pass\nprint(1)", "N = 1"),
        ("N = 1\ndel N\nprint('N' in globals())", "del N"),
        ("N = 1\nprint(globals()['N'])", "N = 1"),
        ("if True:\n    N = 1\nprint(N)", "print(N)"),
        ("for N in (1, 2):\n    pass\nprint(N)", "print(N)"),
        ("A = B = 3\nprint(A, B)", "A = B = 3"),
        ("from parts import LONG, SIZE\nprint(LONG, SIZE)", "(LONG, SIZE)"),
        ("import parts\nparts.LIMIT = 7\nfrom parts import LIMIT\nprint(LIMIT)", "print(LIMIT)"),
        ("from parts import *\nprint(LIMIT)", "print(LIMIT)"),
        ("N = 1\nfrom parts import *\nprint(N)", "print(N)"),
        ("def f():\n    from parts import LIMIT\n    return LIMIT\nprint(f())", "return LIMIT"),
        ("import parts\nprint(getattr(parts, 'LIMIT'))", "'LIMIT'"),
        ("import parts\nsetattr(parts, 'ON', 5)\nfrom parts import ON\nprint(ON)", "print(ON)"),
        ("class A:\n    HALF = 2\nprint(A().HALF)", "A().HALF"),
        ("N = 4\nprint(f'{N:>{N}} {N=}')", "N = 4"),
        ("from parts import LIMIT\nprint(f'{LIMIT}')", "from parts import LIMIT"),
        ("N = 1\nif (N := 2) > 1:\n    print(N)", "print(N)"),
        ("__version__ = 3\nprint(__version__)", "__version__ = 3"),
        (
            "def f(n, limit):\n    return n + limit\nlimit = 5\nprint(f(1, limit=limit))",
            "limit=limit",
        ),
    ],
)
def test_what_can_not_be_proven_stays(turned, main, stays):
    assert stays in turned(main + "\n")["main.py"]


def test_values_reach_into_defaults_tuples_classes_and_inner_functions(turned):
    main = """\
from parts import (
    LIMIT,  # in ms
    OFF,
    masked as m,
    ON,
)
PAIR = (ON, (OFF, LIMIT))


class A:
    AT = LIMIT

    def f(self, by=ON):
        def inner(more=OFF):
            return lambda: [by + ON + more for _ in range(ON)]

        return inner()()


assert ON
x = y = 0
if not OFF and x is not ON: y = ON; x = (ON
    + OFF)
print(PAIR, A.AT, A().f(), m(), x, y)
"""
    out = turned(main)["main.py"]
    assert "ON" not in out.replace("MASK", "") and "LIMIT" not in out
    assert "from parts import masked as m\n" in out


def test_what_never_runs_is_told_so(turned):
    out = turned("TYPE_CHECKING = False\nif TYPE_CHECKING:\n    import nowhere\nprint(1)\n")
    assert out["main.py"].startswith("pass\nif (False):")


def test_numbers_that_are_objects_on_the_chip_stay_names(turned):
    out = turned(f"A = {LARGEST}\nB = A + 1\nprint(A, B)\n")["main.py"]
    assert out == f"pass\nB = ({LARGEST}) + 1\nprint(({LARGEST}), B)\n"


def test_a_board_of_its_own_finds_every_name_that_ours_have(turned):
    boards = {"boards/__init__": "", "boards/one": "LAMPS = 8\nTICKS = 5\n"}
    out = turned("from boards.one import LAMPS\nprint(LAMPS)\n", **boards)
    assert out["boards/one.py"] == boards["boards/one"]


def test_a_file_that_is_no_python_is_named():
    with pytest.raises(HandbellError, match=r"box/app\.py is not Python"):
        inline({"box/app.py": b"def:\n"})


def test_few_of_the_firmware_s_numbers_keep_their_names():
    def names(files):
        return {
            target.id
            for path, text in files.items()
            for node in ast.parse(text).body
            if not path.startswith("boards/") and isinstance(node, ast.Assign)
            if isinstance(node.value, ast.Constant) and type(node.value.value) is int
            for target in node.targets
        }

    before = {path: file.read_bytes() for path, file in sources(firmware_root()).items()}
    had, left = names(before), names(inline(before))
    assert len(had) > 100
    assert len(left) < len(had) // 10, left
