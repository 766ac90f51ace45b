"""Takes the annotations out of a module before it is compiled for a board.

They are for the type checker. MicroPython's compiler passes over them, but an import that stands
there for their sake alone, under TYPE_CHECKING, would be loaded code.
"""

from __future__ import annotations

import ast

FOR_THE_CHECKER = "TYPE_CHECKING"


def unannotated(text: str) -> str:
    """The source of a module without annotations and what only they need."""
    return ast.unparse(ast.fix_missing_locations(_Stripping().visit(ast.parse(text))))


class _Stripping(ast.NodeTransformer):
    """Takes them away."""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.returns = None
        return self.generic_visit(node)

    def visit_arg(self, node: ast.arg) -> ast.AST:
        node.annotation = None
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:
        return ast.Assign([node.target], node.value) if node.value else None

    def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
        return None if _names_it(node.targets[0]) else node

    def visit_If(self, node: ast.If) -> ast.AST | None:
        return None if _names_it(node.test) else self.generic_visit(node)


def _names_it(node: ast.expr) -> bool:
    return isinstance(node, ast.Name) and node.id == FOR_THE_CHECKER
