"""Reads a machine file. docs/reference/machine_file.md describes every key."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.common.reading import Where
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable
from host_sim.machine_file import values
from host_sim.machine_file.earlier import is_earlier
from host_sim.machine_file.homes import (
    FITTED,
    FROM_DATA_SHEET,
    GROUPS,
    HOMES,
    LEARNED,
    NAMES,
    SETTINGS,
    TWIN,
    WANTED,
)
from host_sim.machine_file.pressure_file import TABLE as PRESSURE
from host_sim.machine_file.pressure_file import PressureFile, pressure_table
from host_sim.sizing import texts
from host_sim.sizing.fields import FIELDS, PART_KEYS, Said, SizingField
from rate_control.settings import HIGH, LOW, Settings, build, default_value, row
from rate_control.units import MAX_SECTIONS, PWM_PUMP

SUFFIX = ".toml"


@dataclass(frozen=True)
class MachineFile:
    """A machine as its file says it."""

    source: TomlSource
    title: str
    us: bool  # whether bare numbers are, and values are shown, in US customary units
    settings: Settings
    fields: dict[str, Said]  # what `size` is asked, by the name of its field
    twin: dict[str, Any]  # kind and tables of the simulated machine, as they stand there
    places: dict[str, Where] = field(default_factory=dict)  # where each setting was found
    pressure: PressureFile | None = None  # the sensor, where there is one

    @property
    def path(self) -> Path:
        return self.source.path

    @property
    def width_m(self) -> float:
        """Working width of the whole bar."""
        return sum(self.settings.section_width_mm[: self.settings.section_count]) / 1000

    @property
    def outlets(self) -> int:
        """How many outlets (or rows) there are; 0 where the file does not say."""
        said = self.fields.get("sections")
        return sum(texts.counts(said.texts[0])) if said else 0

    @property
    def given(self) -> frozenset[str]:
        """Settings that the file itself gives; the others are at their defaults."""
        return frozenset(self.places)


def load_machine(path: Path, text: str | None = None) -> MachineFile:
    """The machine in a file, or in a text that is to become that file.

    Raises InputError with a line for everything that is wrong: file, line, key.
    """
    return _Reader(TomlSource(path, text)).read()


class _Reader:
    """Goes through the tables of one file and collects what is wrong."""

    def __init__(self, source: TomlSource) -> None:
        if is_earlier(source.data):
            raise InputError(f"{source.path}: is a settings file of an earlier version; "
                             f"`settings export --from` makes a machine file of it")
        self._source = source
        self._problems: list[str] = []
        self._top = TomlTable(source, (), source.data, self._problems)
        self._us = self._top.choice("units", units.SYSTEMS) == units.US
        self._values: dict[str, Any] = {"us_units": int(self._us)}
        self._places: dict[str, Where] = {}
        self._fields: dict[str, Said] = {}

    def read(self) -> MachineFile:
        title = self._top.text("title", self._source.path.name.split(".")[0])
        self._top.text("notes", "")
        for name in FITTED, WANTED, SETTINGS:
            self._plain_table(name)
        self._learned()  # after the data sheets, for it goes before them
        twin = self._table((TWIN,), self._top.any(TWIN, {})).values()
        pressure = self._pressure()
        self._top.finish()
        self._widths()
        self._floor()
        settings = self._settings()
        if pressure and pressure.prime_pa and settings and settings.actuator != PWM_PUMP:
            self._top.refuse_at((PRESSURE, "prime"), "goes with a pump that is driven by its duty, "
                                "not with a regulating valve: leave prime and prime_time out")
        if self._problems or settings is None:
            raise InputError(*self._problems)
        return MachineFile(self._source, title or "", self._us, settings, self._fields, twin,
                           self._places, pressure)

    def _table(self, where: Where, data: Any) -> TomlTable:
        return TomlTable(self._source, where, data, self._problems)

    def _plain_table(self, name: str) -> None:
        table = self._table((name,), self._top.any(name, {}))
        for part in PART_KEYS if name == FITTED else ():
            table.text(part, "")
        for known in FIELDS:
            if known.table == name:
                self._field(table, known)
        self._take(table)
        table.finish()

    def _pressure(self) -> PressureFile | None:
        if PRESSURE not in self._top:
            return None
        table = self._table((PRESSURE,), self._top.any(PRESSURE))
        return pressure_table(table, self._fields, self._us)

    def _learned(self) -> None:
        learned = self._table((LEARNED,), self._top.any(LEARNED, {}))
        for group in GROUPS:
            table = self._table((LEARNED, group), learned.any(group, {}))
            table.text("how", "")
            date = table.any("date")
            if date is not None and not isinstance(date, datetime.date):
                table.refuse("date", "must be a date like 2026-05-04, without quotes")
            self._take(table)
            table.finish()
        learned.finish()
        self._learned_fields()

    def _learned_fields(self) -> None:
        """What was learned of a part goes before its data sheet for `size` and the twin too."""
        for name, sheet in FROM_DATA_SHEET.items():
            where = HOMES[name]
            if self._places.get(name) == where:
                text = values.write(row(name), self._values[name], self._us)
                place = self._source.problem(where, "").removesuffix(": ")
                self._fields[str(sheet[-1])] = Said((text,), self._us, place)

    def _take(self, table: TomlTable) -> None:
        """Read the settings that stand in one table."""
        for name, place in (*FROM_DATA_SHEET.items(), *HOMES.items()):
            if place[:-1] != table.where:
                continue
            key = str(place[-1])
            given = table.any(key)
            if given is None:
                continue
            try:
                self._values[name] = values.read(row(name), given, self._us)
                self._places[name] = place
            except ValueError as error:
                if FROM_DATA_SHEET.get(name) != place or key in self._fields:  # else it is told
                    table.refuse(key, str(error))
                self._values[name] = default_value(row(name))

    def _field(self, table: TomlTable, known: SizingField) -> None:
        given = table.any(known.key)
        if given is None:
            return
        place = self._source.problem((*table.where, known.key), "").removesuffix(": ")
        try:
            said = Said(known.texts_of(given), self._us, place)
            for text in said.texts:
                read = known.read(text, self._us)
                if known.name == "outlet":
                    texts.outlet(read, (1.0, 1.0), self._us)
        except ValueError as error:
            if known.key == known.name:  # else it is a setting, and told as one
                table.refuse(known.key, str(error))
        else:
            self._fields[known.name] = said

    def _widths(self) -> None:
        """Widths of the sections: as they stand there, or outlets times their distance."""
        name = "section_width_mm"
        place = HOMES[name]
        if name not in self._values:
            self._places[name] = (FITTED, "sections")
            widths = self._outlet_widths()
            if widths is None:
                if not self._problems:
                    self._top.refuse_at(place, "is missing, and so is sections with spacing or "
                                               'width; for example ["1 m", "1.5 m", "1 m"]')
                return
            self._values[name] = widths
        widths = self._values[name]
        if not 1 <= len(widths) <= MAX_SECTIONS:
            self._top.refuse_at(self._places[name], f"must be 1 to {MAX_SECTIONS} sections, "
                                                    f"are {len(widths)}")
            del self._values[name]
            return
        sections = self._read_field("sections")
        if sections and len(sections) != len(widths):
            self._top.refuse_at(place, f"has {len(widths)} sections, but sections has "
                                       f"{len(sections)}")
        self._values["section_count"] = len(widths)
        self._values[name] = widths + default_value(row(name))[len(widths):]

    def _outlet_widths(self) -> list[int] | None:
        sections = self._read_field("sections")
        spacing_m, width_m = self._read_field("spacing"), self._read_field("width")
        if not sections or not (spacing_m or width_m):
            return None
        spacing_m = spacing_m or width_m / sum(sections)
        return [round(1000 * spacing_m * count) for count in sections]

    def _read_field(self, name: str) -> Any:
        said = self._fields.get(name)
        known = next(known for known in FIELDS if known.name == name)
        return known.read(said.texts[0], said.us) if said else None

    def _floor(self) -> None:
        """The meter is not trusted below the range of its data sheet, unless a setting says."""
        span, entry = self._read_field("meter_range"), row("meter_floor_ul_s")
        if span and "meter_floor_ul_s" not in self._values:
            self._values["meter_floor_ul_s"] = min(max(round(span[0] * 1e9), entry[LOW]),
                                                   entry[HIGH])
            self._places["meter_floor_ul_s"] = (FITTED, "meter_range")

    def _settings(self) -> Settings | None:
        settings, faults = build(self._values)
        for fault in faults:
            name, _, message = fault.partition(": ")
            place = self._places.get(name) or HOMES.get(name, ())
            self._top.refuse_at(place, values.in_keys(message, self._us))
        return settings


def name_at(where: Where) -> str | None:
    """The setting whose home a place in the file is."""
    return NAMES.get(where)
