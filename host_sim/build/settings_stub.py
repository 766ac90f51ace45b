"""The stub that tells the type checker which settings there are; `make docs`, or
`python -m host_sim.build.settings_stub`.

Settings gets its attributes from the table when a program runs, which no type checker can follow.
So firmware/rate_control/settings.pyi names them: made of the table and of the annotated functions
of settings.py, it lies beside it, and no board gets it.
"""

from __future__ import annotations

import ast

from host_sim import FIRMWARE_DIR
from host_sim.common.arguments import takes_nothing
from host_sim.common.output import write_files
from rate_control.settings_table import COUNT, NAME, TABLE

MODULE = FIRMWARE_DIR / "rate_control" / "settings.py"
STUB = MODULE.with_suffix(".pyi")
HEAD = """\
# Made from settings.py and settings_table.py by `make docs`; do not edit it here.
"""


def stub() -> str:
    """The text of the stub."""
    body: list[ast.stmt] = []
    for node in ast.parse(MODULE.read_text("utf-8")).body:
        if isinstance(node, ast.ImportFrom):
            for alias in node.names:
                alias.asname = alias.name  # so that others may import it from here
            body.append(node)
        elif isinstance(node, ast.If):  # imports for the checker's sake
            body += node.body
        elif isinstance(node, ast.FunctionDef):
            body.append(_declared(node))
        elif isinstance(node, ast.ClassDef):
            node.body = [*_attributes(), *(_declared(item) for item in node.body
                                           if isinstance(item, ast.FunctionDef))]
            body.append(node)
    return HEAD + "".join(ast.unparse(node) + "\n" for node in body)


def _declared(function: ast.FunctionDef) -> ast.FunctionDef:
    function.body = [ast.Expr(ast.Constant(...))]
    return function


def _attributes() -> list[ast.stmt]:
    """An annotation for each row of the table."""
    return list(ast.parse("\n".join(
        f"{entry[NAME]}: {'int' if entry[COUNT] == 1 else 'list[int]'}" for entry in TABLE)).body)


def main() -> None:
    """Write it."""
    takes_nothing("host_sim.build.settings_stub", __doc__)
    write_files(STUB.parent, {STUB.name: stub()})


if __name__ == "__main__":
    main()
