"""How long a newcomer waits: the steps are counted as they are done, and a failed one is told."""

import re

import pytest

from host_sim import REPO_ROOT
from host_sim.build import newcomer
from host_sim.common.errors import InputError

TREE = REPO_ROOT / "README.md"


def test_every_command_is_run_in_a_folder_of_its_own_without_a_persons_settings():
    told = newcomer.by_clone(
        (f"cp {TREE} new.md", """sh -c 'test -d "$HOME" && test -z "$VIRTUAL_ENV" && ls {tree}'""",
         "mv new.md made.md"), "made.md")
    assert re.fullmatch(r"from clone to report +3 commands +\d+ s", told)
    assert TREE.is_file()


@pytest.mark.parametrize(("commands", "why"), [
    (("ls nowhere", "touch made"), "ls nowhere: ended with 2: ls: "),
    (("true",), "made: was not written")])
def test_what_fails_is_told_in_a_line(commands, why):
    with pytest.raises(InputError) as told:
        newcomer.by_clone(commands, "made")
    assert str(told.value).startswith(why) and "\n" not in str(told.value)


def test_the_commands_are_those_of_the_readme():
    _, make = newcomer.COMMANDS
    assert make == "make -C controller demo"
    assert re.search(r"^make demo ", TREE.read_text(), re.MULTILINE)
    assert newcomer.REPORT.removeprefix("controller/") in TREE.read_text()
