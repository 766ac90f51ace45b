"""The drive of a machine file without a scenario: what it wants, pass by pass."""

from __future__ import annotations

import numpy as np
import pytest

from host_sim.common.errors import InputError
from host_sim.machine_file.machine import load_machine
from host_sim.twin.plain_drive import HOLD_S, plain_drive, scenario_for
from host_sim.twin.scenario import DEMO
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

BAR = """\
[wanted]
rate = ["80 L/ha", "10 gal/ac"]
speed = "6 to 9 km/h"
[fitted]
sections = [3, 3]
spacing = "0.5 m"
"""


@pytest.fixture
def bar(tmp_path):
    path = tmp_path / "bar.toml"
    path.write_text(BAR)
    return path


def changed(path, old, new):
    path.write_text(path.read_text().replace(old, new))
    return path


def test_every_wanted_rate_gets_a_pass_at_the_wanted_speeds(bar):
    scenario = scenario_for(None, machine_file=bar)
    events = scenario.events
    assert [event.rate_ml_ha for event in events if event.rate_ml_ha] == [80_000, 93_540]
    downs = [event.at_s for event in events if event.on & SWITCH_IMPLEMENT]
    ups = [event.at_s for event in events if event.off & SWITCH_IMPLEMENT]
    assert len(downs) == len(ups) == 2
    assert all(down < up for down, up in zip(downs, ups, strict=True)) and ups[0] < downs[1]
    assert [event.at_s for event in events if event.on & SWITCH_MASTER] == [1.0]
    assert scenario.seed == 1
    trace = scenario.speed_trace
    for down in downs:  # 6, 7.5 and 9 km/h
        held = np.array([trace.at(time_s)
                         for time_s in np.arange(down, down + 3 * HOLD_S + 15.0, 0.5)])
        for speed_m_s in (6 / 3.6, 7.5 / 3.6, 9 / 3.6):
            assert (np.abs(held - speed_m_s) < 1e-9).sum() >= 2 * HOLD_S
    assert trace.speed_m_s[0] == trace.speed_m_s[-1] == 0.0


def test_a_single_speed_is_held_once(bar):
    changed(bar, "6 to 9 km/h", "5 mph")
    assert set(scenario_for(None, machine_file=bar).speed_trace.speed_m_s) == {0.0, 2.2352}


def test_a_recorded_trace_is_driven_as_it_is(bar, tmp_path):
    trace = tmp_path / "mine.csv"
    trace.write_text("time_s,speed_m_s\n0,2\n10,2.5\n")
    scenario = scenario_for(None, trace, 0, bar)
    assert scenario.speed_trace.time_s == (0.0, 10.0)
    assert [event.at_s for event in scenario.events] == [1.0, 2.0]
    assert scenario.seed == 0


def test_a_scenario_goes_before_the_machine_alone(bar):
    assert scenario_for(None).title == "Plot bar on a recorded drive"
    with pytest.raises(InputError, match=r"plot_bar.toml:\d+: event 7.section"):
        scenario_for(DEMO, machine_file=bar)


@pytest.mark.parametrize(("old", "new", "line"), [
    ('speed = "6 to 9 km/h"\n', "", "bar.toml: wanted.speed: is missing, and so is a scenario"),
    ('rate = ["80 L/ha", "10 gal/ac"]\n', "", "bar.toml: wanted.rate: is missing"),
    ("6 to 9 km/h", "6 to 90 mph", "bar.toml:3: wanted.speed: must be at most 44.7 mph, is"),
    ("6 to 9 km/h", "6 to 90", "bar.toml:3: wanted.speed: must be at most 72.0 km/h, is 6 to 90"),
    ('["80 L/ha"', '["6000 L/ha"', "bar.toml:2: wanted.rate: the controller would not take"),
])
def test_what_cannot_be_driven_is_told_with_its_place(bar, old, new, line):
    changed(bar, old, new)
    with pytest.raises(InputError) as told:
        plain_drive(load_machine(bar))
    assert line in str(told.value)
