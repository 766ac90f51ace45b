"""docs/how_to/add_a_board.md, followed to the letter in a copy of the tree."""

import re
import shutil
import subprocess
import sys
import textwrap

import pytest

from host_sim import REPO_ROOT

PAGE = REPO_ROOT / "docs/how_to/add_a_board.md"
CHECK = """
from host_sim.hardware import boards, drawings, netlist_rules, pages
from host_sim.hardware.pin_rules import check_pins, tables
from host_sim.hardware.sheets import circuit
check_pins()
wired = circuit("small")
print(netlist_rules.findings(wired.parts, tables()["small"], boards.board("small")))
print(wired.nets["SUPPLY"] >= {("U1", "24")}, wired.nets["BUZZER"] >= {("U1", "13")})
print(any(path.name == "controller_small.kicad_sch" for path in drawings.texts()))
print("small board with an RP2040" in "".join(pages.texts().values()))
"""


@pytest.fixture
def tree(tmp_path):
    """What a contributor has, without history and environment."""
    ignore = shutil.ignore_patterns("__pycache__", "*.pdf")
    for folder in ("firmware", "host_sim", "hardware"):
        shutil.copytree(REPO_ROOT / folder, tmp_path / folder, ignore=ignore)
    return tmp_path


def python(tree, *arguments):
    """Run Python in the copy; returns what it printed."""
    done = subprocess.run([sys.executable, *arguments], cwd=tree, capture_output=True, text=True,
                          check=False, env={"PYTHONPATH": str(tree), "PATH": "/usr/bin:/bin"})
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_two_files_make_a_board(tree):
    text = PAGE.read_text("utf-8")
    for name, block in re.findall(r"\*\*`(\S+\.py)`\*\*.*?```python\n(.*?)```", text, re.DOTALL):
        (tree / name).write_text(textwrap.dedent(block))
    told = python(tree, "-c", CHECK).split("\n")
    assert told == ["[]", "True True", "True", "True", ""]
    command = re.search(r"python -m (host_sim\.build\.firmware --board small)", text)[1]
    python(tree, "-m", *command.split(), "--source")
    built = (tree / "build/source/boards/rp2_pins.py").read_text()
    assert "SUPPLY = 27" in built
    assert not (tree / "build/source/boards/small_pins.py").exists()
    python(tree, "-m", "host_sim.build.firmware", "--source")
    assert "SUPPLY = 26" in (tree / "build/source/boards/rp2_pins.py").read_text()


def test_a_wrong_table_is_not_built(tree):
    """The same two files with a pin that the board has not got."""
    text = PAGE.read_text("utf-8")
    for name, block in re.findall(r"\*\*`(\S+\.py)`\*\*.*?```python\n(.*?)```", text, re.DOTALL):
        (tree / name).write_text(textwrap.dedent(block).replace("TEST = 22", "TEST = 23"))
    done = subprocess.run([sys.executable, "-m", "host_sim.build.firmware", "--source"], cwd=tree,
                          capture_output=True, text=True, check=False,
                          env={"PYTHONPATH": str(tree), "PATH": "/usr/bin:/bin"})  # fmt: skip
    assert done.returncode == 2
    assert re.match(r"firmware/boards/small_pins\.py:\d+: TEST: GPIO 23 is not brought out",
                    done.stderr)  # fmt: skip
