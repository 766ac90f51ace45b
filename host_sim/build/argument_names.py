"""Gives the arguments of all functions the same few short names, before the firmware is compiled.

MicroPython keeps the name of every argument in memory, for callers that name it; those of local
variables it does not keep. The firmware names few arguments where it calls, yet has a hundred
names that are arguments and nothing else. They filled a table that is doubled, by nine kilobytes,
when it is full. Names of functions stay: a traceback shows them.

An argument that any call in the program names keeps its name. So do those of decorated functions,
whose text means something else (a PIO program), and `self`, which is one name already.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable

SHORT = "a%d"
KEPT = {"self", "_"}
PLAIN_DECORATORS = {"property", "staticmethod"}

Function = ast.FunctionDef | ast.Lambda


def shorten_arguments(trees: Iterable[ast.Module]) -> None:
    """Rename in place, through all modules of a program."""
    trees = list(trees)
    named = {keyword.arg for tree in trees for node in ast.walk(tree)
             if isinstance(node, ast.Call) for keyword in node.keywords}
    for tree in trees:
        _Shortening({name for name in named if name} | KEPT).visit(tree)


class _Shortening(ast.NodeTransformer):
    """Renames within functions, the outermost first; inside, numbers go on."""

    def __init__(self, kept: set[str]) -> None:
        self._kept = kept
        self._count = 0

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        decorators = {getattr(item, "id", "?") for item in node.decorator_list}
        if not decorators <= PLAIN_DECORATORS:
            return node
        return self._shortened(node)

    def visit_Lambda(self, node: ast.Lambda) -> ast.AST:
        return self._shortened(node)

    def _shortened(self, node: Function) -> ast.AST:
        before = self._count
        taken = {name.id for name in ast.walk(node) if isinstance(name, ast.Name)}
        for argument in node.args.posonlyargs + node.args.args:
            if argument.arg in self._kept:
                continue
            while (short := SHORT % self._count) in taken:
                self._count += 1
            self._count += 1
            _rename(node, argument, short)
        self.generic_visit(node)
        self._count = before
        return node


def _rename(function: Function, argument: ast.arg, short: str) -> None:
    """Rename an argument, and what means it in the body."""
    old = argument.arg
    argument.arg = short
    body = function.body if isinstance(function.body, list) else [function.body]
    for statement in body:
        _Renaming(old, short).visit(statement)


class _Renaming(ast.NodeTransformer):
    """Renames a variable, but not where an inner function has one of its own by that name."""

    def __init__(self, old: str, new: str) -> None:
        self._old = old
        self._new = new

    def visit_Name(self, node: ast.Name) -> ast.AST:
        if node.id == self._old:
            node.id = self._new
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        return self._inner(node)

    def visit_Lambda(self, node: ast.Lambda) -> ast.AST:
        return self._inner(node)

    def _inner(self, node: Function) -> ast.AST:
        own = {argument.arg for argument in node.args.posonlyargs + node.args.args}
        own |= {name.id for name in ast.walk(node)
                if isinstance(name, ast.Name) and isinstance(name.ctx, ast.Store)}
        for index, default in enumerate(node.args.defaults):
            node.args.defaults[index] = self.visit(default)
        if self._old in own:
            return node
        if isinstance(node.body, list):
            node.body = [self.visit(statement) for statement in node.body]
        else:
            node.body = self.visit(node.body)
        return node
