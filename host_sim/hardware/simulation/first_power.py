"""What a meter shows at each test point when the controller gets power for the first time."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from host_sim import REPO_ROOT
from host_sim.build.pin_reference import between_marks
from host_sim.hardware.simulation.bench import Setup, mean, simulate

PAGE = REPO_ROOT / "hardware" / "first_power.md"
MARK = "voltages"
BATTERY_V = 12.6
TOLERANCE = 0.05  # of the meter, the parts and the battery together; chosen
HEAD = "| point | net | board out | board in, at rest | all outputs on |\n|---|---|---|---|---|\n"
# What hangs on 5 V and 3.3 V in each state, in amperes; chosen. A board out gives no 3.3 V.
STATES = {"board out": (0.0, 0.0), "at rest": (0.06, 3.3), "all on": (0.3, 3.3)}
POINTS = (
    ("TP1", "V_PROT"), ("TP2", "V5"), ("TP3", "VSYS"), ("TP4", "3V3"), ("TP5", "V_SENSOR"),
    ("TP6", "V_LOAD"), ("TP8", "V_GATE"), ("TP9", "V_BRIDGE"), ("U5 pin 13", "OFF_5"),
    ("U6 pin 2", "PUMP_5"), ("Q1 pin 1", "PUMP_GATE"), ("Q11 pin 1", "GATE_1"),
    ("U3 pin 1, sensor open", "SPEED_LOW"), ("U1 pin of SUPPLY", "SUPPLY"),
)  # fmt: skip


def voltages(state: str) -> dict[str, float]:
    """Volts of every point in one state, with the loads' relay closed and all valves fitted."""
    amps, three = STATES[state]
    on = state == "all on"
    valves = tuple(f"RV{n} V_VALVE VALVE_{n} 14.4" for n in range(1, 9))
    driven = (("VOFF SECTION_OFF 0 0", "VPU PUMP 0 3.3") if on else
              ("VOFF SECTION_OFF 0 3.3", "VPU PUMP 0 0") if three else
              ("ROFF SECTION_OFF 0 100Meg", "RPU PUMP 0 100Meg"))  # fmt: skip
    lines = (
        f"VB BATT_IN 0 {BATTERY_V}", f"VL LOAD_IN 0 {BATTERY_V}",
        f"BL VSYS 0 I = {amps}*min(1, max(0, V(VSYS)/4))", f"V33 3V3 0 {three}",
        "RS1 SPEED_IN 0 10Meg", "RM V_PUMP PUMP_OUT 2", *valves, *driven,
        "VVO VALVE_OPEN 0 0", "VVC VALVE_CLOSE 0 0", "RMV VALVE_A VALVE_B 20",
    )  # fmt: skip
    pages = ("supply", "pulse inputs", "switches and section registers", "section drivers",
             "pump driver", "valve bridge")  # fmt: skip
    names = {net: f"v({net})" for _, net in POINTS}
    times, got = simulate(Setup(pages, lines=lines), names.values(), 60e-3, 200e-6, 40e-3)
    return {net: mean(times, got[vector]) for net, vector in names.items()}


def rows() -> Iterator[str]:
    """The table's rows."""
    found = {state: voltages(state) for state in STATES}
    for point, net in POINTS:
        cells = " | ".join(f"{abs(found[state][net]):.1f} V" for state in STATES)
        yield f"| {point} | `{net}` | {cells} |\n"


def texts() -> dict[Path, str]:
    """The page with its table made anew."""
    return {PAGE: between_marks(PAGE.read_text("utf-8"), MARK, HEAD + "".join(rows()))}
