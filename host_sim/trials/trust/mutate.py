"""Mutants of a source text: the same text with one small fault in it.

Each is an edit of a few characters, so that what is shown is what is run. A condition becomes
always true and always false, which takes more to tell than its opposite does. Constants up to
SMALL become one more and one less; a larger one is a scale or a time, in which one more is
nothing, and is doubled and halved. Left alone are names, texts, imports, and assignments at the
top of a module, without which it would not even load.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass, field

from host_sim.build.annotations import FOR_THE_CHECKER

SMALL = 100
# What may stand for a comparison: its boundary moved, and its direction turned.
COMPARISONS: dict[type[ast.cmpop], tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">")),
    ast.LtE: ("<=", ("<", ">=")),
    ast.Gt: (">", (">=", "<")),
    ast.GtE: (">=", (">", "<=")),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
}
OPERATORS: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "//"),
    ast.FloorDiv: ("//", "*"),
    ast.Mod: ("%", "//"),
    ast.LShift: ("<<", ">>"),
    ast.RShift: (">>", "<<"),
    ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"),
    ast.BitXor: ("^", "&"),
}
DELETED = (ast.Assign, ast.AugAssign, ast.Expr, ast.Return, ast.Raise, ast.Break, ast.Continue)
UNARY: dict[type[ast.unaryop], str] = {ast.Not: "not ", ast.USub: "-", ast.Invert: "~"}

Edit = tuple[int, int, str]  # from, to, the text that stands there instead


@dataclass(frozen=True)
class Mutant:
    """One changed module. before and after are the lines that the change touches."""

    module: str
    function: str  # "" outside of all of them
    line: int
    before: str
    after: str
    source: str = field(repr=False, compare=False)

    @property
    def key(self) -> tuple[str, str, str]:
        """What an argument names: place, before, after; it outlives a move of the lines."""
        place = f"{self.module}.{self.function}" if self.function else self.module
        return place, self.before, self.after


def mutants(module: str, source: str, functions: tuple[str, ...] = ()) -> list[Mutant]:
    """Every mutant of a module, or of some of its functions, in the order of the lines."""
    return list(_Mutations(module, source, functions))


class _Mutations:
    def __init__(self, module: str, source: str, functions: tuple[str, ...]) -> None:
        self._module = module
        self._source = source
        self._functions = functions
        self._starts = [0]
        for line in source.splitlines(keepends=True):
            self._starts.append(self._starts[-1] + len(line))
        if not source.isascii():  # a column of the syntax tree counts bytes
            raise ValueError(f"{module}: only ASCII sources can be mutated")

    def __iter__(self) -> Iterator[Mutant]:
        tree = ast.parse(self._source)
        seen = {self._source}
        for function, edit in self._in(tree, ""):
            if self._functions and function not in self._functions:
                continue
            start, end, text = edit
            source = self._source[:start] + text + self._source[end:]
            if source not in seen:
                seen.add(source)
                yield self._mutant(function, edit, source)

    def _mutant(self, function: str, edit: Edit, source: str) -> Mutant:
        start, end, text = edit
        line = sum(at <= start for at in self._starts)
        first = self._starts[line - 1]
        last = min(at for at in self._starts if at >= end)
        before = _plain(self._source[first:last])
        after = _plain(self._source[first:start] + text + self._source[end:last])
        return Mutant(self._module, function, line, before, after, source)

    def _in(self, node: ast.AST, function: str) -> Iterator[tuple[str, Edit]]:
        for child in ast.iter_child_nodes(node):
            if _is_for_the_checker(child, node):
                continue
            name = function
            if isinstance(child, (ast.FunctionDef, ast.ClassDef)):
                name = f"{function}.{child.name}" if function else child.name
            inside = function and not isinstance(node, ast.ClassDef)
            if isinstance(child, DELETED) and inside and not _is_text(child):
                yield function, (*self._span(child), "pass")
            for edit in self._edits(child, node):
                yield name, edit
            yield from self._in(child, name)

    def _edits(self, node: ast.AST, parent: ast.AST) -> Iterator[Edit]:
        if isinstance(node, ast.Compare):
            left = node.left
            for op, right in zip(node.ops, node.comparators, strict=True):
                old, others = COMPARISONS[type(op)]
                yield from (self._between(left, right, old, new) for new in others)
                left = right
        elif isinstance(node, ast.BoolOp):
            old, new = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
            for one, two in zip(node.values, node.values[1:], strict=False):
                yield self._between(one, two, old, new)
        elif isinstance(node, ast.BinOp) and not _is_text(node.left):
            yield self._between(node.left, node.right, *OPERATORS[type(node.op)])
        elif isinstance(node, ast.AugAssign):
            old, new = OPERATORS[type(node.op)]
            yield self._between(node.target, node.value, old + "=", new + "=")
        elif isinstance(node, ast.UnaryOp) and type(node.op) in UNARY:
            start, _ = self._span(node)
            yield start, start + len(UNARY[type(node.op)]), ""
        elif isinstance(node, ast.Constant) and type(node.value) is int:
            yield from ((*self._span(node), str(new)) for new in _other_numbers(node.value))
        elif isinstance(node, (ast.If, ast.IfExp, ast.While)):
            start, end = self._span(node.test)
            yield start, end, "False"
            if isinstance(node, ast.While):  # for ever is not worth the wait
                yield start, end, f"not ({self._source[start:end]})"
            else:
                yield start, end, "True"
        elif isinstance(node, ast.Return) and node.value is not None:
            if not _is_false(node.value):
                yield (*self._span(node.value), "0")
        elif isinstance(node, ast.Call) and not isinstance(parent, ast.Expr):
            yield from self._without_call(node)

    def _without_call(self, call: ast.Call) -> Iterator[Edit]:
        """The call gone: one of its arguments in its place, or nothing."""
        name = call.func.id if isinstance(call.func, ast.Name) else ""
        if name[:1].isupper():  # an object made: without it nothing runs
            return
        args = call.args if name in ("min", "max") else call.args[:1]
        for start, end in map(self._span, args):
            yield (*self._span(call), self._source[start:end])
        if not args:
            yield (*self._span(call), "0")

    def _between(self, left: ast.AST, right: ast.AST, old: str, new: str) -> Edit:
        start = self._source.index(old, self._span(left)[1])
        assert start < self._span(right)[0]
        return start, start + len(old), new

    def _span(self, node: ast.AST) -> tuple[int, int]:
        assert isinstance(node, (ast.expr, ast.stmt))
        assert node.end_lineno is not None and node.end_col_offset is not None
        return (self._starts[node.lineno - 1] + node.col_offset,
                self._starts[node.end_lineno - 1] + node.end_col_offset)


def _plain(lines: str) -> str:
    """Lines as one, without their comments."""
    return " ".join(word for line in lines.splitlines() for word in line.split("#")[0].split())


def _is_for_the_checker(node: ast.AST, parent: ast.AST) -> bool:
    """Whether it never runs: an annotation, or what stands under TYPE_CHECKING."""
    if isinstance(node, ast.If):
        return isinstance(node.test, ast.Name) and node.test.id == FOR_THE_CHECKER
    return node in (getattr(parent, "annotation", None), getattr(parent, "returns", None))


def _is_text(node: ast.AST) -> bool:
    """Whether a node is a text: a docstring, or what is left of a format."""
    if isinstance(node, ast.Expr):
        node = node.value
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def _is_false(node: ast.AST) -> bool:
    """Whether a value is False, which 0 equals."""
    return isinstance(node, ast.Constant) and node.value is False


def _other_numbers(number: int) -> tuple[int, ...]:
    return (number + 1, number - 1) if number <= SMALL else (number * 2, number // 2)
