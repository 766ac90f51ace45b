"""Puts the values of named constants in their places, before the firmware is compiled.

MicroPython looks up a name like TICK_MS anew whenever it is used, and keeps it in the memory of
each module that imports it. On an RP2040 a look-up takes about a microsecond, and a tick has some
ninety. MicroPython's own const() folds names too, but within one module only.

A constant is an upper-case name that is given a whole number once, at the top level of a module
or of a class there, alone or with others (A, B = 1, 2 or A, B = range(2)); the number may be made
of other constants. Where it is used by its name, as module.NAME or as Class.NAME, the number takes
its place. What was imported for that alone is no longer imported, and what nobody asks for any more
is no longer defined.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Collection, Mapping

_ARITHMETIC = (ast.Constant, ast.Name, ast.Load, ast.BinOp, ast.UnaryOp, ast.operator, ast.unaryop)

Numbers = dict[str, int]


def folded(sources: Mapping[str, str], kept: Collection[str] = ()) -> dict[str, ast.Module]:
    """The modules of a program, given as source text by name, with constants in their places.

    The modules named in kept still define all of theirs, for others to import.
    """
    program = _Program(sources)
    trees = {name: program.folded(name) for name in sources}
    _drop_definitions(trees, kept)
    return trees


class _Program:
    """Modules, and what their names stand for."""

    def __init__(self, sources: Mapping[str, str]) -> None:
        self._trees = {name: ast.parse(text) for name, text in sources.items()}
        self._texts = sources
        self._known: dict[str, Numbers] = {}

    def folded(self, module: str) -> ast.Module:
        """One module with all constants in their places."""
        tree = ast.parse(self._texts[module])
        replacing = _Replacing(self._numbers(module))
        replacing.visit(tree)
        _drop_imports(tree, replacing.replaced)
        return tree

    def _numbers(self, module: str) -> Numbers:
        """What the names that a module can use stand for; dotted ones too."""
        if module not in self._known:
            self._known[module] = {}  # modules that import each other see nothing of it
            self._known[module] = self._look(self._trees[module])
        return self._known[module]

    def _look(self, tree: ast.Module) -> Numbers:
        numbers: Numbers = {}
        bound = _bound(tree)
        for node in tree.body:
            if isinstance(node, ast.ImportFrom) and node.module:
                for alias in node.names:
                    numbers |= self._imported(node.module, alias.name, alias.asname or alias.name)
            elif isinstance(node, ast.ClassDef):
                inside = _defined(node.body, numbers, _bound(node))
                numbers |= {f"{node.name}.{name}": number for name, number in inside.items()}
            else:
                numbers |= _defined([node], numbers, bound)
        return numbers

    def _imported(self, module: str, name: str, known_as: str) -> Numbers:
        """What an imported name, or the module or class that it stands for, brings with it."""
        found: Numbers = {}
        if f"{module}.{name}" in self._trees:
            whole = self._numbers(f"{module}.{name}")
            found = {f"{known_as}.{inner}": number for inner, number in whole.items()}
        elif module in self._trees:
            for inner, number in self._numbers(module).items():
                if inner == name or inner.startswith(f"{name}."):
                    found[known_as + inner.removeprefix(name)] = number
        return found


class _Replacing(ast.NodeTransformer):
    """Replaces constants, and keeps what it replaced."""

    def __init__(self, numbers: Numbers) -> None:
        self._numbers = numbers
        self.replaced: set[str] = set()

    def visit_Name(self, node: ast.Name) -> ast.expr:
        return self._number(node, node.id)

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        found = self._number(node, ast.unparse(node))
        return self.generic_visit(found) if found is node else found  # type: ignore[return-value]

    def _number(self, node: ast.Name | ast.Attribute, name: str) -> ast.expr:
        if name not in self._numbers or not isinstance(node.ctx, ast.Load):
            return node
        self.replaced.add(name.partition(".")[0])
        return ast.copy_location(ast.Constant(self._numbers[name]), node)


def _bound(scope: ast.Module | ast.ClassDef) -> Counter[str]:
    """How often each name is given a value, anywhere in a module or class."""
    names: Counter[str] = Counter()
    for node in ast.walk(scope):
        if isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
            names[node.id] += 1
        elif isinstance(node, ast.arg):
            names[node.arg] += 1
        elif isinstance(node, ast.Global):
            names.update(node.names)
    return names


def _defined(body: list[ast.stmt], known: Numbers, bound: Counter[str]) -> Numbers:
    """The constants that assignments define."""
    found: Numbers = {}
    for node in body:
        for name, value in _assigned(node):
            if name.isupper() and bound[name] == 1:
                number = _value(value, known | found)
                if number is not None:
                    found[name] = number
    return found


def _assigned(node: ast.stmt) -> list[tuple[str, ast.expr]]:
    """The names that a plain assignment gives a value, each with it; none for any other."""
    if not isinstance(node, ast.Assign) or len(node.targets) != 1:
        return []
    target, value = node.targets[0], node.value
    if isinstance(target, ast.Name):
        return [(target.id, value)]
    if not isinstance(target, ast.Tuple):
        return []
    names = [name.id for name in target.elts if isinstance(name, ast.Name)]
    values: list[ast.expr] = []
    if isinstance(value, ast.Tuple):
        values = value.elts
    elif isinstance(value, ast.Call) and ast.unparse(value) == f"range({len(names)})":
        values = [ast.copy_location(ast.Constant(index), value) for index in range(len(names))]
    return list(zip(names, values, strict=True)) if len(names) == len(values) else []


def _value(node: ast.expr, known: Numbers) -> int | None:
    """The whole number that an expression of constants stands for."""
    for part in ast.walk(node):
        if not isinstance(part, _ARITHMETIC):
            return None
        if isinstance(part, ast.Name) and part.id not in known:
            return None
    value = eval(compile(ast.Expression(node), "constant", "eval"), {"__builtins__": {}}, known)
    return value if type(value) is int else None


def _drop_imports(tree: ast.Module, replaced: set[str]) -> None:
    """Take out of a module what it imports only for the numbers that were replaced."""
    used = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    for node in list(tree.body):
        if isinstance(node, ast.ImportFrom):
            node.names = [
                alias for alias in node.names
                if (alias.asname or alias.name) in used
                or (alias.asname or alias.name) not in replaced
            ]  # fmt: skip
            if not node.names:
                tree.body.remove(node)


def _drop_definitions(trees: dict[str, ast.Module], kept: Collection[str]) -> None:
    """Take out of modules the constants that nobody imports, names or asks for as an attribute."""
    imported, attributes = set(), set()
    for tree in trees.values():
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                imported |= {(node.module, alias.name) for alias in node.names}
            elif isinstance(node, ast.Attribute):
                attributes.add(node.attr)
    for module in trees.keys() - set(kept):
        tree = trees[module]
        bound = _bound(tree)
        used = attributes | {name for home, name in imported if home == module} | {
            node.id for node in ast.walk(tree)
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)
        }  # fmt: skip
        tree.body = [node for node in tree.body if not _is_idle(node, bound, used)]


def _is_idle(node: ast.stmt, bound: Counter[str], used: set[str]) -> bool:
    """Whether a statement only defines constants, and none that is used."""
    names = {name for name, _ in _assigned(node)}
    return bool(names) and names == set(_defined([node], {}, bound)) and not names & used
