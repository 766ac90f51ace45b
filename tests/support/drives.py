"""Short scenarios and made-up records that several tests drive and judge."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from host_sim.runs.record import RunRecord
from host_sim.runs.recorder import section_column
from host_sim.twin.scenario import DEMO, Scenario, load_scenario
from rate_control import trace
from rate_control.interlock import APPLYING
from rate_control.units import SWITCH_SECTION_SHIFT, TICK_MS

TICK_S = TICK_MS / 1000
MACHINE = "scenario.machine.toml"
START = '[[event]]\nat_s = 1\nmaster = "on"\n[[event]]\nat_s = 2\nimplement = "down"\n'


def scenario_file(
    tmp_path: Path, events: str = "", speeds: str = "0,2\n20,2\n", machine: str = ""
) -> Path:
    """A scenario of the demo's machine at 80 L/ha on `speeds`, with lines of events.

    `machine` has tables of the twin, such as [twin.ground]; without it the ground is smooth.
    """
    (tmp_path / "trace.csv").write_text("time_s,speed_m_s\n" + speeds)
    path = tmp_path / "scenario.toml"
    demo = DEMO.with_name("plot_bar.machine.toml").read_text().partition("[twin]")[0]
    (tmp_path / MACHINE).write_text(f'{demo}[twin]\nkind = "electric_m"\n{machine}')
    path.write_text(
        f'title = "Short"\nmachine = "{MACHINE}"\n[drive]\nspeed_trace = "trace.csv"\n{events}')
    return path


def short_scenario(tmp_path: Path, events: str = START, **kind: str) -> Scenario:
    """The same, loaded."""
    return load_scenario(scenario_file(tmp_path, events, **kind))


def made_up_record(
    speed_m_s: np.ndarray,
    section_ml_s: np.ndarray,
    wanted_ml_ha: float | np.ndarray = 100_000,
    width_m: tuple[float, ...] = (2.0,),
    events: list[dict[str, Any]] | None = None,
    **columns: np.ndarray,
) -> RunRecord:
    """A record whose truth is given: an entry (row) for each interval between two ticks.

    The interlock permits applying and all sections are on unless `columns` says otherwise.
    """
    ticks = len(speed_m_s) + 1
    ones = np.ones(ticks)
    sections = len(width_m)
    flows = np.asarray(section_ml_s, float).reshape(len(speed_m_s), sections)

    def running(rates: np.ndarray) -> np.ndarray:
        return np.concatenate([[0.0], np.cumsum(rates * TICK_S)])

    values: dict[str, np.ndarray] = {
        "time_s": np.arange(ticks) * TICK_S,
        "true_distance_m": running(speed_m_s),
        "true_speed_m_s": np.append(speed_m_s, speed_m_s[-1]),
        "true_flow_ml_s": np.append(flows.sum(axis=1), 0.0),
        "true_pressure_bar": ones,
        "hand_switches": ones * ((((1 << sections) - 1) << SWITCH_SECTION_SHIFT) | 3),
        "wanted_ml_ha": np.append(80_000.0, np.ones(ticks - 1) * wanted_ml_ha),
    }
    values |= {section_column(i): running(flows[:, i]) for i in range(sections)}
    values |= {name: np.zeros(ticks) for name in trace.FIELDS}
    values["state"] = ones * APPLYING
    values |= columns
    about = {"section_width_m": list(width_m), "events": events or [], "title": "Made up",
             "controller_volume_l": 1.0, "controller_area_ha": 1.0}
    return RunRecord(values, about)


def wanted_flow_ml_s(l_ha: float, speed_m_s: Any, width_m: float) -> Any:
    """mL/s that put this rate down: L/ha x m2/s / 10, for 1 ha = 10,000 m2 and 1 L = 1,000 mL."""
    return l_ha * speed_m_s * width_m / 10
