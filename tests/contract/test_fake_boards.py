"""The contract on the real boards' own code, above fakes of their chips."""

import pytest

from tests.contract.contract import CHECKS, PASS, run_check
from tests.contract.fake_bench import FakeBench
from tests.fakes.chip import Chip
from tests.fakes.modules import Installed

SKIPPED_HERE = {"tick heap"}


def rp2_bench(chip):
    from boards import rp2_pins
    from boards.rp2_board import Rp2Board

    return FakeBench(chip, rp2_pins, Rp2Board)


def esp32_bench(chip):
    from boards import esp32_pins
    from boards.esp32_board import Esp32Board

    bench = FakeBench(chip, esp32_pins, Esp32Board)
    bench.EDGE_ERROR_US = 10_000  # one period of the slowest pulses sent
    return bench


@pytest.mark.parametrize("make_bench", [rp2_bench, esp32_bench], ids=["rp2", "esp32"])
@pytest.mark.parametrize(("name", "check"), CHECKS, ids=[name for name, _ in CHECKS])
def test_board_keeps(make_bench, name, check):
    chip = Chip()
    with Installed(chip):
        outcome, text = run_check(check, make_bench(chip))
    if name in SKIPPED_HERE:
        pytest.skip(text)
    assert outcome == PASS, text
