"""Writes docs/diagrams: `python -m host_sim.build.diagrams`."""

from __future__ import annotations

from collections.abc import Callable

import host_sim
from host_sim.build.diagrams import drawn, measured, tables
from host_sim.build.diagrams.canvas import Canvas
from host_sim.common.arguments import takes_nothing

FOLDER = host_sim.REPO_ROOT / "docs" / "diagrams"
DIAGRAMS: dict[str, Callable[[], Canvas]] = {
    "machine.svg": drawn.machine,
    "wiring.svg": tables.wiring,
    "menu.svg": tables.menu_tree,
    "tick.svg": tables.tick,
    "interlock.svg": tables.interlock_states,
    "loop.svg": drawn.loop,
    "pump_curve.svg": measured.pump_curve,
    "step_response.svg": measured.step_response,
    "plot_catch.svg": drawn.plot_catch,
}


def main() -> None:
    """Draw all of them anew; what has no name here any more goes."""
    takes_nothing("host_sim.build.diagrams", __doc__)
    FOLDER.mkdir(exist_ok=True)
    for path in FOLDER.glob("*.svg"):
        if path.name not in DIAGRAMS:
            path.unlink()
    for name, draw in DIAGRAMS.items():
        (FOLDER / name).write_text(draw().svg(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
