"""What a tick of the controller costs, measured on the recorded inputs: `make bench`.

The cost of reading the recording is measured without the controller and taken off. The number
of WebAssembly instructions is exact and the same in every run, so it is what two versions of
the firmware are compared by; times depend on the machine and its load.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

from host_sim.build import tick_cost
from host_sim.build.interpreters import INTERPRETERS, run_on
from host_sim.common.arguments import takes_nothing

SCRIPT = "tests/vm/replay.py"
RECORDED = "tests/data/inputs_recorded.bin"
REPLAYS = 4
TICK_US = 50_000


@dataclass(frozen=True)
class Cost:
    """What the replays cost on one interpreter."""

    ticks: int
    wall_s: float
    fuel: int


def cost_of_replay(interpreter: str, mode: str) -> Cost:
    """Replay with mode "step" or "idle"."""
    start = time.perf_counter()
    finished = run_on(interpreter, SCRIPT, RECORDED, str(REPLAYS), mode)
    return Cost(int(finished.stdout), time.perf_counter() - start, finished.fuel)


def table_row(interpreter: str) -> str:
    """One line of the table."""
    idle, step = (cost_of_replay(interpreter, mode) for mode in ("idle", "step"))
    tick_us = (step.wall_s - idle.wall_s) / step.ticks * 1e6
    instructions = (step.fuel - idle.fuel) // step.ticks
    counted = f"{instructions:,}" if instructions else "-"
    return f"{interpreter:16}{tick_us:10.1f}{TICK_US / tick_us:14,.0f}{counted:>16}"


def main() -> None:
    """Print the table."""
    takes_nothing("host_sim.build.benchmark", __doc__)
    run_on(INTERPRETERS[-1], "tests/vm/identity.py")  # translating the machine is not the tick
    print(f"{'interpreter':16}{'us a tick':>10}{'x real time':>14}{'instructions':>16}")
    for interpreter in INTERPRETERS:
        print(table_row(interpreter))
    print(f"\n{tick_cost.table()}")


if __name__ == "__main__":
    main()
