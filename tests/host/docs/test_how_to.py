"""What the how-tos print is what the commands print, and every page carries its caution."""

import re
import shlex

import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import main

HOW_TO = REPO_ROOT / "docs" / "how_to"
PAGES = sorted(HOW_TO.glob("*.md"))
CONSOLE = re.compile(r"^```console\n\$ (.*)\n((?:(?!```).*\n)*)```", re.MULTILINE)
HARMLESS = {"README.md", "run_on_a_cluster.md"}


def examples():
    """(page, command, printed) of every console block."""
    return [
        pytest.param(command, printed, id=f"{page.name}-{index}")
        for page in PAGES
        for index, (command, printed) in enumerate(CONSOLE.findall(page.read_text()))
    ]


@pytest.mark.parametrize(("command", "printed"), examples())
def test_examples_print_what_the_page_says(command, printed, capsys):
    words = shlex.split(command)
    assert words[:3] == ["python", "-m", "host_sim"]
    assert main(words[3:]) in (0, 1)
    lines = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    assert lines == printed.splitlines()


def test_every_calibration_has_an_example():
    from host_sim.calibration.desk import by_hand

    text = "".join(page.read_text() for page in PAGES)
    assert all(f"calibrate {row[0].replace('_', '-')} " in text for row in by_hand())


@pytest.mark.parametrize("page", [page for page in PAGES if page.name not in HARMLESS],
                         ids=lambda page: page.name)
def test_every_procedure_carries_its_caution(page):
    text = page.read_text()
    assert "> **Caution.**" in text
    assert "prevail" in text


def test_every_page_is_in_the_index():
    index = (HOW_TO / "README.md").read_text()
    assert [page.name for page in PAGES
            if page.name != "README.md" and f"({page.name})" not in index] == []
