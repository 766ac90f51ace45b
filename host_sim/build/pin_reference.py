"""What each pin of a board is wired to: the tables in hardware/wiring.md."""

from __future__ import annotations

import host_sim
from host_sim.hardware.pin_rules import PinTable, tables
from host_sim.hardware.signals import SIGNALS

WIRING_MD = host_sim.REPO_ROOT / "hardware" / "wiring.md"
HELD = (
    ("low, by a pull-down to ground", "down"),
    ("high, by a pull-up", "up"),
)
HEAD = "| GPIO | name | direction | resistor outside | leads to |\n|---|---|---|---|---|\n"


def pin_table(table: PinTable) -> str:
    """The table of one board, in the order of SIGNALS."""
    rows = [
        f"| {table.gpio[signal.name]} | `{signal.name}` | {signal.direction} "
        f"| {signal.pull or '-'} | {signal.leads_to} |\n"
        for signal in SIGNALS
        if signal.name in table.gpio
    ]
    return HEAD + "".join(rows)


def held_table() -> str:
    """Which outputs are held low and which high, in the order of SIGNALS."""
    rows = [
        f"| {level} | "
        + ", ".join(f"`{signal.name}`" for signal in SIGNALS
                    if (signal.direction, signal.pull) == ("out", resistor))
        + " |\n"
        for level, resistor in HELD
    ]
    return "| held | outputs |\n|---|---|\n" + "".join(rows)


def with_tables(text: str) -> str:
    """The page with each table between its marks replaced by the present one."""
    for name, table in tables().items():
        if f"<!-- pins {name} -->" in text:  # a board of somebody's own need not be on the page
            text = between_marks(text, f"pins {name}", pin_table(table))
    return between_marks(text, "held", held_table())


def between_marks(text: str, name: str, table: str) -> str:
    """The page with what stands between the marks of this name replaced."""
    start, end = f"<!-- {name} -->\n", f"<!-- end {name} -->\n"
    before, _, rest = text.partition(start)
    _, mark, after = rest.partition(end)
    if not mark:
        raise ValueError(f"{WIRING_MD.name}: no marks for {name}")
    return before + start + table + end + after


def main() -> None:
    """Bring hardware/wiring.md up to date."""
    WIRING_MD.write_text(with_tables(WIRING_MD.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
