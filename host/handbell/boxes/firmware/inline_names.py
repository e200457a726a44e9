"""What a piece of Python binds, and what an expression of whole numbers comes to."""

from __future__ import annotations

import ast
import operator
from collections.abc import Callable, Iterator

_OPERATORS = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod,
    ast.LShift: operator.lshift,
    ast.RShift: operator.rshift,
    ast.BitAnd: operator.and_,
    ast.BitOr: operator.or_,
    ast.BitXor: operator.xor,
}


def value_of(node: ast.expr, known: Callable[[ast.expr], int | None]) -> int | None:
    """Return what an expression comes to, None if it is no whole number for sure.

    ``known`` returns the value of a name or of a module's name.
    """
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, int) else None
    if isinstance(node, (ast.Name, ast.Attribute)):
        return known(node)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        inner = value_of(node.operand, known)
        return None if inner is None else -inner
    if isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS:
        left, right = value_of(node.left, known), value_of(node.right, known)
        if left is None or right is None or (isinstance(node.op, ast.LShift) and right > 64):
            return None
        try:
            value: int = _OPERATORS[type(node.op)](left, right)
        except (ArithmeticError, ValueError):
            return None
        return value
    return None


def unpacked(target: ast.Tuple, value: ast.expr) -> Iterator[tuple[str, ast.expr | int]]:
    """Yield the names and values of ``A, B = 1, 2`` and of ``A, B = range(2)``."""
    names = [item.id for item in target.elts if isinstance(item, ast.Name)]
    if len(names) < len(target.elts):
        return
    if isinstance(value, ast.Tuple) and len(value.elts) == len(names):
        yield from zip(names, value.elts, strict=True)
    elif (
        isinstance(value, ast.Call)
        and isinstance(value.func, ast.Name)
        and value.func.id == "range"
        and not value.keywords
    ):
        bounds = [value_of(arg, lambda _: None) for arg in value.args]
        known = [bound for bound in bounds if bound is not None]
        if len(known) == len(bounds):
            numbers = range(*known)
            if len(numbers) == len(names):
                yield from zip(names, numbers, strict=True)


def imported_from(statement: ast.ImportFrom, package: str) -> str:
    """Return the name of the module that an import in a module of ``package`` takes names from."""
    if not statement.level:
        return statement.module or ""
    parts = package.split(".")
    above = parts[: len(parts) - statement.level + 1]
    return ".".join([*above, *((statement.module,) if statement.module else ())])


def live_nodes(tree: ast.AST) -> Iterator[ast.AST]:
    """Yield all nodes but those that never run: what is there for the type checker alone."""
    left = [tree]
    while left:
        node = left.pop()
        yield node
        never = isinstance(node, ast.If) and is_never(node.test)
        left += node.orelse if never else ast.iter_child_nodes(node)  # type: ignore[attr-defined]


def is_never(test: ast.expr) -> bool:
    """Whether a condition is never true on a box."""
    if isinstance(test, ast.Name):
        return test.id == "TYPE_CHECKING"
    return isinstance(test, ast.Constant) and test.value is False


def bound_names(tree: ast.AST) -> Iterator[str]:
    """Yield a name for every place that binds, deletes or declares it, in any scope."""
    for node in ast.walk(tree):
        yield from bound_by(node)


def bound_by(node: ast.AST) -> Iterator[str]:
    """Yield the names that a node itself binds, deletes or declares."""
    if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
        yield node.id
    elif isinstance(node, ast.arg):
        yield node.arg
    elif isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
        yield node.name
    elif isinstance(node, ast.alias):
        yield (node.asname or node.name).split(".")[0]
    elif isinstance(node, ast.ExceptHandler) and node.name:
        yield node.name
    elif isinstance(node, (ast.Global, ast.Nonlocal)):
        yield from node.names
    elif isinstance(node, (ast.MatchAs, ast.MatchStar)) and node.name:
        yield node.name
    elif isinstance(node, ast.MatchMapping) and node.rest:
        yield node.rest
