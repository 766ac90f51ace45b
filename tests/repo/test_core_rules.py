"""The house rules of the portable core, and proof that each rule can fail."""

import ast

import pytest

from tests.repo.tree import CORE, imported_modules, python_files

FILE_LINES = 200
FUNCTION_LINES = 40
CORE_PACKAGE = "rate_control"
FLOAT_NAMES = {"float", "complex"}


def foreign_imports(tree):
    """The core imports nothing outside itself; only the type checker sees words of typing."""
    named = list(imported_modules(tree))
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            for name in imported_modules(ast.Module(node.body, [])):
                if name == "typing":
                    named.remove(name)
    return [name for name in named if name.split(".")[0] != CORE_PACKAGE]


def float_arithmetic(tree):
    """No float literal, no true division, no conversion to a float."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            found.append(f"line {node.lineno}: {node.value}")
        elif isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div):
            found.append(f"line {node.lineno}: /")
        elif isinstance(node, ast.Name) and node.id in FLOAT_NAMES:
            found.append(f"line {node.lineno}: {node.id}")
    return found


def functions(tree):
    """All functions and methods, at any depth."""
    return [
        node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]


def long_functions(tree):
    """A function has at most 40 lines, its docstring included."""
    lengths = [(node.name, node.end_lineno - node.lineno + 1) for node in functions(tree)]
    return [f"{name}: {lines} lines" for name, lines in lengths if lines > FUNCTION_LINES]


def without_docstring(tree):
    """Every module, and every public class, function and method says what it is for."""
    found = [] if ast.get_docstring(tree) else ["module"]
    scopes = [tree, *(node for node in tree.body if isinstance(node, ast.ClassDef))]
    for scope in scopes:
        for node in scope.body:
            named = isinstance(node, ast.ClassDef | ast.FunctionDef)
            if named and not node.name.startswith("_") and not ast.get_docstring(node):
                found.append(node.name)
    return found


RULES = [foreign_imports, float_arithmetic, long_functions, without_docstring]

BREACHES = {
    foreign_imports: ["import micropython", "def _f():\n    from app import x",
                      "from typing import Any", "if TYPE_CHECKING:\n    from app import x",
                      "if TYPE_CHECKING:\n    pass\nelse:\n    from typing import Any"],
    float_arithmetic: ["x = 0.5", "x = 6 / 2", "x /= 2", "x = float(2)"],
    long_functions: ["def _f():\n" + "    pass\n" * FUNCTION_LINES],
    without_docstring: ["x = 1", "'M.'\nclass C:\n    'C.'\n    def f(self):\n        pass"],
}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_core_keeps_the_rule(rule):
    files = python_files(CORE)
    assert files
    breaches = {name: rule(tree) for name, tree in files}
    assert not {name: found for name, found in breaches.items() if found}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.__name__)
def test_rule_finds_a_breach(rule):
    assert all(rule(ast.parse(source)) for source in BREACHES[rule])


def test_core_files_are_short():
    lengths = {path.name: len(path.read_text().splitlines()) for path in CORE.rglob("*.py")}
    assert not {name: length for name, length in lengths.items() if length > FILE_LINES}
