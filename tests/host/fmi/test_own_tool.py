"""*Control it from your own tool*: the example of the page runs, and prints what the page says."""

import contextlib
import re
import shlex
import subprocess
import sys

from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.plant.catalogue import KINDS, machine_spec

PAGE = (REPO_ROOT / "docs" / "how_to" / "control_it_from_your_own_tool.md").read_text(
    encoding="utf-8")
TABLE_ROW = re.compile(r"^\| (`.*?) \| ", re.MULTILINE)


def test_example_holds_the_rate_and_prints_what_the_page_says(tmp_path):
    shell = re.search(r"```sh\n(.*?)```", PAGE, re.DOTALL)[1].splitlines()
    code = re.search(r"```python\n(.*?)```", PAGE, re.DOTALL)[1]
    printed = re.search(r"It prints:\n\n```\n(.*?)```", PAGE, re.DOTALL)[1]
    with contextlib.chdir(tmp_path):
        export = shlex.split(shell[-1])
        assert main(export[3:]) == 0
        ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                             check=True)
    assert ran.stdout == printed
    last = ran.stdout.splitlines()[-1]
    wanted, true = map(float, re.findall(r"([\d.]+) L/min", last))
    assert abs(true / wanted - 1) < 0.02


def test_every_variable_is_in_the_tables(tmp_path):
    from fmpy import read_model_description

    named = {name for row in TABLE_ROW.findall(PAGE) for name in re.findall(r"`(\w+)`", row)}
    found = set()
    for kind in KINDS:
        unit = tmp_path / f"{kind}.fmu"
        assert main(["fmu", kind, "--out", str(unit)]) == 0
        own = {one.name for one in read_model_description(str(unit)).modelVariables} - {"seed"}
        sections = range(2, machine_spec(kind).sections.count + 1)
        found |= own - {name for number in sections
                        for name in (f"section_{number}", f"true_section_{number}_ml")}
    assert named == found
