"""The job file: what a person knows of an application and the controller does not.

docs/how_to/keep_records.md describes it. What is not known yet may be left out; the record then
says that it is missing. What is there must make sense, and a key that nobody knows is an error.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date, time
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

from host_sim.application_record import amounts
from host_sim.application_record.amounts import AREA, MASS, VOLUME, Amount, Ratio
from host_sim.application_record.profiles import PLAIN, profile_names
from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable

PESTICIDE, FERTILIZER, OTHER = KINDS = ("pesticide", "fertilizer", "other")
WAYS = ("total", "per_area", "per_mix", "undiluted")  # to say how much product there is
NUTRIENTS = ("N", "P2O5", "K2O")
_ANALYSIS = re.compile(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)")

T = TypeVar("T")


@dataclass(frozen=True)
class JobProduct:
    """One product of the mix. Exactly one of `total` and the three ratios is given.

    `per_area` holds for a mix that was made for `mixed_for`, a volume of mix for an area.
    `stated` is the dose that was meant for an area, where `per_area` does not say it, and
    `at_most` the highest that is allowed. `analysis` is N, P2O5 and K2O in percent of the mass,
    `density` a mass for a volume.
    """

    kind: str
    name: str
    registration_number: str = ""
    total: Amount | None = None
    per_area: Ratio | None = None
    mixed_for: Ratio | None = None
    stated: Ratio | None = None
    at_most: Ratio | None = None
    per_mix: Ratio | None = None
    undiluted: bool = False
    analysis: tuple[Fraction, ...] = ()
    density: Ratio | None = None
    place: str = ""  # where in the job file, for messages


@dataclass(frozen=True)
class Job:
    """A whole job file; a text that is empty is not known."""

    applicator: str = ""
    certification_number: str = ""
    made_for: str = ""
    location: str = ""
    site: str = ""
    placement: str = ""
    day: date | None = None
    start: time | None = None
    weather: dict[str, str] = field(default_factory=dict)
    note: str = ""
    profile: str = PLAIN
    trial: dict[str, str] = field(default_factory=dict)
    outlet: str = ""
    pressure_pa: float | None = None
    tank_loads: tuple[Amount, ...] = ()
    products: list[JobProduct] = field(default_factory=list)


TRIAL = ("name", "block", "plot")
WEATHER = ("wind", "temperature", "humidity", "sky")


def read_job(path: Path) -> Job:
    """The job in a file. Raises InputError with a line for everything that is wrong."""
    source = TomlSource(path)
    problems: list[str] = []
    top = TomlTable(source, (), source.data, problems)
    who, where, when, weather, trial, equipment = (
        TomlTable(source, (name,), top.any(name, {}), problems)
        for name in ("applicator", "place", "time", "weather", "trial", "equipment"))
    job = Job(
        applicator=_text(who, "name"),
        certification_number=_text(who, "certification_number"),
        made_for=_text(who, "made_for"),
        location=_text(where, "location"),
        site=_text(where, "site"),
        placement=_text(where, "placement"),
        day=_value(when, "date", date, "a date, written as 2026-05-04, without quotes"),
        start=_value(when, "start", time, "a time of day, written as 08:30:00, without quotes"),
        weather={key: _text(weather, key) for key in WEATHER if key in weather},
        note=_text(top, "note"),
        profile=top.choice("profile", tuple(profile_names())) or PLAIN,
        trial={key: _text(trial, key) for key in TRIAL},
        outlet=_text(equipment, "outlet"),
        pressure_pa=_pressure(equipment),
        tank_loads=_loads(equipment),
        products=_products(source, top, problems),
    )
    for table in (who, where, when, weather, trial, equipment, top):
        table.finish()
    if problems:
        raise InputError(*problems)
    return job


def _text(table: TomlTable, key: str) -> str:
    return (table.text(key, "") or "").strip()


def _pressure(table: TomlTable) -> float | None:
    text = _text(table, "pressure")
    try:
        return units.parse_with_unit("pressure_pa", text) if text else None
    except ValueError as error:
        table.refuse("pressure", str(error))
        return None


def _loads(table: TomlTable) -> tuple[Amount, ...]:
    texts = table.any("tank_loads", [])
    loads = []
    try:
        if not isinstance(texts, list):
            raise ValueError("must be a list of volumes, as in ['200 L', '120 L']")
        for text in texts:
            loads.append(amounts.parse_amount(str(text)))
            if loads[-1].unit.kind != VOLUME:
                raise ValueError(f"'{text}' is no volume")
    except ValueError as error:
        table.refuse("tank_loads", str(error))
    return tuple(loads)


def _value(table: TomlTable, key: str, kind: type[T], words: str) -> T | None:
    value = table.any(key)
    if value is None or type(value) is kind:
        return value
    table.refuse(key, f"must be {words}, is {value!r}")
    return None


def _products(source: TomlSource, top: TomlTable, problems: list[str]) -> list[JobProduct]:
    tables = top.any("product")
    if not isinstance(tables, list) or not tables:
        top.refuse("product", "needs at least one [[product]]")
        return []
    return [_product(source, TomlTable(source, ("product", index), data, problems), index)
            for index, data in enumerate(tables)]


def _product(source: TomlSource, table: TomlTable, index: int) -> JobProduct:
    kind = table.choice("kind", KINDS)
    if "kind" not in table:
        table.refuse("kind", f"is missing; one of {', '.join(KINDS)}")
    product = JobProduct(
        kind=kind or OTHER,
        name=_text(table, "name"),
        registration_number=_text(table, "registration_number"),
        total=_total(table),
        per_area=_ratio(table, "per_area", "1.2 L/ha", (VOLUME, MASS), AREA),
        mixed_for=_ratio(table, "mixed_for", "80 L/ha", (VOLUME,), AREA),
        stated=_ratio(table, "stated", "1.2 L/ha", (VOLUME, MASS), AREA),
        at_most=_ratio(table, "at_most", "1.5 L/ha", (VOLUME, MASS), AREA),
        per_mix=_ratio(table, "per_mix", "1.5 L/100 L", (VOLUME, MASS), VOLUME),
        undiluted=bool(table.flag("undiluted")),
        analysis=_analysis(table),
        density=_ratio(table, "density", "1.28 kg/L", (MASS,), VOLUME),
        place=source.problem(("product", index), "").removesuffix(": "),
    )
    _check_ways(table)
    table.finish()
    return product


def _check_ways(table: TomlTable) -> None:
    given = [way for way in WAYS if way in table]
    if len(given) > 1:
        table.refuse(given[1], f"says how much once more; {given[0]} says it already")
    if "stated" in table and "per_area" in table:
        table.refuse("stated", "states the dose once more; per_area says it already")
    if "mixed_for" in table and "per_area" not in table:
        table.refuse("mixed_for", "goes together with per_area")


def _total(table: TomlTable) -> Amount | None:
    text = _text(table, "total")
    try:
        total = amounts.parse_amount(text) if text else None
        if total and total.unit.kind == AREA:
            raise ValueError(f"'{text}' is no amount of a product")
    except ValueError as error:
        table.refuse("total", str(error))
        return None
    return total


def _ratio(
    table: TomlTable, key: str, example: str, of: tuple[str, ...], per: str
) -> Ratio | None:
    text = _text(table, key)
    try:
        ratio = amounts.parse_ratio(text) if text else None
        if ratio and not (ratio.kinds[0] in of and ratio.kinds[1] == per):
            raise ValueError(f"must be {' or '.join(of)} for {per}, as in '{example}'")
    except ValueError as error:
        table.refuse(key, str(error))
        return None
    return ratio


def _analysis(table: TomlTable) -> tuple[Fraction, ...]:
    text = _text(table, "analysis")
    match = _ANALYSIS.fullmatch(text)
    shares = tuple(Fraction(digits) for digits in match.groups()) if match else ()
    if text and not (match and sum(shares) <= 100):
        table.refuse("analysis", "must be N-P2O5-K2O in percent of the mass, as in '28-0-0', "
                                 f"is '{text}'")
        return ()
    return shares
