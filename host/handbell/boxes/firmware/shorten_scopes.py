"""What names a file of Python tells of, and in which scope they stand."""

from __future__ import annotations

import ast
import itertools
import keyword
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

from .inline_names import is_never

Function = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)
Scope = (*Function, ast.ClassDef)


@dataclass
class Told:
    """The names that a file tells of, by where they stand."""

    strings: set[str] = field(default_factory=set)  # as a string, or within one that is formatted
    keywords: set[str] = field(default_factory=set)  # of calls
    attributes: set[str] = field(default_factory=set)
    imported: set[str] = field(default_factory=set)
    names: set[str] = field(default_factory=set)  # all others

    def everything(self) -> set[str]:
        """Return all of them."""
        return self.strings | self.keywords | self.attributes | self.imported | self.names


def told_by(tree: ast.AST) -> Told:
    """Return what names a file tells of; what stands in annotations is not told to anybody."""
    told = Told()
    left = [tree]
    while left:
        node = left.pop()
        if isinstance(node, ast.JoinedStr):
            # Before Python 3.12 the places of what stands in such a text are wrong.
            inner = told_by(ast.Tuple(node.values, ast.Load()))
            told.strings |= inner.strings | inner.names | inner.attributes | inner.keywords
            continue
        if isinstance(node, ast.If) and is_never(node.test):
            left += node.orelse
            continue
        left += [child for child in ast.iter_child_nodes(node) if not _is_aside(node, child)]
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            told.strings.add(node.value)
        elif isinstance(node, ast.keyword) and node.arg:
            told.keywords.add(node.arg)
        elif isinstance(node, ast.Attribute):
            told.attributes.add(node.attr)
        elif isinstance(node, ast.alias):
            told.imported |= {*node.name.split("."), node.asname or ""} - {""}
        else:
            told.names |= _names_of(node)
    return told


def _is_aside(node: ast.AST, child: ast.AST) -> bool:
    """Whether a part is an annotation or a text that nothing reads."""
    if isinstance(node, ast.Expr):
        return isinstance(child, ast.Constant)
    return child is getattr(node, "annotation", None) or child is getattr(node, "returns", None)


def _names_of(node: ast.AST) -> set[str]:
    if isinstance(node, ast.Name):
        return {node.id}
    if isinstance(node, ast.arg):
        return {node.arg}
    if isinstance(node, (ast.Global, ast.Nonlocal)):
        return set(node.names)
    name = getattr(node, "name", None)  # of functions, classes, errors and patterns
    return {name} if isinstance(name, str) else set()


def in_scope(scope: ast.AST) -> Iterator[ast.AST]:
    """Yield the nodes of a scope's own body, with inner scopes but not what is in them."""
    left = list(getattr(scope, "body", []))
    while left:
        node = left.pop()
        yield node
        left += outside_of(node) if isinstance(node, Scope) else ast.iter_child_nodes(node)


def outside_of(scope: ast.AST) -> list[ast.AST]:
    """Return what is written at a function or class and stands in the scope around it."""
    found = [*getattr(scope, "decorator_list", ())]
    if isinstance(scope, ast.ClassDef):
        return [*found, *scope.bases, *scope.keywords]
    args = scope.args  # type: ignore[attr-defined]
    return found + [value for value in (*args.defaults, *args.kw_defaults) if value is not None]


def arguments_of(function: ast.AST) -> list[ast.arg]:
    """Return all arguments of a function, in order."""
    args = getattr(function, "args", None)
    if not isinstance(args, ast.arguments):
        return []
    some = [*args.posonlyargs, *args.args, args.vararg, *args.kwonlyargs, args.kwarg]
    return [arg for arg in some if arg is not None]


def short_names(letters: str, taken: Collection[str]) -> Iterator[str]:
    """Yield ever longer names of some letters, but for those taken."""
    for size in itertools.count(1):
        for name in map("".join, itertools.product(letters, repeat=size)):
            if name not in taken and not keyword.iskeyword(name):
                yield name
