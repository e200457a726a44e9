"""Puts the firmware's integer constants where they are used, which saves a box's memory.

A constant is a name that a module binds once, at its top, to an integer or a truth value. Every use
of it, in its own module or through an import, becomes the value; a name that nothing needs any more
is left out with its import. What can't be proven is left as it is: a name that is bound a second
time anywhere in a module, even as an argument, is no constant there. No line moves.

The firmware is taken as a closed whole, but for what ``keep`` names. It must not make names up:
``getattr`` and its kind are seen only where the name stands there as a string, which is then no
constant in any module.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

from handbell.base.errors import HandbellError

from .inline_names import bound_names, imported_from, live_nodes, unpacked, value_of
from .source_edits import SourceEdits

# On the chip an integer outside of this is an object, not a word in the code.
SMALLEST, LARGEST = -(1 << 30), (1 << 30) - 1

# Made for others to import: a box's own board file takes what it likes from these.
OPEN_PACKAGES = ("boards",)


def inline(sources: Mapping[str, bytes], keep: Collection[str] = ()) -> dict[str, bytes]:
    """Return Python files, by path below the folder they are imported from, with values put in.

    ``keep`` are names that something outside needs. Raises HandbellError for a file that is no
    Python.
    """
    modules = {}
    for path, source in sources.items():
        try:
            module = _Module(path, source)
        except (SyntaxError, ValueError) as error:
            raise HandbellError(f"{path} is not Python ({error})") from error
        modules[module.name] = module
    for module in modules.values():
        module.find_imports(modules)
    assigned = {name for module in modules.values() for name in module.assigned}
    while sum(module.find_constants(modules, assigned) for module in modules.values()):
        pass
    for module in modules.values():
        module.find_uses(modules)
    needed = set(keep).union(*(module.needed for module in modules.values()))
    starred = {name for module in modules.values() for name in module.stars}
    for module in modules.values():
        module.is_open = module.name.split(".")[0] in OPEN_PACKAGES or module.name in starred
    while True:  # an import that stays needs its name, which may be an import too
        before = len(needed)
        for module in modules.values():
            needed |= module.imports_that_stay(modules, needed)
        if len(needed) == before:
            break
    for module in modules.values():
        module.leave_out(modules, needed)
    return {module.path: module.text() for module in modules.values()}


@dataclass
class _Binding:
    """How a name of a module's top comes about: by an import, or by an assignment."""

    statement: ast.stmt
    alias: ast.alias | None = None
    value: ast.expr | int | None = None  # what is assigned; a number from a range's unpacking
    module: str = ""  # where it is imported from, of the firmware's modules
    name: str = ""  # and as what; "" when it is that module itself
    loads: int = 0
    replaced: int = 0


@dataclass
class _Module:
    path: str
    source: bytes
    name: str = ""
    bindings: dict[str, _Binding] = field(default_factory=dict)
    constants: dict[str, int] = field(default_factory=dict)
    stars: set[str] = field(default_factory=set)  # modules that it imports all names of
    needed: set[str] = field(default_factory=set)  # names that stay, in whichever module they are
    assigned: set[str] = field(default_factory=set)  # names that may be assigned from afar
    is_open: bool = False  # for others to import, so that all its names stay

    def __post_init__(self) -> None:
        self.name = self.path[:-3].replace("/", ".")
        self.package = self.name.rpartition(".")[0]
        if self.path.endswith("/__init__.py"):
            self.name = self.package = self.package
        self.tree = ast.parse(self.source)
        self._edits = SourceEdits(self.source)
        self._bound = Counter(bound_names(self.tree))
        self._said = {n.id for n in ast.walk(self.tree) if isinstance(n, ast.Name)} | {*self._bound}

    # What its names are

    def find_imports(self, modules: Mapping[str, _Module]) -> None:
        """Find what the names of its top are bound to, and where names are assigned from afar."""
        for node in live_nodes(self.tree):
            if isinstance(node, ast.Attribute) and not isinstance(node.ctx, ast.Load):
                self.assigned.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                self.assigned.add(node.value)  # for all we know: by setattr
            if isinstance(node, ast.ImportFrom) and any(a.name == "*" for a in node.names):
                self.stars.add(self._origin(node))
        if self.stars:
            return  # any of its names may come from there
        for statement in self.tree.body:
            for name, binding in self._bindings_of(statement, modules):
                if self._bound[name] == 1:
                    self.bindings[name] = binding

    def _bindings_of(
        self, statement: ast.stmt, modules: Mapping[str, _Module]
    ) -> Iterator[tuple[str, _Binding]]:
        if isinstance(statement, ast.ImportFrom):
            origin = self._origin(statement)
            for alias in statement.names:
                inner = f"{origin}.{alias.name}".strip(".")
                at = _Binding(statement, alias)
                if inner in modules and (
                    origin not in modules or alias.name not in modules[origin]._bound
                ):
                    at.module = inner
                elif origin in modules:
                    at.module, at.name = origin, alias.name
                else:
                    continue
                yield alias.asname or alias.name, at
        elif isinstance(statement, ast.Assign) and len(statement.targets) == 1:
            (target,) = statement.targets
            if isinstance(target, ast.Name):
                yield target.id, _Binding(statement, value=statement.value)
            elif isinstance(target, ast.Tuple):
                for name, value in unpacked(target, statement.value):
                    yield name, _Binding(statement, value=value)
        elif isinstance(statement, ast.AnnAssign) and isinstance(statement.target, ast.Name):
            yield statement.target.id, _Binding(statement, value=statement.value)

    def _origin(self, statement: ast.ImportFrom) -> str:
        return imported_from(statement, self.package)

    def find_constants(self, modules: Mapping[str, _Module], assigned: set[str]) -> bool:
        """Work out the values of more of its constants; return whether there were any."""
        before = len(self.constants)
        for name, binding in self.bindings.items():
            if name in self.constants or name in assigned or name.startswith("__"):
                continue
            value: int | None
            if binding.alias is not None:
                origin = modules[binding.module]
                value = origin.constants.get(binding.name) if binding.name else None
            elif isinstance(binding.value, ast.expr):
                value = value_of(binding.value, lambda node: self._known(node, modules))
            else:
                value = binding.value
            if isinstance(value, int) and SMALLEST <= value <= LARGEST:
                self.constants[name] = value
        return len(self.constants) > before

    def _known(self, node: ast.expr, modules: Mapping[str, _Module]) -> int | None:
        """Return the value of a name, or of a name of a module; None if it is no constant."""
        if isinstance(node, ast.Name):
            return self.constants.get(node.id)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            binding = self.bindings.get(node.value.id)
            if binding is not None and binding.module and not binding.name:
                return modules[binding.module].constants.get(node.attr)
        return None

    # Where they are used

    def find_uses(self, modules: Mapping[str, _Module]) -> None:
        """Put values where constants are used, and note which names are needed all the same."""
        self._visit(self.tree, modules, False)
        for node in live_nodes(self.tree):
            if isinstance(node, ast.ImportFrom):
                for alias in node.names:
                    mine = self.bindings.get(alias.asname or alias.name)
                    if mine is None or mine.alias is not alias:
                        self.needed.add(alias.name)

    def _visit(self, node: ast.AST, modules: Mapping[str, _Module], in_text: bool) -> None:
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            self._use_name(node, in_text)
            return
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load):
            if self._use_of_module(node, modules, in_text):
                return
            self.needed.add(node.attr)
        # Before Python 3.12 the places of what stands in such a text are wrong.
        in_text = in_text or isinstance(node, ast.JoinedStr)
        for child in ast.iter_child_nodes(node):
            self._visit(child, modules, in_text)

    def _use_name(self, node: ast.Name, in_text: bool) -> None:
        binding = self.bindings.get(node.id)
        if binding is None:
            return
        binding.loads += 1
        if node.id in self.constants and not in_text:
            binding.replaced += 1
            self._replace(node, self.constants[node.id])

    def _use_of_module(
        self, node: ast.Attribute, modules: Mapping[str, _Module], in_text: bool
    ) -> bool:
        """Put a value in for ``module.NAME``; whether ``node`` was that."""
        value = None if in_text else self._known(node, modules)
        if value is None:
            return False
        assert isinstance(node.value, ast.Name)
        binding = self.bindings[node.value.id]
        binding.loads += 1
        binding.replaced += 1
        self._replace(node, value)
        return True

    def _replace(self, node: ast.expr, value: int) -> None:
        text = repr(value)
        lines = (node.end_lineno or node.lineno) - node.lineno
        # In brackets: a sign, a number before a dot, and lines that must not get lost.
        start, end = self._edits.span(node)
        self._edits.put(start, end, (f"({text}" + "\n" * lines + ")").encode())

    # What is left out

    def imports_that_stay(self, modules: Mapping[str, _Module], needed: set[str]) -> set[str]:
        """Return the names that its imports take, with their modules, but for those left out."""
        out = self._imports_left_out(modules, needed)
        return {
            f"{b.module}.{b.name}" for n, b in self.bindings.items() if b.alias and n not in out
        }

    def _is_unused(self, name: str, needed: set[str]) -> bool:
        binding = self.bindings[name]
        wanted = name in needed or f"{self.name}.{name}" in needed
        return not self.is_open and not wanted and binding.loads == binding.replaced

    def _imports_left_out(self, modules: Mapping[str, _Module], needed: set[str]) -> set[str]:
        """Return the imported names whose values are put in wherever they were used."""
        out = {
            name
            for name, binding in self.bindings.items()
            if binding.alias and (binding.loads or name in self.constants)
            if self._is_unused(name, needed)
        }
        for statement in self.tree.body:
            if isinstance(statement, ast.ImportFrom):
                names = {alias.asname or alias.name for alias in statement.names}
                if names <= out and self._import_without_names(statement, modules) is None:
                    out -= names
        return out

    def _import_without_names(
        self, statement: ast.ImportFrom, modules: Mapping[str, _Module]
    ) -> str | None:
        """Return what does of an import what importing the module does; None if there is no way."""
        origins = {self.bindings[alias.asname or alias.name].module for alias in statement.names}
        if all(_is_quiet(module, modules, set()) for module in origins):
            return "pass"
        above, _, last = (statement.module or "").rpartition(".")
        bound = last if statement.level else (statement.module or "").split(".")[0]
        if not bound or origins != {self._origin(statement)} or bound in self._said:
            return None
        if statement.level:
            return f"from {'.' * statement.level}{above} import {last}"
        return f"import {statement.module}"

    def leave_out(self, modules: Mapping[str, _Module], needed: set[str]) -> None:
        """Leave out the names that nothing needs any more."""
        imports = self._imports_left_out(modules, needed)
        for statement in self.tree.body:
            mine = {name: b for name, b in self.bindings.items() if b.statement is statement}
            if isinstance(statement, ast.ImportFrom):
                left = [a for a in statement.names if (a.asname or a.name) not in imports]
                if len(left) < len(statement.names):
                    text = _import_of(statement, left)
                    self._instead(statement, text or self._import_without_names(statement, modules))
            elif mine and mine.keys() <= self.constants.keys():
                kept = [n for n in mine if not self._is_unused(n, needed)]
                whole = len(mine) == sum(1 for _ in bound_names(statement))
                if whole and len(kept) < len(mine):
                    text = "; ".join(f"{n} = {self.constants[n]!r}" for n in kept)
                    self._instead(statement, text or "pass")

    # Its text

    def _instead(self, statement: ast.stmt, text: str | None) -> None:
        """Let a statement be another, with as many lines."""
        start, end = self._edits.span(statement)
        more = (statement.end_lineno or statement.lineno) - statement.lineno
        if more:  # the new one ends on its first line, so what follows on its last goes with it
            at = self.source.find(b"\n", end)
            rest = self.source[end:] if at < 0 else self.source[end:at]
            if rest.lstrip()[:1] not in (b"", b"#"):
                return
            end += len(rest)
        self._edits.put(start, end, (text or "pass").encode() + b"\n" * more)

    def text(self) -> bytes:
        """Return the source with all that was put in and left out."""
        return self._edits.text()


def _import_of(statement: ast.ImportFrom, left: list[ast.alias]) -> str:
    if not left:
        return ""
    names = ", ".join(a.name + (f" as {a.asname}" if a.asname else "") for a in left)
    return f"from {'.' * statement.level}{statement.module or ''} import {names}"


def _is_quiet(name: str, modules: Mapping[str, _Module], seen: set[str]) -> bool:
    """Whether importing a module of the firmware does nothing but define its names."""
    if name in seen or name not in modules:
        return True
    seen.add(name)
    module = modules[name]
    if not _is_quiet(name.rpartition(".")[0], modules, seen):
        return False
    return all(_does_nothing(statement, module, modules, seen) for statement in module.tree.body)


def _does_nothing(
    statement: ast.stmt, module: _Module, modules: Mapping[str, _Module], seen: set[str]
) -> bool:
    """Whether a statement of a module's top, or of a class there, only binds names."""
    if isinstance(statement, ast.Import):
        return all(_is_quiet(alias.name, modules, seen) for alias in statement.names)
    if isinstance(statement, ast.ImportFrom):
        origin = module._origin(statement)
        inner = (f"{origin}.{alias.name}" for alias in statement.names)
        return all(_is_quiet(each, modules, seen) for each in (origin, *inner))
    if isinstance(statement, (ast.Assign, ast.AnnAssign)):
        return all(_is_plain(n) for n in ast.walk(statement) if isinstance(n, ast.Call))
    if isinstance(statement, ast.ClassDef):
        return not statement.decorator_list and all(
            _does_nothing(inner, module, modules, seen) for inner in statement.body
        )
    if isinstance(statement, ast.FunctionDef):
        return all(
            isinstance(d, ast.Name) and d.id in ("property", "staticmethod")
            for d in statement.decorator_list
        )
    if isinstance(statement, ast.If):
        never = value_of(statement.test, lambda node: module._known(node, modules))
        return never is False and not statement.orelse
    if isinstance(statement, ast.Expr):
        return isinstance(statement.value, ast.Constant)
    return isinstance(statement, ast.Pass)


def _is_plain(call: ast.Call) -> bool:
    return isinstance(call.func, ast.Name) and call.func.id in ("range", "bytes", "len")
