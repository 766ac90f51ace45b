"""A board gets no annotation, and nothing that is there for annotations alone."""

from __future__ import annotations

import ast

from host_sim.build.annotations import unannotated
from host_sim.build.firmware import board_modules

SOURCE = '''
"""A module."""
from records import Measured
TYPE_CHECKING = False
if TYPE_CHECKING:
    from other import Decided
TABLE: tuple[tuple, ...] = ((1, 2),)
bare: int
class Loop:
    if TYPE_CHECKING:
        def __getattr__(self, name: str) -> int:
            """Any field."""
    def take(self, measured: Measured, decided: "Decided | None" = None) -> int:
        kept: list[int] = []
        if measured:
            kept.append(1)
        return len(kept)
'''
STRIPPED = '''
"""A module."""
from records import Measured
TABLE = ((1, 2),)
class Loop:
    def take(self, measured, decided=None):
        kept = []
        if measured:
            kept.append(1)
        return len(kept)
'''


def test_annotations_and_what_they_need_are_gone() -> None:
    assert unannotated(SOURCE) == ast.unparse(ast.parse(STRIPPED))


def test_no_module_of_a_board_has_any() -> None:
    for name, tree in board_modules().items():
        for node in ast.walk(tree):
            assert not isinstance(node, ast.AnnAssign), name
            assert not getattr(node, "annotation", None), name
            assert not (isinstance(node, ast.FunctionDef) and node.returns), name
            assert not (isinstance(node, ast.Name) and node.id == "TYPE_CHECKING"), name
