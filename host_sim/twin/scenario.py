"""A scenario: which machine, which settings, which drive and what the hands do in it.

Read from a TOML file; docs/reference/scenario_files.md describes the tables.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from host_sim.common.errors import InputError
from host_sim.common.settings_file import number
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from host_sim.plant.catalogue import machine_spec_from_table
from host_sim.plant.spec import MachineSpec
from host_sim.twin.hands import Event
from host_sim.twin.scenario_events import read_events
from host_sim.twin.speed_trace import SpeedTrace, read_speed_trace
from rate_control.settings import Settings, build, default_value, row
from rate_control.units import MAX_SECTIONS

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
    events: list[Event] = field(default_factory=list)

    @property
    def section_width_m(self) -> list[float]:
        """True working width of each section, taken to be what the controller was told."""
        return [width_mm / 1000 for width_mm in self.settings.widths_mm()]


def load_scenario(
    path: Path, speed_trace: Path | None = None, seed: int | None = None
) -> Scenario:
    """The scenario in a file, with its speed trace or seed replaced where given.

    Raises InputError with a line for everything that is wrong: file, line, field.
    """
    source = TomlSource(path)
    problems: list[str] = []
    top = TomlTable(source, (), source.data, problems)
    title = top.text("title", path.stem)
    machine = _machine(source, top, problems)
    settings = _settings(source, top, problems)
    sections = settings.section_count if settings else MAX_SECTIONS
    drive = TomlTable(source, ("drive",), top.any("drive", {}), problems)
    trace_path = _trace_path(drive, path, speed_trace)
    drive_seed = drive.whole("seed", 0, SEED_MAX, 1)
    drive.finish()
    events = read_events(source, top.any("event", []), sections, problems)
    top.finish()
    if machine and settings and machine.sections.count != settings.section_count:
        problems.append(source.problem(
            ("controller", "section_count"),
            f"is {settings.section_count}, but the machine has {machine.sections.count} sections"))
    if problems or not (machine and settings and trace_path):
        raise InputError(*problems)
    return Scenario(title or path.stem, machine, settings, read_speed_trace(trace_path),
                    drive_seed or 0 if seed is None else seed, events)


def _machine(source: TomlSource, top: TomlTable, problems: list[str]) -> MachineSpec | None:
    """The plant's own check names the parameter: `table.parameter: what is wrong`."""
    table = TomlTable(source, ("machine",), top.any("machine", {}), problems)
    try:
        return machine_spec_from_table(table.values())
    except ValueError as error:
        place, _, message = str(error).partition(": ")
        table.refuse_at(tuple(place.split(".")), message)
    return None


def _settings(source: TomlSource, top: TomlTable, problems: list[str]) -> Settings | None:
    table = TomlTable(source, ("controller",), top.any("controller", {}), problems)
    values = {name: _setting(table, name, value) for name, value in table.values().items()}
    widths = values.get("section_width_mm")
    if isinstance(widths, list):
        count = values.get("section_count", default_value(row("section_count")))
        if isinstance(count, int) and len(widths) < count <= MAX_SECTIONS:
            table.refuse("section_width_mm", f"has {len(widths)} widths for {count} sections")
        values["section_width_mm"] = widths + _spare_widths()[len(widths) :]
    settings, faults = build(values)
    for fault in faults:
        name, _, message = fault.partition(": ")
        table.refuse(name, message)
    return settings


def _setting(table: TomlTable, name: str, value: Any) -> Any:
    """A value as a settings file has it: a number in the unit of its name, or one with a unit."""
    entry = row(name)
    try:
        return value if entry is None else number(entry, value)
    except ValueError as error:
        table.refuse(name, str(error))
        return default_value(entry)


def _spare_widths() -> list[int]:
    """Widths of sections that are not fitted: any permitted value."""
    widths: list[int] = default_value(row("section_width_mm"))
    return widths


def _trace_path(drive: TomlTable, scenario: Path, override: Path | None) -> Path | None:
    """Where the speed trace is; the file's own is relative to the scenario."""
    if override:
        drive.any("speed_trace")
        return override
    name = drive.text("speed_trace")
    if name is None:
        return None
    path = scenario.parent / name
    if not os.path.isfile(path):  # unlike Path's, it bears any name
        drive.refuse("speed_trace", f"there is no file {path}")
    return path
