"""Short names in the firmware: what the program says is the same, and the long names are gone."""

import ast
import re

import pytest
from inlined import said

from handbell.base.errors import HandbellError
from handbell.boxes.firmware.files import firmware_root, inlined, shortened
from handbell.boxes.firmware.readable import readable
from handbell.boxes.firmware.shorten import runtime_names, shorten
from handbell.boxes.firmware.shorten_scopes import told_by


@pytest.fixture
def turned(tmp_path):
    """A function that turns a program and checks that it says the same; it returns the files."""

    def turn(main, keep=(), **others):
        files = {"main.py": main}
        files |= {f"{name}.py": text for name, text in others.items()}
        out = shorten({path: text.encode() for path, text in files.items()}, keep)
        assert said(tmp_path, out, "after") == said(tmp_path, files, "before") != ""
        for path, text in files.items():
            assert out[path].count(b"\n") == text.count("\n"), "no line moves"
        return {path: text.decode() for path, text in out.items()}

    return turn


def words(text):
    return set(re.findall(r"\w+", text))


PART = """\
_LIMIT = 3


def _twice(number):
    return 2 * number


class Part:
    kept = 5

    def __init__(self, place):
        self.place = place
        self._count = _LIMIT

    def more(self, by=_LIMIT):
        self._count += _twice(by)
        return self._count

    @property
    def total(self):
        return self._count
"""


def test_arguments_attributes_methods_and_a_module_s_own_names_become_short(turned):
    main = "from part import Part\npart = Part(1)\nprint(part.more(2), part.more(), part.total)\n"
    out = turned(main + "print(part.place, part.kept)\n", part=PART)
    left = words(out["part.py"])
    assert not left & {"_LIMIT", "_twice", "number", "place", "_count", "more", "by", "total"}
    assert {"Part", "kept", "self", "__init__"} <= left


def test_what_something_outside_needs_stays(turned):
    out = turned("from part import Part\nprint(Part(1).more(2))\n", {"more", "place"}, part=PART)
    assert {"more", "place"} <= words(out["part.py"]) and "_count" not in out["part.py"]


def test_the_same_short_name_serves_things_that_can_not_be_taken_for_one_another(turned):
    main = "class A:\n    def __init__(self):\n        self.alpha = 1\n"
    main += "class B:\n    def __init__(self):\n        self.beta = 2\n"
    main += (
        "class C(B):\n    def __init__(self):\n        B.__init__(self)\n        self.gamma = 3\n"
    )
    main += "a, c = A(), C()\nprint(a.alpha, c.beta, c.gamma)\n"
    out = turned(main)["main.py"]
    (shown,) = re.findall(r"print\(a\.(\w+), c\.(\w+), c\.(\w+)\)", out)
    assert shown[1] != shown[2] and shown[0] in shown[1:]


@pytest.mark.parametrize(
    ("main", "stays"),
    [
        ("def f(first, second):\n    return first - second\nprint(f(second=1, first=3))", "second"),
        ("def f(first=1, **more):\n    return first, more\nprint(f(**{'first': 2}))", "first"),
        (
            "class A:\n    def __init__(self):\n        self.name = 4\nprint(getattr(A(), 'name'))",
            "name",
        ),
        ("class A:\n    pass\na = A()\nsetattr(a, 'name', 3)\nprint(a.name)", "name"),
        ("class A:\n    name = 4\nprint(A().name)", "name"),
        ("class A:\n    def one(self):\n        return 1\n    two = one\nprint(A().two())", "one"),
        ("class A:\n    def close(self):\n        return 1\nprint(A().close())", "close"),
        ("def f(value):\n    return f'{value}'\nprint(f(2))", "value"),
        (
            "def f(value):\n    class A:\n        value = 2\n    return A.value, value\nprint(f(1))",
            "value",
        ),
        (
            "def f(value):\n    def g():\n        nonlocal value\n        value += 1\n    g()\n    return value\nprint(f(2))",
            "value",
        ),
        (
            "def f(value):\n    try:\n        raise OSError\n    except OSError as value:\n        return 1\nprint(f(2))",
            "value",
        ),
        (
            "def f(value):\n    import sys as value\n    return value.byteorder\nprint(f(2))",
            "value",
        ),
        ("_own = 1\ndef f():\n    global _own\n    _own = 2\nf()\nprint(_own)", "_own"),
        (
            "_twice = 3\ndef f(_twice):\n    return _twice\nprint(f(_twice=2), _twice)",
            "_twice",
        ),
        ("class limit:\n    pass\nprint(limit is not None)", "limit"),
        ("from os.path import join as _own\nprint(_own('a', 'b'))", "_own"),
        ("_own = 1\nclass A:\n    _own = 2\n    other = _own\nprint(A.other, _own)", "_own"),
        ("_own = 1\nprint(globals()['_own'])", "_own"),
        ("_own = 1\nclass A:\n    def f(self):\n        self._own = 2\nprint(_own)", "_own"),
    ],
)
def test_what_can_not_be_proven_stays(turned, main, stays):
    assert stays in words(turned(main + "\n")["main.py"])


@pytest.mark.parametrize(
    "main",
    [
        # inner functions, and what they bind anew
        "def f(alpha, beta):\n    def g(alpha):\n        return alpha + beta\n    return g(1) + alpha\nprint(f(10, 100))",
        "def f(alpha):\n    def g():\n        alpha = 5\n        return alpha\n    return g(), alpha\nprint(f(1))",
        "def f(alpha):\n    return (lambda beta=alpha: (lambda alpha: alpha + beta)(1))()\nprint(f(7))",
        "def f(alpha):\n    g = lambda: alpha\n    alpha = 8\n    return g()\nprint(f(7))",
        # comprehensions that take the name of an argument
        "def f(alpha, beta):\n    return [alpha for alpha in beta], alpha\nprint(f(1, [2, 3]))",
        "def f(alpha, beta):\n    def g():\n        return [alpha for alpha in beta] + [alpha]\n    return g()\nprint(f(1, [2, 3]))",
        "def f(alpha):\n    return [beta for beta in alpha if (alpha := [beta])], alpha\nprint(f([2, 3]))",
        "def f(alpha, beta):\n    return {alpha: beta for alpha in alpha for beta in alpha}\nprint(f(['ab'], 1))",
        # short names that are there already
        "a = 1\ndef f(alpha, b):\n    return a + alpha + b\nprint(f(10, 100))",
        "def a(b):\n    return b + 1\ndef f(alpha):\n    return a(alpha)\nprint(f(10))",
        "def f(alpha):\n    def g(beta):\n        return beta + alpha\n    a = 2\n    return g(a)\nprint(f(10))",
        "A = 1\n_B = 2\ndef f(A):\n    return A + _B\nprint(f(10), A)",
        "class A:\n    def __init__(self):\n        self.a, self.alpha = 1, 2\nx = A()\nprint(x.a, x.alpha)",
        "class A:\n    def a(self):\n        return 1\n    def alpha(self):\n        return self.a() + 1\nprint(A().alpha())",
        "def f(alpha, **beta):\n    return alpha, beta\nprint(f(1, a=2))",
        # all kinds of arguments
        "def f(alpha, /, beta, *gamma, delta=4, **omega):\n    return alpha, beta, gamma, delta, omega\nprint(f(1, 2, 3, x=5))",
        "x = 3\ndef f(x=x, *rest):\n    return x, rest\nprint(f(), f(1, 2))",
        "def f(alpha: int = 1) -> int:\n    beta: 'alpha' = alpha\n    return beta\nprint(f())",
        # of classes
        "class A:\n    def __init__(self, place):\n        self.place = place\n    def get(self, place):\n        return self.place - place\nprint(A(5).get(2))",
        "class A:\n    def one(self):\n        return 1\nclass B(A):\n    def one(self):\n        return A.one(self) + super().one()\nprint(B().one())",
        "class A:\n    @staticmethod\n    def one(self):\n        return self\n    @classmethod\n    def two(cls):\n        return cls.one(2)\nprint(A.two())",
        "class A:\n    def __init__(self):\n        self.alpha = 1\nclass B:\n    def __init__(self):\n        self.beta = 2\n        self.other = A()\n        self.other.beta = 3\nb = B()\nprint(b.beta, b.other.alpha, b.other.beta)",
        "class A:\n    def set(self, other):\n        self = other\n        self.alpha = 2\nclass B:\n    def __init__(self):\n        self.beta = 1\nb = B()\nA().set(b)\nprint(b.alpha, b.beta)",
        "class A:\n    def one(self):\n        class B:\n            def __init__(self):\n                self.inner = 3\n        self.outer = 4\n        return B().inner + self.outer\nprint(A().one())",
        "class A:\n    def one(self): return 1\nTABLE = {'x': A.one}\nprint(TABLE['x'](A()))",
        "class A:\n    def __init__(self): self.items = [1]\na = A()\na.items += [2]\ndel a.items[0]\nprint(a.items)",
        "class A:\n    @property\n    def one(self):\n        return self._one\n    @one.setter\n    def one(self, value):\n        self._one = value\na = A()\na.one = 4\nprint(a.one)",
        # of a class of the runtime's, which has names that nobody here says
        "import io\nclass A(io.StringIO):\n    def __init__(self):\n        super().__init__()\n        self.one = 1; self.two = 2; self.three = 3\n    def four(self): return 4\na = A()\nprint(a.write('abc'), a.getvalue(), a.one + a.four())",
        # a method and a function of one name
        "import part\nclass A:\n    def _twice(self, number):\n        return part._twice(number)\nprint(A()._twice(4))",
        "from part import _twice as twice\nprint(twice(3))",
        "_own = 1\ndef f():\n    _own = 2\n    return _own\nprint(f(), _own)",
        "_own = 1\nimport main\nprint(main._own)",
        "import part as other\nprint(other._LIMIT, other._twice(2))",
        "def f():\n    from part import _LIMIT, _twice\n    return _twice(_LIMIT)\nprint(f())",
        "def f():\n    _twice = 3\n    def g():\n        return _twice\n    return g\nfrom part import _twice\nprint(f()(), _twice(2))",
        "from part import _LIMIT\nprint([_LIMIT for _LIMIT in range(2)], _LIMIT)",
        "from part import (\n    _LIMIT,\n    _twice as more,  # twice\n)\nprint(_LIMIT, more(1))",
        "_own = 1\ndel _own\n_own = 2\nprint(_own)",
        "add = 5\n_own = 6\ndef f(abs):\n    return abs + _own + add\nprint(f(1), max(1, 2), len('a'))",
        "from part import _twice\nclass A:\n    def f(self, all):\n        return _twice(all) + any([1])\nprint(A().f(2))",
        "from part import _twice\nprint(_twice(3))",
        "from part import *\nprint(Part(1).more())",
        "from part import Part as Other\nclass B(Other):\n    def __init__(self):\n        Other.__init__(self, 1)\n        self.mine = 3\n    def own(self):\n        return self.mine, self.place, self._count, self.more(1)\nprint(B().own())",
        "import part\nclass B(part.Part):\n    def own(self):\n        self.mine = 3\n        return self.mine, self.place, self._count\nprint(B(7).own())",
        "Base = __import__('part').Part\nclass B(Base):\n    def own(self):\n        self.mine = 3\n        return self.mine, self.place, self._count\nprint(B(7).own())",
        "class A(Exception):\n    def __init__(self, code):\n        Exception.__init__(self, code)\n        self.code = code\ntry:\n    raise A(3)\nexcept A as error:\n    print(error.code, error.args)",
        # a text of several letters before it, and names that are not of this alphabet
        "def f(alpha):\n    return 'äöü', alpha\nprint(ascii(f(1)))",
        "def f(größe):\n    return 'ä', größe + 1\nprint(ascii(f(1)))",
        "if True:\n    _own = 1\nfor _each in range(2): pass\nprint(_own, _each)",
        "def _own(alpha): return alpha\ndef _own(beta): return beta + 1\nprint(_own(1))",
    ],
)
def test_the_program_says_the_same(turned, main):
    turned(main + "\n", part=PART)


def test_two_functions_of_one_module_have_different_names(turned):
    main = "class A:\n    def one(self): return 1\nclass B:\n    def two(self): return 2\n"
    main += "def _three(): return 3\nprint(A().one(), B().two(), _three())\n"
    tree = ast.parse(turned(main)["main.py"])
    names = [node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    assert len(set(names)) == 3 and not set(names) & {"one", "two", "_three"}


def test_a_board_of_its_own_finds_every_name_that_ours_have(turned):
    boards = {
        "boards/__init__": "",
        "boards/one": "def lamps(count):\n    return box.shine(count)\n",
    }
    main = "import boards.one\nclass Box:\n    def shine(self, count): return count\n"
    out = turned(main + "boards.one.box = Box()\nprint(boards.one.lamps(3))\n", **boards)
    assert out["boards/one.py"] == boards["boards/one"] and "shine" in out["main.py"]


def test_a_board_of_its_own_may_make_its_own_of_what_ours_take_from_the_firmware(turned):
    part = "class Part:\n    def shine(self, count):\n        self._most = count\n        return count\n"
    boards = {"boards/__init__": "", "boards/one": "from part import Part\n"}
    main = "import boards.one\nprint(boards.one.Part().shine(3))\n"
    out = turned(main, part=part, **boards)
    assert "def shine(self, count)" in out["part.py"] and "_most" not in out["part.py"]


def test_a_file_that_is_no_python_is_named():
    with pytest.raises(HandbellError, match=r"box/app\.py is not Python"):
        shorten({"box/app.py": b"def:\n"})


def test_what_micropython_knows_stays():
    # Of an RP2040's image; the methods of its files, streams and pins, which classes of ours have too.
    assert {"readinto", "write", "close", "irq", "duty_u16", "NeoPixel", "fill"} <= runtime_names()


@pytest.fixture(scope="module")
def firmware():
    return inlined(), shortened()


def test_the_firmware_s_names_are_short_and_made_the_same_way_each_time(firmware):
    before, after = firmware
    assert after == shortened() and after.keys() == before.keys()

    def size(files):
        told = [told_by(ast.parse(text)) for path, text in files.items() if "boards" not in path]
        names = set().union(*(t.names | t.attributes for t in told)) - runtime_names()
        return sum(len(name) + 8 for name in names)

    assert size(after) < size(before) * 0.6
    main = (firmware_root() / "main.py").read_text(encoding="utf-8")
    assert "def main()" in after["begin.py"].decode() and "begin.main()" in main


def test_a_traceback_from_a_box_is_given_its_long_names_again(firmware):
    def lines(source, name):
        tree = ast.parse(source)
        return next(n.lineno for n in ast.walk(tree) if getattr(n, "name", None) == name)

    before, after = firmware
    line = lines(before["box/requests.py"], "_refuse_in_class")
    (short,) = [
        node.name
        for node in ast.walk(ast.parse(after["box/requests.py"]))
        if isinstance(node, ast.FunctionDef) and node.lineno == line
    ]
    assert short != "_refuse_in_class"
    said = f'  File "box.requests", line 1, in {short}\n  File "other", line 1, in {short}\n'
    told = readable(said + "AttributeError: 'A' object has no attribute 'nowhere'\n", *firmware)
    assert told == said.replace(f"in {short}", "in _refuse_in_class", 1) + (
        "AttributeError: 'A' object has no attribute 'nowhere'\n"
    )
    (runner,) = re.findall(r"self\.(\w+): Runner = None", after["box/loaded.py"].decode())
    assert "'runner" in readable(f"'A' object has no attribute '{runner}'", *firmware)
