"""The contract on the real boards' own code, above fakes of their chips."""

import pytest

from host_sim.build.interpreters import MICROPYTHON_64, run_on
from tests.contract.contract import CHECKS, PASS, run_check
from tests.fakes.chip import Chip
from tests.fakes.modules import Installed
from tests.vm.fake_boards import BENCHES

SKIPPED_HERE = {"tick heap"}


@pytest.mark.parametrize("board", BENCHES)
@pytest.mark.parametrize(("name", "check"), CHECKS, ids=[name for name, _ in CHECKS])
def test_board_keeps(board, name, check):
    chip = Chip()
    with Installed(chip):
        outcome, text = run_check(check, BENCHES[board](chip))
    if name in SKIPPED_HERE:
        pytest.skip(text)
    assert outcome == PASS, text


def test_boards_keep_the_same_on_micropython():
    """Their code runs on MicroPython as well, with the same outcome of every check."""
    told = run_on(MICROPYTHON_64, "tests/vm/fake_boards.py").stdout.splitlines()
    outcomes = [line.split(":")[0] for line in told]
    assert sorted(outcomes) == sorted(
        f"{board} {'SKIP' if name in SKIPPED_HERE else 'PASS'} {name}"
        for board in BENCHES
        for name, _ in CHECKS
    )
