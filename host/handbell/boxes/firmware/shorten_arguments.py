"""Short names for the arguments of functions, in each function anew."""

from __future__ import annotations

import ast
import string
from collections.abc import Collection, Mapping

from .inline_names import bound_by
from .shorten_scopes import Function, arguments_of, in_scope, outside_of, short_names, told_by
from .source_edits import SourceEdits


def shorten_arguments(tree: ast.AST, edits: SourceEdits, stay: Collection[str]) -> None:
    """Give arguments short names within their functions, but for those that ``stay``."""
    _Arguments(edits, stay).visit(tree, {})


class _Arguments:
    def __init__(self, edits: SourceEdits, stay: Collection[str]) -> None:
        self._edits = edits
        self._stay = stay

    def visit(self, node: ast.AST, short: Mapping[str, str]) -> None:
        """Visit a node where the arguments of the functions around it have these short names."""
        if isinstance(node, ast.Name):
            if node.id in short:
                self._edits.put(*self._edits.span(node), short[node.id].encode())
        elif isinstance(node, Function):
            self._visit_function(node, short)
        else:
            for child in ast.iter_child_nodes(node):
                if child is not getattr(node, "annotation", None):
                    self.visit(child, short)

    def _visit_function(self, node: ast.AST, short: Mapping[str, str]) -> None:
        for outside in outside_of(node):
            self.visit(outside, short)
        own = arguments_of(node)
        bound = {arg.arg for arg in own} | _assigned(node)
        around = {name: to for name, to in short.items() if name not in bound}
        mine = self._short_of(node, own, around)
        for arg in own:
            if arg.arg in mine:
                start, _ = self._edits.span(arg)
                self._edits.put(start, start + len(arg.arg.encode()), mine[arg.arg].encode())
        body = node.body  # type: ignore[attr-defined]
        for inner in body if isinstance(body, list) else [body]:
            self.visit(inner, {**around, **mine})

    def _short_of(
        self, node: ast.AST, own: list[ast.arg], around: Mapping[str, str]
    ) -> dict[str, str]:
        """Return the short names of a function's own arguments."""
        inner = list(ast.walk(node))
        if any(isinstance(n, (ast.ClassDef, ast.JoinedStr)) for n in inner):
            return {}
        told = told_by(node)
        other = _bound_otherwise(inner) | set(self._stay)
        taken = told.names | told.imported | set(around.values()) | set(self._stay)
        names = short_names(string.ascii_lowercase, taken)
        return {
            arg.arg: next(names)
            for arg in own
            if arg.arg not in other and not arg.arg.startswith("__") and len(arg.arg) > 1
        }


def _assigned(function: ast.AST) -> set[str]:
    """Return the names that a function's body makes its own; those of comprehensions are theirs."""
    if isinstance(function, ast.Lambda):
        return set()
    nodes = list(in_scope(function))
    loops = [node.target for node in nodes if isinstance(node, ast.comprehension)]
    theirs = {id(name) for loop in loops for name in ast.walk(loop)}
    return {name for node in nodes if id(node) not in theirs for name in bound_by(node)}


def _bound_otherwise(nodes: list[ast.AST]) -> set[str]:
    """Return the names that are bound or declared by other than an assignment or an argument."""
    return {
        n for node in nodes if not isinstance(node, (ast.Name, ast.arg)) for n in bound_by(node)
    }
