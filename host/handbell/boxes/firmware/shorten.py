"""Gives the firmware's names one or two letters, which saves a box's memory: it keeps each of them.

Short are the arguments of functions that nobody gives by keyword, the attributes and methods of the
firmware's own classes, and what a module keeps to itself. Different things have the same short name
wherever they can't be taken for one another; two functions of one module never, so that a traceback
can be turned back (``readable.py``). Classes keep their names. No line moves.

The firmware is taken as a closed whole, but for what ``keep`` names. A name that stands anywhere as
a string stays, one that MicroPython knows (``runtime_names.txt``, all that an RP2040's image of it
has), and all that stands in the boards' files, which are made for others to import.
"""

from __future__ import annotations

import ast
import string
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from handbell.base.errors import HandbellError

from .inline import OPEN_PACKAGES
from .inline_names import bound_by, bound_names
from .shorten_arguments import shorten_arguments
from .shorten_scopes import arguments_of, in_scope, short_names, told_by
from .source_edits import SourceEdits

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
    stay = set(keep) | runtime_names()
    stay = stay.union(*(module.told.strings for module in modules))
    opened = [module for module in modules if module.is_open]
    stay = stay.union(*(module.told.everything() for module in opened))
    for module in modules:
        if any(module.path == f"{name.replace('.', '/')}.py" for o in opened for name in o.taken):
            # A board may make its own of what it takes from there.
            stay |= {name for name in module.told.everything() if not name.startswith("_")}
    attributes = _short_attributes(modules, stay)
    own = [_short_own(module, modules, stay) for module in modules]
    arguments = stay.union(*(module.told.keywords for module in modules))
    for module, names in zip(modules, own, strict=True):
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
    stay: set[str] = field(default_factory=set)
    methods: set[ast.AST] = field(default_factory=set)

    def __post_init__(self) -> None:
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

    def put(self, attributes: Mapping[str, str], own: Mapping[str, str]) -> None:
        """Put in the short names of attributes, and of what the module keeps to itself."""
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Attribute) and node.attr in attributes:
                end = self.edits.span(node)[1]
                start = end - len(node.attr.encode())
                self.edits.put(start, end, attributes[node.attr].encode())
            elif isinstance(node, ast.Name) and node.id in own:
                self.edits.put(*self.edits.span(node), own[node.id].encode())
            elif isinstance(node, ast.FunctionDef):
                short = attributes if node in self.methods else own
                if node.name in short:
                    start, _ = self.edits.span(node)
                    start = self.edits.source.index(node.name.encode(), start + len("def "))
                    self.edits.put(
                        start, start + len(node.name.encode()), short[node.name].encode()
                    )

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
        for child in ast.iter_child_nodes(node):
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
            elif isinstance(inner, ast.Name):
                self.stay.add(inner.id)  # a value of the class, or a method that makes another
            else:
                self.stay.update(bound_by(inner))
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
    fixed = stay.union(*(module.stay | module.top for module in modules))
    for module in modules:
        for name, classes in module.bound_in.items():
            if name not in fixed and not name.startswith("__"):
                families.setdefault(name, set()).update(family.get(c, c) for c in classes)
    taken = fixed.union(*(module.told.attributes for module in modules)) - families.keys()
    short: dict[str, str] = {}
    used: dict[str, set[str]] = {}  # the families that have a short name
    everyone = set(family.values()).union(*families.values())
    anywhere |= {name for name, kin in families.items() if family.get(ANY, ANY) in kin}
    for name in sorted(families, key=lambda n: (n not in anywhere, -len(families[n]), n)):
        mine = everyone if name in anywhere else families[name]
        names = short_names(string.ascii_lowercase, taken)
        short[name] = next(s for s in names if not used.get(s, set()) & mine)
        used.setdefault(short[name], set()).update(mine)
    return short


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


def _short_own(module: _Module, modules: list[_Module], stay: set[str]) -> dict[str, str]:
    """Return short names for what a module keeps to itself, by an underscore and in fact."""
    told = module.told
    elsewhere = stay.union(*(m.told.attributes | m.told.imported for m in modules))
    everywhere = Counter(bound_names(module.tree))
    here = Counter(
        name
        for node in in_scope(module.tree)
        if isinstance(node, (ast.Name, ast.FunctionDef))
        for name in bound_by(node)
    )
    names = short_names(string.ascii_uppercase, elsewhere | told.names | told.keywords)
    return {
        name: next(names)
        for name, times in sorted(here.items())
        if name.startswith("_") and name.strip("_") and not name.startswith("__")
        if times == everywhere[name] and name not in elsewhere
    }
