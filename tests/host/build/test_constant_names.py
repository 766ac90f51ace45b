"""Tables and texts of modules get short names, and the program stays the same."""

import ast

from host_sim.build.constant_names import shorten_constants
from host_sim.build.firmware import board_modules


def shortened(kept=(), **sources):
    trees = {name: ast.parse(text) for name, text in sources.items()}
    shorten_constants(trees, kept)
    return {name: ast.unparse(tree) for name, tree in trees.items()}


def test_modules_that_never_meet_share_their_names():
    out = shortened(units="UNITS = ('L', 'ha')", words="WORDS = ('on', 'off')")
    assert out == {"units": "C0 = ('L', 'ha')", "words": "C0 = ('on', 'off')"}


def test_what_one_module_sees_stays_apart():
    out = shortened(
        units="UNITS = ('L', 'ha')",
        words="WORDS = ('on', 'off')",
        screen="from units import UNITS\nfrom words import WORDS\nOWN = UNITS + WORDS")
    first, second = out["units"].split()[0], out["words"].split()[0]
    assert first != second
    own = ({"C0", "C1", "C2"} - {first, second}).pop()
    assert out["screen"] == (f"from units import {first}\nfrom words import {second}\n"
                             f"{own} = {first} + {second}")


def test_what_is_asked_for_in_another_way_keeps_its_name():
    """As an attribute, by a text, under another name, handed on, changed, or by a person."""
    sources = {
        "table": "ROWS = (1,)\nNAMED = (2,)\nOTHER = (3,)\nHANDED = (4,)\nlower = (5,)",
        "user": "import table\nfrom table import OTHER as O\nfrom table import HANDED\n"
                "table.ROWS\ngetattr(table, 'NAMED')",
        "last": "from user import HANDED",
        "state": "STATE = None\n\ndef take():\n    global STATE\n    STATE = 1",
        "pins": "PUMP = (1, 2)",
    }
    assert shortened(("pins",), **sources) == {
        name: ast.unparse(ast.parse(text)) for name, text in sources.items()}


def test_every_import_of_the_firmware_is_still_answered():
    trees = board_modules()
    short = 0
    for tree in trees.values():
        for node in ast.walk(tree):
            if not isinstance(node, ast.ImportFrom) or node.module not in trees:
                continue
            given = {name.id for name in ast.walk(trees[node.module])
                     if isinstance(name, ast.Name) and isinstance(name.ctx, ast.Store)}
            for alias in node.names:
                if alias.name[0] == "C" and alias.name[1:].isdigit():
                    short += 1
                    assert alias.name in given, (node.module, alias.name)
    assert short > 20
