"""What a tick costs on the 32-bit machine, in instructions and in turns of a reference loop."""

from __future__ import annotations

from dataclasses import dataclass

from host_sim.interpreters import MICROPYTHON_32, run_on

SCRIPT = "tests/vm/tick_cost.py"
STATES = ("parked", "applying")
TICKS = 200
TURNS = 5000


@dataclass(frozen=True)
class TickCost:
    """WebAssembly instructions of one tick, and what a turn of the reference loop takes."""

    state: str
    instructions: int
    reference: int

    @property
    def turns(self) -> float:
        """The tick in turns of the reference loop."""
        return self.instructions / self.reference


def instructions(work: str, count: int) -> int:
    """Instructions of one tick or turn: what `count` more of them add to a run."""
    few, many = (run_on(MICROPYTHON_32, SCRIPT, work, str(n)).fuel for n in (count, 2 * count))
    return (many - few) // count


def tick_costs() -> list[TickCost]:
    """The cost in each state, with eight sections. The same in every run."""
    reference = instructions("reference", TURNS)
    return [TickCost(state, instructions(state, TICKS), reference) for state in STATES]


def table() -> str:
    """All costs as text."""
    lines = [f"{'a tick, eight sections':24}{'instructions':>14}{'reference turns':>18}"]
    lines += [
        f"{cost.state:24}{cost.instructions:14,}{cost.turns:18.1f}" for cost in tick_costs()
    ]
    return "\n".join(lines)
