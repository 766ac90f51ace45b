"""What each pin of a board is wired to: the tables in hardware/wiring.md and bench_rig.md."""

from __future__ import annotations

import host_sim
from host_sim.common.arguments import takes_nothing
from host_sim.hardware.pin_rules import PinTable, tables
from host_sim.hardware.rig_rules import GIVEN, rig_table
from host_sim.hardware.signals import BY_NAME, SIGNALS

WIRING_MD = host_sim.REPO_ROOT / "hardware" / "wiring.md"
RIG_MD = host_sim.REPO_ROOT / "hardware" / "bench_rig.md"
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


def rig_wires() -> str:
    """A row for each wire between the controller's board and the rig's, in the rig's order."""
    platforms = ("rp2", "esp32")
    ends = {name: tables()[name].gpio for name in platforms}
    rows = [
        f"| `{name}` | {gpio} | " + " | ".join(str(ends[board][name]) for board in platforms)
        + f" | {'to the controller' if name in GIVEN else 'to the rig'} "
        f"| {BY_NAME[name].leads_to} |\n"
        for name, gpio in rig_table().gpio.items()
    ]
    head = ("| wire | GPIO of the rig | GPIO of a controller of the Pico shape | of an ESP32 "
            "| goes | in the machine |\n|---|---|---|---|---|---|\n")
    return head + "".join(rows)


def with_wires(text: str) -> str:
    """The rig's page with its table brought up to date."""
    return between_marks(text, "wires", rig_wires())


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
        raise ValueError(f"no marks for {name}")
    return before + start + table + end + after


def main() -> None:
    """Bring both pages up to date."""
    takes_nothing("host_sim.build.pin_reference", __doc__)
    for page, renew in ((WIRING_MD, with_tables), (RIG_MD, with_wires)):
        page.write_text(renew(page.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
