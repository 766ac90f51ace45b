"""Drives of a machine whose receiver tells where it is."""

from __future__ import annotations

from pathlib import Path

from host_sim.twin.scenario import DEMO, Scenario, load_scenario

UNCORRECTED = {"hz": 1}
CORRECTED = {"hz": 10, "quality": 4, "drift_m": 0.015, "drift_s": 60, "jitter_m": 0.01}
UP_AND_DOWN = (  # a pass to the north, a turn to the right, a pass back
    (8, 'implement = "down"'), (48, 'implement = "up"'), (50, "turn_deg = 180\nradius_m = 1.5"),
    (56.7, 'implement = "down"'), (96.7, 'implement = "up"'))


def placed(folder: Path, receiver: dict[str, float], settings: str = "", field: str = "ordinary",
           events: tuple[tuple[float, str], ...] = UP_AND_DOWN, way_m: float = 100.0,
           speed_m_s: float = 1.4, head: str = "") -> Scenario:
    """The demonstration's machine with this receiver, on a drive of its own."""
    machine = DEMO.with_name("plot_bar.machine.toml").read_text(encoding="utf-8")
    gnss = "".join(f"{name} = {value}\n" for name, value in receiver.items())
    machine = machine.replace("[twin.ground]\n", f"[twin.gnss]\n{gnss}\n[twin.ground]\n")
    machine = machine.replace("[settings]\n", '[settings]\nposition_use = "record"\n' + settings)
    (folder / "placed.machine.toml").write_text(machine, encoding="utf-8")
    still_s, ramp_s = 3.0, 3.0
    end_s = still_s + ramp_s + (way_m - speed_m_s * ramp_s / 2) / speed_m_s
    (folder / "placed.csv").write_text(
        f"time_s,speed_m_s\n0,0\n{still_s},0\n{still_s + ramp_s},{speed_m_s}\n"
        f"{end_s:.2f},{speed_m_s}\n", encoding="utf-8")
    text = (f'title = "up and down"\nmachine = "placed.machine.toml"\n[drive]\n'
            f'speed_trace = "placed.csv"\nfield = "{field}"\n{head}'
            '[[event]]\nat_s = 1\nmaster = "on"\n')
    text += "".join(f"[[event]]\nat_m = {at_m}\n{lines}\n" for at_m, lines in events)
    path = folder / "placed.toml"
    path.write_text(text, encoding="utf-8")
    return load_scenario(path)
