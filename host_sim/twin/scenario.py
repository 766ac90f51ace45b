"""A scenario: which machine, which settings, which drive and what the hands do in it.

Read from a TOML file; docs/reference/scenario_files.md describes the tables.
"""

from __future__ import annotations

import dataclasses
import os
from dataclasses import dataclass
from pathlib import Path

from app.zones import problem_of
from host_sim.common.earth import Origin
from host_sim.common.errors import InputError
from host_sim.common.reading import read_bytes
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.machine_file.pressure_file import pressure_bytes
from host_sim.machine_file.twin_spec import spec_of
from host_sim.plant.gnss import FIELD
from host_sim.plant.spec import MachineSpec
from host_sim.twin.disturbances import CALM, FIELDS
from host_sim.twin.hands import Event
from host_sim.twin.scenario_events import read_events
from host_sim.twin.speed_trace import SpeedTrace, read_speed_trace
from rate_control.settings import Settings
from rate_control.units import MAX_SECTIONS

BY = ("implement", "distance", "key")  # what begins the plots of a plan on the board
SCENARIO_DIR = Path(__file__).resolve().parents[1] / "scenarios"
DEMO = SCENARIO_DIR / "plot_bar.toml"
SEED_MAX = 2**32 - 1


@dataclass
class Scenario:
    """Everything that determines a drive."""

    title: str
    machine: MachineSpec
    settings: Settings
    speed_trace: SpeedTrace
    seed: int = 1
    events: list[Event] = dataclasses.field(default_factory=list)
    field: str = CALM  # its name in disturbances.FIELDS
    place: Origin = FIELD  # where it begins
    heading_deg: float = 0.0  # in which direction, clockwise from north
    zones: bytes = b""  # the file of zones on the board, empty for none
    plan: bytes = b""  # of a field trial, as the board has it; empty for none
    pressure: bytes = b""  # the file of a pressure sensor on the board, empty for none

    @property
    def section_width_m(self) -> list[float]:
        """True working width of each section, taken to be what the controller was told."""
        return [width_mm / 1000 for width_mm in self.settings.widths_mm()]


def load_scenario(
    path: Path, speed_trace: Path | None = None, seed: int | None = None,
    machine_file: Path | None = None, field: str | None = None,
) -> Scenario:
    """The scenario in a file, with its speed trace, seed, machine or field replaced where given.

    Raises InputError with a line for everything that is wrong: file, line, field.
    """
    source = TomlSource(path)
    problems: list[str] = []
    top = TomlTable(source, (), source.data, problems)
    title = top.text("title", path.stem)
    machine = _machine(top, path, machine_file, problems)
    sections = machine.settings.section_count if machine else MAX_SECTIONS
    drive = TomlTable(source, ("drive",), top.any("drive", {}), problems)
    trace_path = _trace_path(drive, path, speed_trace)
    drive_seed = drive.whole("seed", 0, SEED_MAX, 1)
    drive_field = drive.choice("field", tuple(FIELDS)) or CALM
    place, heading_deg = _place(drive)
    zones = _zones(drive, path)
    if zones and machine and not machine.settings.position_use:
        drive.refuse("zones", "the board uses none, for settings.position_use of "
                     f"{machine.path} is off")
    plan_path = _named_file(drive, "plan", path) if "plan" in drive else None
    plan_by = drive.choice("plan_by", tuple(BY))
    drive.finish()
    events = read_events(source, top.any("event", []), sections, problems)
    top.finish()
    if problems or not (machine and trace_path):
        raise InputError(*problems)
    plan = _plan(plan_path, machine, plan_by) if plan_path else b""
    return Scenario(title or path.stem, spec_of(machine), machine.settings,
                    read_speed_trace(trace_path), drive_seed or 0 if seed is None else seed, events,
                    field or drive_field, place, heading_deg, zones, plan,
                    pressure_bytes(machine))


def _place(drive: TomlTable) -> tuple[Origin, float]:
    """Where the drive begins, and in which direction."""
    found = []
    for key, otherwise, limit in (("latitude_deg", FIELD.latitude_deg, 80.0),
                                  ("longitude_deg", FIELD.longitude_deg, 180.0),
                                  ("heading_deg", 0.0, 360.0)):
        given = drive.number(key, -limit)
        value = otherwise if given is None else given
        if value > limit:
            drive.refuse(key, f"must be {-limit:g} to {limit:g} degrees, is {value:g}")
        found.append(value)
    return Origin(found[0], found[1]), found[2]


def _zones(drive: TomlTable, scenario: Path) -> bytes:
    """What the file of zones holds that is on the board, empty for none."""
    path = _named_file(drive, "zones", scenario) if "zones" in drive else None
    if path is None:
        return b""
    data = read_bytes(path)
    problem = problem_of(data)
    if problem:
        drive.refuse("zones", f"{path}: {problem}; `zones` makes one of GeoJSON")
    return data


def _plan(path: Path, machine: MachineFile, by: str | None) -> bytes:
    """The plan of a field trial for the board of this machine."""
    from host_sim.field_trial.fit import check_machine
    from host_sim.field_trial.plan_binary import board_plan
    from host_sim.field_trial.plan_file import read_plan

    plan = read_plan(path)
    check_machine(path, plan, machine)
    return board_plan(path, plan, sum(machine.settings.widths_mm()) / 1000, by)


def _machine(top: TomlTable, scenario: Path, override: Path | None,
             problems: list[str]) -> MachineFile | None:
    """The machine file that a scenario names, relative to itself, or the one in its place."""
    path = override
    if path is None:
        path = _named_file(top, "machine", scenario)
        if path is None:
            return None
    else:
        top.any("machine")
    try:
        machine = load_machine(path)
        spec_of(machine)
    except InputError as error:
        problems.extend(error.args)
        return None
    return machine


def _trace_path(drive: TomlTable, scenario: Path, override: Path | None) -> Path | None:
    """Where the speed trace is; the file's own is relative to the scenario."""
    if override:
        drive.any("speed_trace")
        return override
    return _named_file(drive, "speed_trace", scenario)


def _named_file(table: TomlTable, key: str, scenario: Path) -> Path | None:
    """The file that a key of a scenario names, relative to it; a missing one is refused."""
    name = table.text(key)
    if name is None:
        return None
    path = scenario.parent / name
    if not os.path.isfile(path):  # unlike Path's, it bears any name
        table.refuse(key, f"there is no file {path}")
        return None
    return path
