"""What a tick costs on the 32-bit machine, in instructions and in turns of a reference loop.

What is measured is the bytecode that goes onto a board.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from host_sim.build.firmware import built_in_passing
from host_sim.build.interpreters import MICROPYTHON_32, run_on

SCRIPT = "tests/vm/tick_cost.py"
PUMP, INLINE, BYPASS = "PWM pump", "inline valve", "bypass valve"
ACTUATORS = {PUMP: "0", INLINE: "1", BYPASS: "2"}
STATES = ("parked", "applying", "warning", "learned")  # see the script
SETTLED = 60
MEASURED = 40  # the dearest of so many ticks: more than a round of those that take turns
TURNS = 5000


@dataclass(frozen=True)
class TickCost:
    """WebAssembly instructions of a tick, the mean and the dearest, and of a reference turn."""

    actuator: str
    state: str
    mean: float
    dearest: int
    reference: int

    @property
    def turns(self) -> float:
        """The dearest tick in turns of the reference loop."""
        return self.dearest / self.reference


class TickMeter:
    """Counts instructions of the firmware in a folder that it was built into."""

    def __init__(self, firmware: str) -> None:
        self._firmware = firmware
        few, many = (self._instructions("reference", TURNS * times) for times in (1, 2))
        self.reference = (many - few) // TURNS

    def _instructions(self, work: str, count: int, *args: str) -> int:
        return run_on(MICROPYTHON_32, SCRIPT, work, str(count), *args, firmware=self._firmware).fuel

    def cost(self, actuator: str, state: str) -> TickCost:
        """The cost with eight sections, without that of making the inputs: same in every run."""
        kind = ACTUATORS[actuator]
        ends = [self._instructions(state, SETTLED + tick, kind) for tick in range(MEASURED + 1)]
        before, after = (self._instructions("inputs", SETTLED + tick, kind) for tick in (0, 1))
        costs = [later - earlier - (after - before) for earlier, later in pairwise(ends)]
        return TickCost(actuator, state, sum(costs) / MEASURED, max(costs), self.reference)


def tick_costs() -> list[TickCost]:
    """The cost for every actuator in every state."""
    with built_in_passing() as firmware:
        meter = TickMeter(firmware)
        return [meter.cost(actuator, state) for actuator in ACTUATORS for state in STATES]


def table() -> str:
    """All costs as text."""
    lines = [f"{'a tick, eight sections':32}{'mean':>10}{'dearest':>10}{'in reference turns':>20}"]
    lines += [
        f"{cost.actuator:16}{cost.state:16}{cost.mean:10,.0f}{cost.dearest:10,}{cost.turns:20.1f}"
        for cost in tick_costs()
    ]
    return "\n".join(lines)
