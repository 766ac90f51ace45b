"""The contract on the twin's virtual board."""

import pytest

from tests.contract.contract import CHECKS, PASS, run_check
from tests.contract.virtual_bench import VirtualBench

SKIPPED_HERE = {"supply", "tick heap"}


@pytest.mark.parametrize(("name", "check"), CHECKS, ids=[name for name, _ in CHECKS])
def test_virtual_board_keeps(name, check):
    outcome, text = run_check(check, VirtualBench())
    if name in SKIPPED_HERE:
        pytest.skip(text)
    assert outcome == PASS, text
