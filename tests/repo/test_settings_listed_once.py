"""The table of settings is the only list of them; what is made from it is up to date."""

from __future__ import annotations

import ast

from host_sim.build.settings_stub import STUB, stub
from rate_control.settings_table import NAME, TABLE
from tests.repo.tree import FIRMWARE, ROOT, name_of, python_files

NAMES = {entry[NAME] for entry in TABLE}
ONLY_LIST = "firmware/rate_control/settings_table.py"
MOST = 9  # settings named together: what a procedure learns, what a bench is put to


def named_together(tree: ast.AST) -> int:
    """How many settings the largest collection in a module names."""
    collections = (node for node in ast.walk(tree)
                   if isinstance(node, ast.Tuple | ast.List | ast.Set | ast.Dict))
    return max((len({item.value for item in ast.walk(node) if isinstance(item, ast.Constant)
                     and isinstance(item.value, str)} & NAMES) for node in collections), default=0)


def test_nothing_else_lists_settings() -> None:
    counts = {name: named_together(tree)
              for name, tree in python_files(FIRMWARE, ROOT / "host_sim")}
    assert counts.pop(ONLY_LIST) == len(TABLE)
    assert {name: count for name, count in counts.items() if count > MOST} == {}


def test_a_second_list_is_found() -> None:
    assert named_together(ast.parse(f"X = {dict.fromkeys(NAMES, 'words')}")) == len(NAMES)


def test_the_stub_is_made_of_the_present_table() -> None:
    assert STUB.read_text("utf-8") == stub(), f"{name_of(STUB)}: run make docs"
    for entry in TABLE:
        assert f"    {entry[NAME]}: " in stub()
