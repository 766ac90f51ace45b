"""The table of disturbances: whole, understood by scenarios, and what a field makes of it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from host_sim.plant.faults import PlantFaults
from host_sim.runs.truth import true_run
from host_sim.trials.acceptance.contenders import DYNAMIC_ORACLE, THE_CONTROLLER
from host_sim.trials.fields import CASES, drive_field, fields_text, if_given, sensed_share
from host_sim.trials.trust.breaks import BREAKS
from host_sim.twin.breaking import Breaking
from host_sim.twin.disturbances import (
    CALM,
    FIELD_SOURCES,
    FIELDS,
    FLAG,
    ORDINARY,
    ROUGH,
    TABLE,
    VALVE_WORDS,
    set_field,
)
from host_sim.twin.disturbances_page import disturbances_page
from host_sim.twin.hands import Event
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.twin import Twin
from rate_control.interlock import APPLYING
from tests.support.drives import START, made_up_record, scenario_file, short_scenario

BY_SECTION = {"orifice_factor", *(name for name, _ in VALVE_WORDS.values() if name)}
NAMES = {entry.name for entry in TABLE}


def test_every_fault_of_the_plant_is_in_the_table_and_on_the_page() -> None:
    assert {field.name for field in dataclasses.fields(PlantFaults)} == NAMES | BY_SECTION
    page = disturbances_page()
    assert [entry.key for entry in TABLE if f"`{entry.key}`" not in page] == []


def test_every_amount_says_where_it_comes_from() -> None:
    assert [entry.key for entry in TABLE if entry.quantity != FLAG and not entry.source] == []
    assert {name for amounts in FIELDS.values() for name in amounts} == set(FIELD_SOURCES)


def test_what_breaks_elsewhere_is_in_the_table() -> None:
    assert {name for entry in BREAKS for name in entry.plant} <= NAMES | BY_SECTION


@pytest.mark.parametrize("entry", TABLE, ids=[entry.key for entry in TABLE])
def test_an_event_understands_every_row(entry, tmp_path) -> None:
    keys = {entry.key, *entry.numbers}
    for key in keys:
        value = "true"
        if entry.quantity != FLAG:
            value = "0.5" if entry.quantity is None or key != entry.key else (
                f"'{0.5:g} {unit_of(entry)}'")
        path = scenario_file(tmp_path, f"[[event]]\nat_s = 1\n{key} = {value}\n")
        (event,) = load_scenario(path).events
        assert set(event.faults) == {entry.name} and event.who == "fault" and event.words


def unit_of(entry) -> str:
    return {"share_ppm": "%", "supply_mv": "V", "speed_mm_s": "m/s", "flow_ul_s": "L/min",
            "pressure_pa": "bar", "volume_ml": "mL", "time_ms": "s"}[entry.quantity]


# Coming and going.


def test_an_amount_comes_evenly_within_its_time_and_a_later_event_takes_over() -> None:
    faults = PlantFaults(orifice_factor=[1.0, 1.0])
    breaking = Breaking(faults)
    breaking.begin(Event("", faults={"air_m3": 1e-4}, orifices={1: 0.0}, over_s=10.0), 5.0)
    breaking.go_on(7.5)
    assert faults.air_m3 == pytest.approx(0.25e-4) and faults.orifice_factor == [1.0, 0.75]
    breaking.begin(Event("", orifices={1: 0.9}), 8.0)
    breaking.go_on(20.0)
    assert faults.air_m3 == 1e-4 and faults.orifice_factor == [1.0, 0.9]


def test_a_valve_has_one_thing_the_matter_at_a_time() -> None:
    faults = PlantFaults()
    breaking = Breaking(faults)
    for what, masks in (("stuck open", (2, 0, 0)), ("slow", (0, 0, 2)), ("stuck shut", (0, 2, 0)),
                        ("free", (0, 0, 0))):
        breaking.begin(Event("", valves={1: what}), 0.0)
        assert (faults.sections_open, faults.sections_shut, faults.sections_slow) == masks


def test_a_nozzle_that_plugs_in_a_scenario_takes_its_time(tmp_path) -> None:
    text = START + '[[event]]\nat_s = 8\nsection = 1\norifice_factor = 0\nover = "8 s"\n'
    record = Twin(short_scenario(tmp_path, text)).run()
    flows = np.diff(record["true_section_1_ml"])
    assert flows[100:155].mean() > 1.5 * flows[240:260].mean() > 0.0 == flows[330:].max()
    assert record.about["events"][-1]["words"].endswith("0 % of new ones, within 8 s")


# Fields.


def test_a_field_takes_the_place_of_another_and_leaves_what_is_broken() -> None:
    faults = PlantFaults(meter_stalled=True)
    set_field(faults, ROUGH)
    set_field(faults, ORDINARY)
    assert {name: getattr(faults, name) for name in FIELDS[ORDINARY]} == FIELDS[ORDINARY]
    set_field(faults, CALM)
    assert faults == PlantFaults(meter_stalled=True)


def test_scenario_and_command_line_name_the_field(tmp_path) -> None:
    path = scenario_file(tmp_path)
    assert load_scenario(path).field == CALM
    path.write_text(path.read_text().replace("[drive]\n", '[drive]\nfield = "rough"\n'))
    assert load_scenario(path).field == ROUGH
    assert load_scenario(path, field=ORDINARY).field == ORDINARY
    assert load_scenario(DEMO).field == ORDINARY


def test_a_recorded_trace_brings_its_slow_band_and_a_made_one_does_not(tmp_path) -> None:
    assert load_scenario(DEMO).speed_trace.recorded
    assert not short_scenario(tmp_path).speed_trace.recorded


# The yardstick, a short part of it.


def test_the_rougher_the_field_the_larger_the_error(tmp_path) -> None:
    scenario = short_scenario(tmp_path, speeds="0,2.5\n60,2.5\n")
    rows = [drive_field(scenario, *case) for case in CASES]
    calm, ordinary, rough, radar, rough_radar = (row.metre_rms_pct for row in rows)
    assert calm < ordinary < rough
    assert ordinary < radar < rough_radar
    assert rows[0].tick_within_5_pct > 99.0
    lines = fields_text(rows).splitlines()
    assert [line.split("  ")[0] for line in lines[3:]] == [
        "calm", "ordinary", "rough", "ordinary, radar", "rough, radar"]


def test_the_oracle_drives_with_the_same_sensors_and_interlock(tmp_path) -> None:
    """Starts and the speed as sensed are not its own: they are the same for both."""
    scenario = short_scenario(tmp_path, speeds="0,1.5\n12,3.0\n18,2.5\n")
    ours, oracle = (drive_field(scenario, ROUGH, False, contender)
                    for contender in (THE_CONTROLLER, DYNAMIC_ORACLE))
    assert (oracle.starts_rms_pct, oracle.at_once_rms_pct) == (
        ours.starts_rms_pct, ours.at_once_rms_pct)
    assert ours.starts_rms_pct < ours.at_once_rms_pct < oracle.metre_rms_pct < ours.metre_rms_pct
    first, second, ratio = fields_text([ours, oracle]).splitlines()[3:]
    assert first.startswith("rough  ") and second.startswith("  dynamic oracle  ")
    words, *ratios = ratio.rsplit(maxsplit=3)
    assert words == "  ours over it" and ratios == [
        f"{getattr(ours, name) / getattr(oracle, name):.2f}"
        for name in ("metre_rms_pct", "permitted_rms_pct", "tick_rms_pct")]


def test_a_machine_that_follows_at_once_has_the_errors_of_its_sensor() -> None:
    """Half of the intervals are permitted, and the sensor is 10 % off in the last quarter."""
    record = made_up_record(np.full(80, 2.0), np.zeros(80),
                            state=np.repeat([0, APPLYING], [40, 41]),
                            speed_mm_s=np.repeat([2000, 2200], [60, 21]))
    truth = true_run(record, [2.0])
    assert if_given(truth, np.ones(80)) == pytest.approx(100 * 0.5**0.5)
    assert if_given(truth, sensed_share(record, truth)) == pytest.approx(
        100 * (0.5 + 0.25 * 0.1**2) ** 0.5)
