"""Makes sources that may be frozen into an image: without long integers in constant tuples.

MicroPython's freezing tool (tools/mpy-tool.py, mp_small_int_fits) writes an integer of a constant
tuple as a small one only from -0x2000 to 0x1FFF; all others become objects of the long kind, on
every chip. Whatever is reckoned with such an object is a new object, which a locked heap refuses:
the first tick would raise. A call is no constant: int(20000) loads the number with the code and
gives it back as it is, and the tuple is made once, when its module is loaded.
"""

from __future__ import annotations

import ast

FROZEN_MIN, FROZEN_MAX = -0x2000, 0x1FFF


def freezable(tree: ast.Module) -> ast.Module:
    """A copy of a module in which every tuple of constants holds small integers only."""
    copied: ast.Module = ast.parse(ast.unparse(tree))
    _Loading().visit(copied)
    return ast.fix_missing_locations(copied)


class _Loading(ast.NodeTransformer):
    """Lets the code load a tuple's larger numbers."""

    def visit_Tuple(self, node: ast.Tuple) -> ast.AST:
        if _constant(node) is None:  # the code makes this one anyway, from small numbers
            return self.generic_visit(node)
        node.elts = [
            ast.Call(ast.Name("int", ast.Load()), [element], [])
            if _is_large(_constant(element)) else self.visit(element)
            for element in node.elts
        ]  # fmt: skip
        return node


def _constant(node: ast.expr) -> object:
    """What an expression of constants alone stands for; None for any other."""
    try:
        found: object = eval(compile(ast.Expression(node), "constant", "eval"),
                             {"__builtins__": {}})
    except (NameError, TypeError, ValueError, ArithmeticError):
        return None
    return found


def _is_large(value: object) -> bool:
    """Whether freezing makes a long number of it."""
    return type(value) is int and not FROZEN_MIN <= value <= FROZEN_MAX
