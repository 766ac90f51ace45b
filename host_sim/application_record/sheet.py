"""What stands in an application record, from the run and the job file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from host_sim.application_record.doses import AppliedMix, dose
from host_sim.application_record.entries import (
    COUNTED,
    JOB,
    SETTINGS,
    WORKED,
    Entry,
    Writer,
)
from host_sim.application_record.job import TRIAL, WEATHER, Job
from host_sim.application_record.limits import Verdict, verdicts
from host_sim.application_record.product_entries import product_entries
from host_sim.application_record.profiles import Profile, load_profile
from host_sim.application_record.when import CLOCK, day, disagreement, hours, too_late
from host_sim.application_record.work_done import WorkDone
from host_sim.common import units
from host_sim.report.words import HA_M2, L_HA_M, L_M3, Teller, percent, spoken


@dataclass(frozen=True)
class RecordSheet:
    """A whole record. `sections` and `pieces` hold a header and a row for each of them.

    `doses` say of each product whether its dose was within its limits.
    """

    simulated: bool
    profile: Profile
    kinds: list[str]
    entries: list[Entry]
    sections: list[list[str]]
    pieces: list[list[str]]
    remarks: list[str]
    doses: list[Verdict]

    @property
    def piece(self) -> str:
        """What the pieces are: passes of a run, or plots."""
        return self.pieces[0][0]

    @property
    def groups(self) -> list[str]:
        return list(dict.fromkeys(entry.group for entry in self.entries))

    def of(self, group: str) -> list[Entry]:
        return [entry for entry in self.entries if entry.group == group]

    @property
    def marks(self) -> list[str]:
        """Every rule that asks for something here."""
        return sorted({rule for entry in self.entries for rule in entry.rules})

    @property
    def missing(self) -> list[str]:
        """What is asked for and not there."""
        return [f"{entry.label} ({entry.group.lower()})" for entry in self.entries if entry.missing]


def fill(work: WorkDone, job: Job, us: bool) -> RecordSheet:
    """The record of work, whose figures are those of the controller itself.

    Raises InputError where the job file says too little of a product.
    """
    figures = work.figures
    applied = _applied(work)
    profile = load_profile(job.profile)
    asked = _AskedEntry(profile, {product.kind for product in job.products})
    entries = [*_who(work, job, asked, profile), *_where(job, figures, us, asked),
               *_liquid(figures, us, asked), *_equipment(job, us, asked),
               *_measured_with(work, us)]
    doses: list[Verdict] = []
    for number, product in enumerate(job.products, start=1):
        group = f"Product {number}"
        entries += product_entries(group, product, applied, us, profile)
        found = dose(product, applied, us)
        doses += verdicts(product, product.name or group, found.total if found else None,
                          applied.area_m2, us)
    told = [*work.remarks, *disagreement(work, job), *too_late(work, job, profile)]
    kinds = list(dict.fromkeys(product.kind for product in job.products))
    return RecordSheet(work.simulated, profile, kinds, entries, _sections(figures, us),
                       _pieces(work, us), told, doses)


class _AskedEntry:
    """What asks for an entry that belongs to all products, given their kinds."""

    def __init__(self, profile: Profile, kinds: set[str]) -> None:
        self._profile = profile
        self._kinds = kinds

    def by(self, element: str) -> tuple[str, ...]:
        """Names of the rules that ask for an element, empty where none does."""
        return self._profile.asks(element, self._kinds)


def _applied(work: WorkDone) -> AppliedMix:
    rates = work.rates_ml_ha
    return AppliedMix(
        Fraction(work.figures["controller_area_ha"]) * 10_000,
        Fraction(work.figures["controller_volume_l"]) / 1000,
        Fraction(rates[0], 10**10) if len(rates) == 1 else None,
    )


def _who(work: WorkDone, job: Job, asked: _AskedEntry, profile: Profile) -> Iterator[Entry]:
    group = "Who and when"
    date, source = day(work, job, profile)
    yield Entry(group, "date", date, source, rules=asked.by("date"))
    yield Entry(group, "time", hours(work, job), JOB if job.start else CLOCK,
                rules=asked.by("time"))
    yield Entry(group, "certified applicator", job.applicator, JOB,
                rules=asked.by("applicator"))
    yield Entry(group, "certification number", job.certification_number, JOB,
                rules=asked.by("certification_number"))
    yield from _told(group, asked, (("made_for", "made for", job.made_for),))
    yield from _told(group, asked, ((element, element, job.trial.get(key, ""))
                                    for element, key in zip(("trial", "block", "plot"), TRIAL,
                                                            strict=True)))
    if job.note:
        yield Entry(group, "note", job.note, JOB)


def _told(group: str, asked: _AskedEntry, entries: Iterable[tuple[str, str, str]]
          ) -> Iterator[Entry]:
    """Entries of the job file that are shown where they are given or asked for."""
    for element, label, text in entries:
        if text or asked.by(element):
            yield Entry(group, label, text, JOB, rules=asked.by(element))


def _where(job: Job, figures: dict[str, Any], us: bool, asked: _AskedEntry) -> Iterator[Entry]:
    group = "Where"
    area, unit, also = Writer(us).both("area_m2", figures["controller_area_ha"] * HA_M2)
    yield Entry(group, "location", job.location, JOB, rules=asked.by("location"))
    yield Entry(group, "crop, commodity, site", job.site, JOB, rules=asked.by("site"))
    yield Entry(group, "size of area treated", area, COUNTED, unit, also,
                rules=asked.by("area"))
    yield from _told(group, asked, (("placement", "placement", job.placement),))
    yield from _told(group, asked, ((element, element, job.weather.get(element, ""))
                                    for element in WEATHER))


def _liquid(figures: dict[str, Any], us: bool, asked: _AskedEntry) -> Iterator[Entry]:
    """The mix: volume, rate, and how steadily the rate was kept."""
    group, writer = "Liquid", Writer(us)
    area_ha, volume_l = figures["controller_area_ha"], figures["controller_volume_l"]
    value, unit, also = writer.both("volume_ml", volume_l * L_M3)
    yield Entry(group, "volume of mix", value, COUNTED, unit, also)
    for label, l_ha, rules in (
        ("mean rate of mix", volume_l / area_ha if area_ha else None, asked.by("rate")),
        ("rate asked for, mean", figures["target_l_ha"], ()),
    ):
        value, unit, also = ("", "", "") if l_ha is None else writer.both(
            "rate_ml_ha", l_ha * L_HA_M)
        yield Entry(group, label, value, WORKED, unit, also, rules)
    within = figures["distance_within_5_pct"]
    yield Entry(group, "way within 5 % of it",
                "" if within is None else f"{within:.1f}", COUNTED, "%" if within else "")
    yield Entry(group, "faults", spoken(figures["faults"]) or "none", COUNTED)


def _equipment(job: Job, us: bool, asked: _AskedEntry) -> Iterator[Entry]:
    """What the machine was fitted and filled with, by the job file."""
    group, writer = "Equipment", Writer(us)
    yield from _told(group, asked, (("outlet", "outlet", job.outlet),))
    if job.pressure_pa is not None or asked.by("pressure"):
        value, unit, also = ("", "", "") if job.pressure_pa is None else writer.both(
            "pressure_pa", job.pressure_pa)
        yield Entry(group, "pressure", value, JOB, unit, also, asked.by("pressure"))
    total = sum((load.si for load in job.tank_loads), Fraction(0))
    value, unit, also = ("", "", "") if not total else writer.both("volume_ml", float(total))
    if total or asked.by("tank_loads"):
        loads = " + ".join(str(load) for load in job.tank_loads)
        yield Entry(group, "tank loads", value, JOB, unit, f"{loads}; {also}" if total else "",
                    asked.by("tank_loads"))


def _measured_with(work: WorkDone, us: bool) -> Iterator[Entry]:
    """What the figures rest on: the pulses of two sensors, and who counted them."""
    about, group = work.about, "Measured with"
    for label, name, quantity in (
        ("flow meter", "meter_pulses_hl", "pulses_per_hl"),
        ("speed sensor", "speed_pulses_km", "pulses_per_km"),
    ):
        si = about["settings"][name] * float(units.SI_PER_INTERNAL[quantity])
        yield Entry(group, label, units.number(quantity, si, us), SETTINGS,
                    units.unit(quantity, us))
    board = about.get("board", {})
    version = board.get("firmware") or next(iter(about["versions"].values()))
    kind = "simulated" if work.simulated else board.get("board", "unknown")
    yield Entry(group, "controller", f"{kind}, firmware {version}", SETTINGS)


def _sections(figures: dict[str, Any], us: bool) -> list[list[str]]:
    writer = Writer(us)
    rows = [["section", "width", "area", "share of the volume", "mean rate"]]
    for section in figures["sections"]:
        l_ha = section["mean_rate_l_ha"]
        rows.append([
            str(section["section"]),
            writer.shown("width_mm", section["width_m"]),
            writer.shown("area_m2", section["area_ha"] * HA_M2),
            writer.shown("volume_ml", section["volume_l"] * L_M3),
            "" if l_ha is None else writer.shown("rate_ml_ha", l_ha * L_HA_M),
        ])
    return rows


def _pieces(work: WorkDone, us: bool) -> list[list[str]]:
    """See docs/reference/run_files.md for what the figures of a pass are."""
    writer, tell = Writer(us), Teller(work.figures, us)
    rows = [[work.piece, "length", "time", "area", "volume", "mean rate", "CV", "start", "end"]]
    for one in work.figures["passes"]:
        l_ha = one["mean_rate_l_ha"]
        rows.append([
            str(one["pass"]),
            tell.length(one["length_m"]),
            f"{one['time_s']:.1f} s",
            writer.shown("area_m2", one["area_ha"] * HA_M2),
            writer.shown("volume_ml", one["volume_l"] * L_M3),
            "" if l_ha is None else writer.shown("rate_ml_ha", l_ha * L_HA_M),
            percent(one["cv_pct"]),
            tell.edge(one["start_error_m"]),
            tell.edge(one["end_error_m"]),
        ])
    return rows
