"""Constants put in their places: the same program, with fewer names."""

import ast

from host_sim.build.constant_folding import folded
from host_sim.build.firmware import VOCABULARY, board_modules, built_in_passing
from host_sim.build.interpreters import CPYTHON, MICROPYTHON_32, MICROPYTHON_64, run_on

DIGEST = ("tests/vm/digest.py", "tests/data/inputs_recorded.bin")


def fold(kept=(), **sources):
    return {name: ast.unparse(tree) for name, tree in folded(sources, kept).items()}


def test_number_takes_the_place_of_a_name_at_home_and_abroad():
    out = fold(
        units="TICK_MS = 50\nTICK_US = TICK_MS * 1000\n",
        user="from units import TICK_US\ndef f(x):\n    return x + TICK_US\n",
    )
    assert out["user"] == "def f(x):\n    return x + 50000"
    assert out["units"] == ""


def test_names_that_are_given_numbers_together_are_folded():
    out = fold(
        rows="NAME, UNIT = range(2)\nDOT, COMMA = 46, 44\nA, B = 1, len('x')\n",
        user="from rows import NAME, UNIT, COMMA, B\nx = (NAME, UNIT, COMMA, B)\n",
    )
    assert out["user"] == "from rows import B\nx = (0, 1, 44, B)"
    assert out["rows"] == "A, B = (1, len('x'))"


def test_module_and_class_are_seen_through():
    out = fold(**{
        "core.faults": "LOST = 4\n",
        "core.records": "class Decided:\n    BY_HAND = 1\n",
        "core.user": (
            "from core import faults\nfrom core.records import Decided\n"
            "def f(d):\n    return faults.LOST if d == Decided.BY_HAND else Decided()\n"
        ),
    })  # fmt: skip
    assert out["core.user"] == (
        "from core.records import Decided\n\ndef f(d):\n    return 4 if d == 1 else Decided()"
    )


def test_what_is_no_constant_stays():
    source = (
        "TWICE = 1\nTWICE = 2\nNAMES = ('a', 'b')\nFLAG = True\nlower = 3\n"
        "SIZE = len(NAMES)\nSHADOWED = 4\n\n"
        "def f(SHADOWED):\n    global COUNT\n    COUNT = 1\n"
        "    return (TWICE, NAMES, FLAG, lower, SIZE, SHADOWED)"
    )
    assert fold(module=source)["module"] == ast.unparse(ast.parse(source))


def test_definition_stays_where_it_is_asked_for_or_kept():
    sources = {
        "units": "A = 1\nB = 2\nC = 3\n",
        "user": "import units\ndef f():\n    return units.A\n",
    }
    assert fold(**sources)["units"] == "A = 1"
    assert fold(kept=["units"], **sources)["units"] == "A = 1\nB = 2\nC = 3"


def test_import_that_does_more_than_bring_numbers_stays():
    out = fold(
        units="A = 1\ndef g():\n    return A\n",
        user="from units import A, g\nimport units\ndef f():\n    return g() + A\n",
    )
    assert out["user"].splitlines()[:2] == ["from units import g", "import units"]


def test_firmware_loses_the_look_ups_of_its_tick():
    modules = board_modules()
    for name, tree in modules.items():
        if name.startswith("rate_control.") and "procedures" not in name:
            used = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
            assert not {"LIMIT", "TICK_MS", "ONE_Q20", "APPLYING"} & used - _defined(tree), name
    assert "LIMIT" in _defined(modules["rate_control.intmath"])
    assert set(VOCABULARY) <= set(modules)


def _defined(tree):
    return {
        node.id for node in ast.walk(tree)
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
    }  # fmt: skip


def test_built_bytecode_gives_the_trace_of_the_source():
    """On both MicroPythons, to the bit: 6,000 recorded ticks."""
    expected = run_on(CPYTHON, *DIGEST).stdout
    with built_in_passing() as folder:
        for interpreter in (MICROPYTHON_64, MICROPYTHON_32):
            assert run_on(interpreter, *DIGEST, firmware=folder).stdout == expected
