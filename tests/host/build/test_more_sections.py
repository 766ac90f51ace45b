"""Firmware for more sections than a board can drive is refused: built, and when it starts."""

import importlib
import os
import shutil
import subprocess
import sys

import pytest

from boards import section_port
from host_sim import FIRMWARE_DIR, REPO_ROOT
from rate_control.units import MAX_SECTIONS

LINE = ("firmware/rate_control/units.py: MAX_SECTIONS is 16, but boards/section_port.py drives "
        "8 sections\n")


@pytest.mark.parametrize("arguments", [(), ("--source",)])
def test_a_build_for_16_sections_is_one_line_and_writes_nothing(tmp_path, arguments):
    for name in ("firmware", "host_sim"):
        shutil.copytree(REPO_ROOT / name, tmp_path / name,
                        ignore=shutil.ignore_patterns("__pycache__", "vendor", "data"))
    units = tmp_path / "firmware/rate_control/units.py"
    text = units.read_text()
    assert text.count(f"MAX_SECTIONS = {MAX_SECTIONS} ") == 1
    units.write_text(text.replace(f"MAX_SECTIONS = {MAX_SECTIONS} ", "MAX_SECTIONS = 16 "))
    told = subprocess.run([sys.executable, "-m", "host_sim.build.firmware", *arguments],
                          cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(tmp_path)},
                          capture_output=True, text=True, check=False)
    assert (told.returncode, told.stdout, told.stderr) == (2, "", LINE)
    assert not (tmp_path / "build").exists()


def test_start_up_refuses_it_in_one_line(monkeypatch, capsys):
    """main.py itself: it prints why, and asks for no board; boot.py has made the outputs safe."""
    import boards

    problem = {name: importlib.import_module(f"boards.{name}").problem  # as main.py finds them
               for name in ("versions", "section_port")}
    monkeypatch.setattr(problem["versions"], "__defaults__", ("rp2", (1, 28, 0)))
    monkeypatch.setattr(problem["section_port"], "__defaults__", (16,))
    monkeypatch.setattr(boards, "chosen", lambda: pytest.fail("a board was made"))
    exec(compile((FIRMWARE_DIR / "main.py").read_text(), "main.py", "exec"), {})
    assert "firmware/" + capsys.readouterr().out == LINE


def test_as_many_as_the_port_has_are_built():
    assert section_port.problem() == section_port.problem(section_port.SECTIONS) == ""
