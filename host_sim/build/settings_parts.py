"""Parts the table of settings for a board: what every start needs, and what only set-up needs.

In the source a setting is one row of rate_control/settings_table.py. A board's heap does not hold
all of it beside the rest, so the table keeps its first fields there, and settings_words.py, which
is loaded with the set-up screens, gets those that the screens show. What the reference pages and
machine files alone need is on no board.
"""

from __future__ import annotations

import ast
from collections.abc import Mapping

from rate_control.settings_table import ADVICE, AT_BOOT, GROUP, LABEL

TABLE_MODULE = "rate_control.settings_table"
WORDS_MODULE = "rate_control.settings_words"
SHOWN = (GROUP, LABEL, ADVICE)  # what stands in settings_words.py, in this order


def part_settings(trees: Mapping[str, ast.Module]) -> None:
    """Part the table in place."""
    table = _assigned(trees[TABLE_MODULE], "TABLE")
    words = []
    rows = table.value
    assert isinstance(rows, ast.Tuple)
    for row in rows.elts:
        assert isinstance(row, ast.Tuple)
        words.append(ast.Tuple([row.elts[field] for field in SHOWN], ast.Load()))
        row.elts = row.elts[:AT_BOOT]
    shown = trees[WORDS_MODULE]
    _assigned(shown, "WORDS").value = ast.Tuple(list(words), ast.Load())
    shown.body = [node for node in shown.body if not isinstance(node, ast.Import | ast.ImportFrom)]


def _assigned(tree: ast.Module, name: str) -> ast.Assign:
    """Where a module gives a name its value."""
    found = [node for node in tree.body if isinstance(node, ast.Assign)
             and any(isinstance(target, ast.Name) and target.id == name
                     for target in node.targets)]
    return found[0]
