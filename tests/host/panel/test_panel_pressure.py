"""A machine with a pressure sensor at the panel: what is shown, said and saved of it."""

from dataclasses import replace

import pytest

from app.parts import ZONES_FILE
from app.plan_file import PLAN_FILE
from app.position import NAMES as POSITION
from app.pressure import BROKEN
from app.pressure_watch import SAYS
from host_sim.machine_file.machine import load_machine
from host_sim.machine_file.pressure_file import pressure_bytes
from host_sim.panel.live_twin import LiveTwin
from host_sim.runs.sensed_pressure import sensed_pressure
from host_sim.twin.plain_drive import scenario_for
from host_sim.twin.scenario import DEMO, SCENARIO_DIR, load_scenario
from tests.support.panel_game import Played

PLOT_BAR = (SCENARIO_DIR / "plot_bar.machine.toml").read_text(encoding="utf-8")
SENSOR = '\n[pressure]\nsignal = "0.5 to 4.5 V"\nrange = "4 bar"\n'


@pytest.fixture
def played(tmp_path):
    path = tmp_path / "bar.toml"
    path.write_text(PLOT_BAR + SENSOR, encoding="utf-8")
    scenario = scenario_for(None, machine_file=path)
    assert scenario.pressure == pressure_bytes(load_machine(path)) != b""
    return Played(LiveTwin(scenario), scenario=scenario)


def at_work(played):
    return played.play(6.0, ("factor", 5.0), ("master", True), ("implement", True),
                       ("throttle", 0.8))


def test_it_reads_the_pressure_and_tells_blocked_outlets(played):
    row = at_work(played)
    assert played.latest["hello"]["senses_pressure"]
    assert ["pressure_cut", "pressure sensor cut"] in played.latest["hello"]["troubles"]
    assert row["pressure_pa"] == pytest.approx(played.twin.machine.pressure_pa, rel=0.05)
    assert row["outlet_permille"] == pytest.approx(1000, abs=40) and row["pressure_says"] == 0
    row = played.play(3.0, ("outlets", 2, 0.0))  # two of seven
    assert row["outlet_permille"] == pytest.approx(1000 * 5 / 7, abs=40)
    said = played.latest["hello"]["pressure_says"][row["pressure_says"]]
    assert said == SAYS[1] == "outlets pass less than new ones: plugged, or a valve shut"
    row = played.play(2.0, ("trouble", "pressure_cut", True))
    assert row["pressure_pa"] == BROKEN


def test_the_record_of_a_drive_has_it_as_any_other_run(played):
    at_work(played)
    record = played.game.drive.finish()
    figures = sensed_pressure(record)["pressure"]
    assert figures["high_pa"] == pytest.approx(played.twin.machine.pressure_pa, rel=0.1)
    assert figures["outlets_pct"] == pytest.approx(100, abs=4)
    assert not set(POSITION) & set(record.columns)


def test_the_board_gets_zones_and_a_plan_too():
    scenario = replace(load_scenario(DEMO, field="calm"), zones=b"zones", plan=b"plan")
    slots = LiveTwin(scenario).board.files().slots
    assert (slots[ZONES_FILE], slots[PLAN_FILE]) == (b"zones", b"plan")


def test_a_machine_without_a_sensor_has_no_pressure_and_nothing_to_cut():
    played = Played(LiveTwin(load_scenario(DEMO, field="calm")))
    row = played.play(1.0)
    hello = played.latest["hello"]
    assert not hello["senses_pressure"]
    assert (row["pressure_pa"], row["outlet_permille"], row["pressure_says"]) == (None,) * 3
    assert "pressure_cut" not in dict(hello["troubles"])
