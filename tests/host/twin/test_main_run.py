"""The whole firmware through main.py: a working day by switches, keys and link alone."""

import pytest

from host_sim.board.link_client import Refused
from host_sim.plant.machine import Machine
from host_sim.twin.clock import VirtualClock
from host_sim.twin.main_run import MainRun
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.virtual_board import MemoryFiles

MASTER = 1
DOWN = 2
SPEED_M_S = 2.0


class Day(MainRun):
    """The demonstration machine, its settings given over the link."""

    def __init__(self, files=None, seed=1):
        scenario = load_scenario(DEMO)
        self.scenario = scenario
        self.sections = ((1 << scenario.settings.section_count) - 1) << 2
        clock = VirtualClock()
        super().__init__(Machine(scenario.machine, seed, clock.total_us), clock,
                         files or MemoryFiles())
        self.board.switches = self.sections

    def give_settings(self):
        values = self.scenario.settings.as_dict()
        for name in values:  # one at a time: no record may be longer than the board's buffer
            self.link.ask("settings.set", values={name: values[name]})
        self.take_settings_on()

    def switch(self, on=0, off=0):
        self.board.switches = self.board.switches & ~off | on
        self.live(0.5)

    def arm(self):
        self.switch(off=MASTER)
        self.switch(on=MASTER)

    def keys(self, *actions):
        for action in actions:
            if isinstance(action, int):
                self.panel.turn(action)
            else:
                getattr(self.panel, action)()
        self.settle()
        return self.panel.text().split("\n")

    def status(self):
        return self.link.ask("status")


@pytest.fixture
def day():
    with Day() as started:
        yield started


def outputs(day):
    return day.board.actuation.duty, day.board.actuation.section_mask


def test_a_working_day(day):
    day.live(1.0)
    day.give_settings()
    assert outputs(day) == (0.0, 0)
    lines = day.keys()
    assert lines[2].strip() == "master is off"

    day.arm()
    assert day.keys()[2].strip() in ("implement is up", "drive: too slow")
    # the rate by keys: one more in the first digit, on to the ones and the tenths, taken
    rate = day.status()["rate_ml_ha"]
    assert rate == 80_000
    day.keys("push", "push", 1, "push", "push", "push", "back")
    assert day.status()["rate_ml_ha"] == 90_000

    day.link.ask("rate.set", rate_ml_ha=rate)
    day.speed_m_s = SPEED_M_S
    day.live(3.0)
    assert outputs(day) == (0.0, 0), "the implement is up"
    day.switch(on=DOWN)
    day.live(10.0)
    status = day.status()
    assert status["state"] == "applying"
    assert abs(status["applied_ml_ha"] - rate) < rate / 20
    assert outputs(day)[0] > 0

    day.switch(off=8)  # section 2
    day.live(2.0)
    assert "-" in day.keys()[3]
    day.switch(on=8)

    # the truth on the ground: litres over area within 3 %
    machine = day.board.machine
    before_ml, before_m = sum(machine.section_volume_ml), machine.distance_m
    day.live(30.0)
    width_m = sum(day.scenario.section_width_m)
    area_ha = (machine.distance_m - before_m) * width_m / 10_000
    assert (sum(machine.section_volume_ml) - before_ml) / area_ha == pytest.approx(rate, rel=0.03)

    day.switch(off=DOWN)
    assert outputs(day) == (0.0, 0)
    assert day.status()["state"] == "ready"
    for day.speed_m_s in (1.5, 1.0, 0.5, 0.2, 0.0):  # a sensor that fell silent proves nothing
        day.live(1.0)
    day.live(3.0)
    totals = day.link.ask("totals.get")
    assert totals["area_m2"] > 0

    # the bench by keys: asked, confirmed, 5 km/h, and gone with the back key
    day.keys("push", 2, "push")
    assert day.status()["state"] == "ready"
    day.keys("push", 10)
    day.live(5.0)
    assert day.status()["state"] == "bench"
    assert outputs(day)[0] > 0
    day.keys("back")
    assert outputs(day) == (0.0, 0)
    assert day.starts == 1


def test_the_link_cannot_start_anything():
    day = Day()
    day.board.switches |= MASTER | DOWN  # on since before power-up: not armed
    with day:
        day.speed_m_s = SPEED_M_S
        day.live(5.0)
        day.link.ask("rate.set", rate_ml_ha=200_000)
        day.link.ask("settings.set", values={"speed_cutoff_mm_s": 50})
        day.link.ask("procedure.begin", procedure="pump_curve")
        with pytest.raises(Refused):
            day.link.ask("procedure.act", action="complete")
        day.live(2.0)
        assert day.status()["state"] == "parked"
        assert outputs(day) == (0.0, 0)
        assert day.keys()[1].startswith(">start"), "what was asked for waits for a person"


def test_settings_and_totals_survive_the_power_cut():
    files = MemoryFiles()
    with Day(files) as day:
        day.live(1.0)
        day.give_settings()
        day.arm()
        day.speed_m_s = SPEED_M_S
        day.switch(on=DOWN)
        day.live(20.0)
        day.switch(off=DOWN)
        day.live(2.0)
        totals = day.link.ask("totals.get")
        settings = day.link.ask("settings.get", names=["meter_pulses_hl"])
    with Day(files) as day:
        day.board.switches |= MASTER | DOWN
        day.speed_m_s = SPEED_M_S
        day.live(5.0)
        assert outputs(day) == (0.0, 0), "nothing starts by itself"
        assert day.keys()[2].strip() == "master off, then on"
        again = day.link.ask("totals.get")
        assert again["area_m2"] == totals["area_m2"]
        values = day.link.ask("settings.get", names=["meter_pulses_hl"])["values"]
        assert values == settings["values"]


def test_a_stalled_program_is_reset_with_outputs_off(day):
    day.live(1.0)
    day.give_settings()
    day.arm()
    day.speed_m_s = SPEED_M_S
    day.switch(on=DOWN)
    day.live(5.0)
    assert outputs(day)[0] > 0
    day.board.stalled = True
    day.live(0.5)
    assert day.starts == 2
    day.live(2.0)
    assert outputs(day) == (0.0, 0)
    assert day.status()["state"] == "parked"
    day.keys("push", 6, "push")
    assert day.keys()[0].startswith("note"), "the restart is told"
