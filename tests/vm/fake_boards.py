"""Run the contract on the real boards' code above fake chips, on whatever interpreter runs this.

Prints a line a check, with the board before it.
"""

from tests.contract.contract import run_all
from tests.contract.fake_bench import FakeBench
from tests.fakes.chip import Chip
from tests.fakes.modules import Installed


def rp2_bench(chip):
    """The RP2040 board, or what it runs on here."""
    from boards import rp2_pins
    from boards.rp2_board import Rp2Board

    return FakeBench(chip, rp2_pins, Rp2Board)


def esp32_bench(chip):
    """The ESP32 board; its edge times may be late by a period."""
    from boards import esp32_pins
    from boards.esp32_board import Esp32Board

    bench = FakeBench(chip, esp32_pins, Esp32Board)
    bench.EDGE_ERROR_US = 10_000
    return bench


BENCHES = {"rp2": rp2_bench, "esp32": esp32_bench}


def main():
    """Run everything."""
    for name in sorted(BENCHES):
        chip = Chip()
        lines = []
        with Installed(chip):
            run_all(BENCHES[name](chip), lines.append)
        for line in lines:
            print(name, line)


if __name__ == "__main__":
    main()
