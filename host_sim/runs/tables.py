"""The tables that a run leaves for other programs, and what each of their columns is."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from host_sim.common.data_package import DESCRIPTOR, INTEGER, NUMBER, Column, Table, package_files
from host_sim.runs.passes import EDGE_M
from host_sim.runs.recorder import PARTS, PLACE, TRUTH, section_column
from rate_control import trace

NAME = "liquid-application-run"

_PART = (
    Column("area_ha", NUMBER, "way times the width of the sections switched on by hand"),
    Column("volume_l", NUMBER, "what left the outlets between the pass's first and last moment"),
    Column("target_l_ha", NUMBER, "rate that was wanted, weighted with area", needed=False),
    Column("mean_rate_l_ha", NUMBER, "volume over area", needed=False),
    Column("error_pct", NUMBER, "mean rate against the wanted one", needed=False),
    Column("cv_pct", NUMBER, "coefficient of variation of applied over wanted from metre to metre",
           needed=False),
    Column("start_error_m", NUMBER, f"liquid too much (+) or missing (-) on the first {EDGE_M:g} m,"
           " as metres of the pass", needed=False),
    Column("end_error_m", NUMBER, f"the same for the last {EDGE_M:g} m, with what came out after "
           "the lift; a measured one without what was metered behind shut sections", needed=False),
    Column("after_lift_l", NUMBER, "what came out, or was metered, between the lift and the next "
           "pass"),
)
_NUMBER = Column("pass", INTEGER, "number of the pass in the order of driving, from 1 on")

PASSES = Table("passes", "A row for each pass: from the implement's coming down to its lift.", (
    _NUMBER,
    Column("start_s", NUMBER, "when it began, from the start of the run"),
    Column("time_s", NUMBER, "how long it took"),
    Column("start_m", NUMBER, "where it began, along the whole way of the run"),
    Column("length_m", NUMBER, "way with the implement down and the master on"),
    *_PART), key=("pass",))
SECTIONS = Table("pass-sections", "A row for each section of each pass.", (
    _NUMBER, Column("section", INTEGER, "number of the section, from 1 on"), *_PART,
), key=("pass", "section"), within="passes", link=("pass",))

PASS_FILES = (PASSES.file, SECTIONS.file, DESCRIPTOR)

# What the columns of run.csv are. Integers are those that the controller reckons with.
_MEANINGS = {
    "time_s": "time from the start of the run",
    "true_distance_m": "true way of the machine",
    "true_speed_m_s": "true ground speed",
    "true_flow_ml_s": "true flow out of all outlets",
    "true_pressure_bar": "true pressure at the outlets",
    "hand_switches": "bits of the hand switches: 0 master, 1 implement, 2 section 1, ...",
    "wanted_ml_ha": "application rate asked for",
    "now_us": "clock of the controller, wraps at 2^30",
    "switches": "the same bits as the controller saw them, debounced and delayed",
    "speed_mm_s": "speed as the controller measured it",
    "speed_valid": "1 where it believed that",
    "distance_mm": "way counted since the tick before",
    "flow_ul_s": "flow as the controller measured it",
    "flow_valid": "1 where it believed that",
    "volume_ul": "volume counted since the tick before",
    "supply_mv": "supply voltage, 0 where it is not measured",
    "state": "operating state: 0 parked, 1 ready, 2 applying, 3 bench, 4 fault, "
             "5 priming",
    "permits": "permits that were there, a bit each",
    "faults": "faults and warnings, a bit each",
    "section_mask": "sections that were told to be open, a bit each",
    "width_mm": "their width",
    "target_ul_s": "flow that the wanted rate needs at this speed and width",
    "expected_ul_s": "flow that the meter should show if the machine follows its curve",
    "command_ul_s": "target, corrected by the loop",
    "coasting": "1 where the meter could not be read and the loop was open",
    "saturated": "1 where the machine could give no more, -1 where no less",
    "trim_q20": "how far the machine was off its curve, in 1/2^20",
    "duty_u16": "duty of the pump, 65535 is full",
    "valve_pulse_ms": "pulse to a regulating valve: + opens, - closes",
    "demand_u16": "demand towards more flow, a duty or a valve position, 65535 is full",
    "position_u16": "position of a regulating valve as the controller reckons it",
    "true_east_m": "middle of the outlets, east of where the drive began",
    "true_north_m": "middle of the outlets, north of where the drive began",
    "true_heading_deg": "true heading, clockwise from north",
    "east_mm": "middle of the outlets as the controller reckons it, east of the plane's origin",
    "north_mm": "the same, north of it",
    "heading_cdeg": "heading in 1/100 degree, clockwise from north; -1 is not known",
    "fix_quality": "0 no position to rely on, else as GGA has it: 1 without corrections, 4 fixed",
    "fix_age_ms": "how long ago the last fix was true",
    "origin_lat_e4": "latitude of the origin of the plane in 1/10000 degree",
    "origin_lon_e4": "its longitude",
    "hold_mask": "sections that were held shut because their ground was covered, a bit each",
    "pressure_pa": "pressure as the sensor read it; -1 is no signal",
    "outlet_permille": "flow over what new outlets would pass, in per mille; 0 is not known",
    "pressure_says": "what the sensor and the flow said: 0 nothing, 1 plugged, 2 worn, 3 clogged "
                     "filter, 4 weak pump, 5 one of these two, 6 no signal",
}


def run_table(section_count: int, names: Collection[str] = ()) -> Table:
    """The table run.csv of a machine with so many sections; `names` are the columns it has."""
    truth = [Column(name, NUMBER, _MEANINGS[name], needed=name != "true_pressure_bar")
             for name, _ in (*TRUTH, *(one for one in PLACE if one[0] in names))]
    sections = [Column(section_column(index), NUMBER,
                       f"what section {index + 1} has let out so far") for index in
                range(section_count)]
    more = [name for name in names if name in PARTS]
    traced = [Column(name, INTEGER, _MEANINGS[name]) for name in (*trace.FIELDS, *more)]
    return Table("run", "A row for each tick of the controller, 20 a second: truth beside belief. "
                 "In a measured run the columns true_... hold what was measured.",
                 (*truth, *sections, *traced))


def pass_files(title: str, figures: dict[str, Any], *others: Table) -> dict[str, str]:
    """Texts by file name: the passes, their sections, and the descriptor of these and `others`."""
    rows = figures["passes"]
    sections = ({"pass": row["pass"]} | section for row in rows for section in row["sections"])
    return package_files(NAME, title, {PASSES: rows, SECTIONS: sections}, others)
