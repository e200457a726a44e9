"""Gives the firmware short names, which saves a box's memory: it keeps each name there is.

Short are the arguments of functions that nobody gives by keyword, the attributes and methods of the
firmware's own classes, and what modules bind at their tops. Different things have the same short
name wherever they can't be taken for one another; two functions of one module never, so that a
traceback can be turned back (``readable.py``). For what modules bind, those come first that
MicroPython itself has and the firmware does not say: they take no memory at all. Attributes have
none of those, which are slower to find: they made the screen 3 ms later. Classes keep their names.
No line moves.

The firmware is taken as a closed whole, but for what ``keep`` names. A name that stands anywhere as
a string stays, one that MicroPython knows (``runtime_names.txt``, all that an RP2040's image of it
has), and all that stands in the boards' files, which are made for others to import.
"""

from __future__ import annotations

import ast
import itertools
import keyword
import string
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from handbell.base.errors import HandbellError

from .inline import OPEN_PACKAGES
from .inline_names import bound_by, bound_names, imported_from, is_never
from .shorten_arguments import shorten_arguments
from .shorten_scopes import arguments_of, in_scope, short_names, told_by
from .source_edits import SourceEdits

# What MicroPython's compiler takes for its own, by its name alone.
COMPILED = frozenset(
    """bool const errno globals int locals machine micropython native object ptr ptr16 ptr32 ptr8
    super uctypes uint viper""".split()  # noqa: SIM905
)

ANY = "?"  # in place of a class that can't be told


def shorten(sources: Mapping[str, bytes], keep: Collection[str] = ()) -> dict[str, bytes]:
    """Return Python files, by path below the folder they are imported from, with short names.

    ``keep`` are names that something outside needs. Raises HandbellError for a file that is no
    Python.
    """
    modules = []
    for path, source in sorted(sources.items()):
        try:
            modules.append(_Module(path, source))
        except (SyntaxError, ValueError) as error:
            raise HandbellError(f"{path} is not Python ({error})") from error
    stay = set(keep).union(*(module.told.strings for module in modules))
    opened = [module for module in modules if module.is_open]
    stay = stay.union(*(module.told.everything() for module in opened))
    for module in modules:
        if any(module.path == f"{name.replace('.', '/')}.py" for o in opened for name in o.taken):
            # A board may make its own of what it takes from there.
            stay |= {name for name in module.told.everything() if not name.startswith("_")}
    attributes = _short_attributes(modules, stay)
    names = _short_names(modules, stay, attributes)
    arguments = stay.union(runtime_names(), names.values())
    arguments = arguments.union(*(module.told.keywords for module in modules))
    for module in modules:
        if not module.is_open:
            module.put(attributes, names)
            shorten_arguments(module.tree, module.edits, arguments)
    return {module.path: module.edits.text() for module in modules}


@cache
def runtime_names() -> frozenset[str]:
    """Return the names that MicroPython itself has."""
    text = Path(__file__).with_name("runtime_names.txt").read_text(encoding="utf-8")
    return frozenset(text.split())


@dataclass
class _Module:
    path: str
    source: bytes
    # Of its classes: the families, by class, that bind an attribute, and what else is bound there.
    bound_in: dict[str, set[str]] = field(default_factory=dict)
    bound_anywhere: set[str] = field(default_factory=set)  # in an object of an unknown class
    bases: list[tuple[str, str]] = field(default_factory=list)
    bound_by_classes: set[str] = field(default_factory=set)  # but for methods
    read_by_classes: set[str] = field(default_factory=set)  # by name, in their own scopes
    methods: set[ast.FunctionDef] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.name = self.path[:-3].replace("/", ".")
        self.package = self.name.rpartition(".")[0]
        if self.path.endswith("/__init__.py"):
            self.name = self.package = self.package
        self.is_open = self.path.split("/")[0] in OPEN_PACKAGES
        self.tree = ast.parse(self.source)
        self.edits = SourceEdits(self.source)
        self.told = told_by(self.tree)
        self.top = {name for node in in_scope(self.tree) for name in bound_by(node)}
        self._aliases = {
            alias.asname: alias.name
            for node in ast.walk(self.tree)
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
            if alias.asname
        }
        self.taken = {
            node.module or "" for node in ast.walk(self.tree) if isinstance(node, ast.ImportFrom)
        }
        self._assigned = {
            node.id
            for node in ast.walk(self.tree)
            if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load)
        }
        self._visit(self.tree, "", "")

    def put(self, attributes: Mapping[str, str], names: Mapping[str, str]) -> None:
        """Put in the short names of attributes, and of the names of the modules' tops."""
        every = {**names, **attributes}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Attribute) and node.attr in every:
                end = self.edits.span(node)[1]
                self._put_at(end - len(node.attr.encode()), node.attr, every)
            elif isinstance(node, ast.Name):
                self._put_at(self.edits.span(node)[0], node.id, names)
            elif isinstance(node, ast.FunctionDef):
                start = self.edits.span(node)[0] + len("def ")
                start = self.edits.source.index(node.name.encode(), start)
                self._put_at(start, node.name, attributes if node in self.methods else names)
            elif isinstance(node, ast.alias):
                start, end = self.edits.span(node)
                self._put_at(start, node.name, names)
                if node.asname:
                    self._put_at(end - len(node.asname.encode()), node.asname, names)

    def _put_at(self, start: int, name: str, short: Mapping[str, str]) -> None:
        if name in short:
            self.edits.put(start, start + len(name.encode()), short[name].encode())

    def fixed_names(self, modules: set[str]) -> set[str]:
        """Return the names that are not only those of values of ``modules``."""
        fixed: set[str] = set()
        for node in ast.walk(self.tree):
            if isinstance(node, ast.ImportFrom):
                origin = imported_from(node, self.package)
                if origin not in modules:
                    fixed.update(n for alias in node.names for n in bound_by(alias))
                    fixed.update(alias.name for alias in node.names)
            elif isinstance(node, ast.Import):
                fixed.update(n for alias in node.names for n in alias.name.split("."))
                fixed.update(alias.asname or "" for alias in node.names)
            elif not isinstance(node, (ast.Name, ast.FunctionDef, ast.alias)):
                fixed.update(bound_by(node))
        return fixed

    def _visit(self, node: ast.AST, name: str, me: str) -> None:
        """Find where attributes are bound, by ``me``, an object of the class ``name``."""
        if isinstance(node, ast.ClassDef):
            self._visit_class(node)
            return
        if isinstance(node, ast.Attribute) and not isinstance(node.ctx, ast.Load):
            if me and isinstance(node.value, ast.Name) and node.value.id == me:
                self.bound_in.setdefault(node.attr, set()).add(name)
            else:
                self.bound_anywhere.add(node.attr)
        never = isinstance(node, ast.If) and is_never(node.test)
        for child in node.orelse if never else ast.iter_child_nodes(node):  # type: ignore[attr-defined]
            self._visit(child, name, me)

    def _visit_class(self, node: ast.ClassDef) -> None:
        self.bases.append((node.name, node.name))
        for base in node.bases:
            if isinstance(base, ast.Attribute):
                self.bases.append((node.name, base.attr))
            elif isinstance(base, ast.Name) and base.id not in self._assigned:
                self.bases.append((node.name, self._aliases.get(base.id, base.id)))
            else:
                self.bases.append((node.name, ANY))
        for inner in in_scope(node):
            if isinstance(inner, ast.FunctionDef) and inner in node.body:
                self.methods.add(inner)
                self.bound_in.setdefault(inner.name, set()).update((node.name, f"in {self.path}"))
            elif isinstance(inner, ast.Name) and isinstance(inner.ctx, ast.Load):
                self.read_by_classes.add(inner.id)  # maybe a method that makes another
            else:
                self.bound_by_classes.update(bound_by(inner))
        for statement in node.body:
            args = arguments_of(statement)
            me = args[0].arg if args and not _is_static(statement) else ""
            if list(bound_names(statement)).count(me) > 1:
                me = ""  # may be another object
            self._visit(statement, node.name, me)


def _is_static(function: ast.AST) -> bool:
    decorators = getattr(function, "decorator_list", ())
    return any(isinstance(d, ast.Name) and d.id == "staticmethod" for d in decorators)


def _short_attributes(modules: list[_Module], stay: set[str]) -> dict[str, str]:
    """Return short names for attributes; two that one object may have are never the same."""
    family = _families([pair for module in modules for pair in module.bases])
    families: dict[str, set[str]] = {}
    anywhere = {name for module in modules for name in module.bound_anywhere}
    fixed = stay.union(*(module.top | module.bound_by_classes for module in modules))
    fixed = fixed.union(*(module.read_by_classes for module in modules))
    for module in modules:
        for name, classes in module.bound_in.items():
            if name not in fixed | runtime_names() and not name.startswith("__"):
                families.setdefault(name, set()).update(family.get(c, c) for c in classes)
    told = fixed.union(*(module.told.attributes for module in modules))
    short: dict[str, str] = {}
    used: dict[str, set[str]] = {}  # the families that have a short name
    everyone = set(family.values()).union(*families.values())
    anywhere |= {name for name, kin in families.items() if family.get(ANY, ANY) in kin}
    for name in sorted(families, key=lambda n: (n not in anywhere, -len(families[n]), n)):
        mine = everyone if name in anywhere else families[name]
        names = short_names(string.ascii_lowercase, told)
        short[name] = next(s for s in names if not used.get(s, set()) & mine)
        used.setdefault(short[name], set()).update(mine)
    return short


def _free_names(told: Collection[str]) -> Iterator[str]:
    """Yield names that cost a box nothing: its MicroPython has them, and no code here does."""
    for name in sorted(runtime_names().difference(told), key=lambda name: (len(name), name)):
        if not name.startswith("_") and not keyword.iskeyword(name):
            yield name


def _families(pairs: list[tuple[str, str]]) -> dict[str, str]:
    """Return a name for the family of each class: all that are kin have the same.

    Classes of one name, in whatever modules, are taken for kin.
    """
    family: dict[str, str] = {}
    for name, base in pairs:
        one, other = family.setdefault(name, name), family.setdefault(base, base)
        for kin in [kin for kin, head in family.items() if head == other]:
            family[kin] = one
    return family


def _short_names(
    modules: list[_Module], stay: set[str], attributes: Mapping[str, str]
) -> dict[str, str]:
    """Return short names for what modules bind at their tops: each is renamed wherever it stands.

    Two that one module says are never the same.
    """
    every = {module.name for module in modules}
    fixed = stay.union(runtime_names(), *(name.split(".") for name in every))
    for module in modules:
        fixed |= module.bound_by_classes | module.bound_anywhere | module.bound_in.keys()
        fixed |= module.fixed_names(every)
    said = [module.told.everything() for module in modules]
    ours = {name for module in modules if not module.is_open for name in module.top} - fixed
    short: dict[str, str] = {}
    taken = [
        {s for name, s in attributes.items() if any(m.name == name for m in module.methods)} | names
        for module, names in zip(modules, said, strict=True)
    ]
    for name in sorted(ours, key=lambda n: (-sum(n in names for names in said), n)):
        if len(name) < 3 or name.startswith("__"):
            continue
        places = [at for at, names in enumerate(said) if name in names]
        here = COMPILED.union(stay, *(taken[at] for at in places))
        names = itertools.chain(_free_names(here), short_names(string.ascii_uppercase, here))
        short[name] = next(names)
        for at in places:
            taken[at].add(short[name])
    return short
