"""Takes out of a program the methods that only say what every class of a kind must have.

Such a method raises NotImplementedError and does nothing else. The base class of all boards is
made of them; on a board they are 2 kB of heap, and nobody can reach them there.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable


def drop_stated_methods(trees: Iterable[ast.Module]) -> None:
    """Take them out of every class of these modules."""
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef):
                node.body = [part for part in node.body if not _is_stated(part)] or [ast.Pass()]


def _is_stated(node: ast.stmt) -> bool:
    """Whether this is a method that does nothing but raise NotImplementedError."""
    if not isinstance(node, ast.FunctionDef):
        return False
    body = node.body[ast.get_docstring(node) is not None:]
    return [ast.unparse(part) for part in body] == ["raise NotImplementedError"]
