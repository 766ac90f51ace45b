"""On the twin: a crawl below the meter floor, and the change between the two regulations."""

from __future__ import annotations

import numpy as np
import pytest

from app.application import Application
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.machine import Machine
from host_sim.runs.truth import true_run
from host_sim.trials.commissioning.commission import commission
from host_sim.twin.clock import VirtualClock
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from host_sim.twin.virtual_board import VirtualBoard
from rate_control.interlock import APPLYING
from rate_control.records import Request
from rate_control.settings import build
from rate_control.units import (
    SWITCH_IMPLEMENT,
    SWITCH_MASTER,
    SWITCH_SECTION_SHIFT,
    TICK_US,
)

WORK = SWITCH_MASTER | SWITCH_IMPLEMENT
KM_H = 1 / 3.6
TICK_S = TICK_US / 1e6


@pytest.fixture(scope="module")
def learned():
    """Settings of the small machines, each from its own procedures."""
    return {kind: commission(machine_spec(kind)).settings
            for kind in ("electric_s", "electric_m", "inline_pd")}


@pytest.mark.parametrize("kind", ["electric_s", "electric_m"])
def test_a_crawl_is_not_over_applied(learned, kind):
    """At 1 km/h the flow is below the meter floor: the loop coasts, says so and applies no
    minimum. It has worked before, so that it knows what there is to know.
    """
    settings, problems = build({"rate_ml_ha": 70_000}, learned[kind])
    assert not problems
    crawl = SpeedTrace("crawl", (0, 20, 22, 60), (8 * KM_H, 8 * KM_H, 1 * KM_H, 1 * KM_H))
    scenario = Scenario(kind, machine_spec(kind), settings, crawl, 1,
                        [Event("go", at_s=1.5, on=WORK)])
    record = Twin(scenario).run()
    truth = true_run(record, scenario.section_width_m)
    crawling = truth.time_s > 25
    assert record["target_ul_s"][:-1][crawling].max() < settings.meter_floor_ul_s
    assert record["state"][:-1][crawling].min() == APPLYING
    assert record["coasting"][:-1][crawling].min() == 1
    ratio = truth.volume_ml[crawling].sum() / truth.target_ml[crawling].sum()
    assert 0.5 < ratio <= 1.05


class Driver:
    """An application on a simulated machine at a steady speed, moved on by hand."""

    def __init__(self, kind, settings):
        clock = VirtualClock()
        self.machine = Machine(machine_spec(kind), 1, clock.total_us)
        self.board = VirtualBoard(clock, self.machine, self._boot)
        sections = (1 << settings.section_count) - 1 << SWITCH_SECTION_SHIFT
        assert not self.app.change_settings(settings.as_dict())
        self.board.switches = sections
        self.speed_m_s = 2.0
        self.live(1.0)
        self.board.switches = sections | WORK
        self.live(10.0)
        assert self.app.controller.interlock.state == APPLYING

    def _boot(self, board):
        self.app = Application(board)
        self.app.start()

    def live(self, seconds):
        """Let time go by; returns the true flow of every tick, mL/s."""
        flows = []
        for _ in range(round(seconds / TICK_S)):
            self.board.advance(TICK_US, self.speed_m_s)
            self.app.poll()
            flows.append(self.machine.flow_m3_s * 1e6)
        return np.array(flows)


@pytest.mark.parametrize("kind", ["electric_m", "inline_pd"])
def test_changing_the_regulation_is_bumpless_both_ways(learned, kind):
    """Nothing else changes, so neither must the flow: less than 2 % at any moment."""
    settings, _ = build({"rate_ml_ha": 100_000 if kind == "electric_m" else 250_000},
                        learned[kind])
    driver = Driver(kind, settings)
    before = driver.live(2.0).mean()
    assert driver.app.set_regulation(Request.FIXED_DUTY) == ""
    fixed = driver.live(5.0)
    assert np.abs(fixed / before - 1).max() < 0.02
    assert driver.app.set_regulation(Request.CLOSED_LOOP) == ""
    closed = driver.live(5.0)
    assert np.abs(closed / before - 1).max() < 0.02


def test_fixed_duty_does_not_follow_the_speed_and_comes_back_to_it(learned):
    settings, _ = build({"rate_ml_ha": 100_000}, learned["electric_m"])
    driver = Driver("electric_m", settings)
    at_2_m_s = driver.live(1.0).mean()
    driver.app.set_regulation(Request.FIXED_DUTY)
    driver.speed_m_s = 2.5
    assert driver.live(3.0)[-20:].mean() == pytest.approx(at_2_m_s, rel=0.02)
    driver.app.set_regulation(Request.CLOSED_LOOP)
    assert driver.live(3.0)[-20:].mean() == pytest.approx(1.25 * at_2_m_s, rel=0.02)


def test_on_the_bench_fixed_duty_begins_at_zero(learned):
    settings, _ = build({"rate_ml_ha": 100_000}, learned["electric_m"])
    driver = Driver("electric_m", settings)
    driver.app.set_regulation(Request.FIXED_DUTY)
    assert driver.board.actuation.duty > 0
    driver.board.switches &= ~SWITCH_MASTER
    driver.speed_m_s = 0.3  # braking shows; a sensor silent at speed would be no standstill
    driver.live(1.0)
    driver.speed_m_s = 0.0
    driver.live(3.0)
    driver.board.switches |= SWITCH_MASTER
    driver.live(1.0)
    assert driver.app.enter_bench(confirmed_at_machine=True) == ""
    driver.live(1.0)
    assert driver.board.actuation.duty == 0.0
