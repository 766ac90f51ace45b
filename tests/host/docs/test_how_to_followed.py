"""The how-tos, followed step by step on a machine that is wrong in three ways.

Wrong K-factor, wrong pulses per metre, two worn outlets. The person of this test knows only
the pages, the display, a tape and jugs; what is true is used to judge the end result.
"""

import re

import pytest

from host_sim import REPO_ROOT
from host_sim.plant.catalogue import machine_spec
from rate_control.interlock import APPLYING
from tests.support import how_tos
from tests.support.how_tos import CUSTOMARY, METRIC
from tests.support.person import Person

ROWS = 8  # outlets, each a section of its own, half a metre apart
SPACING_M = 0.5
RATE_L_HA = 100.0
L_HA_PER_GAL_AC = 3.785411784 / 0.40468564224
DROOP_UL_S = 5_000  # the plant's meter stalls at 2 % of its 15 L/min
WORN = {3: 1.18, 6: 1.25}  # by number from the left
BOLD = re.compile(r"\*\*([a-z][a-z -]*?)\*\*")
PAGES = (how_tos.calibrate_the_speed_sensor, how_tos.calibrate_the_flow_meter,
         how_tos.catch_the_outlets, how_tos.learn_the_pump, how_tos.catch_on_a_plot,
         how_tos.check_against_the_tank)


def wrong_machine(us):
    """A person at a machine whose settings are those of another one."""
    spec = machine_spec(
        "electric_m",
        sections={"orifice_count": [1] * ROWS, "hose_m": [1.0]},
        meter={"pulses_per_m3": 412e3},  # the controller believes 450e3
        ground={"pulses_per_m": 141.0, "noise_m_s": 0.02},  # and 130
    )
    person = Person(spec, [WORN.get(row, 1.0) for row in range(1, ROWS + 1)])
    assert person.app.change_settings({
        "section_count": ROWS, "section_width_mm": [round(SPACING_M * 1000)] * ROWS,
        "meter_floor_ul_s": 20_000, "us_units": int(us),
    }) == []
    return person


def work(person, speed_m_s, distance_m):
    """Work at a steady speed; returns litres let out over hectares driven, by the truth."""
    machine = person.machine
    person.home()
    person.arm()
    person.lower(True)
    person.drive(40.0, speed_m_s)  # the loop settles
    assert person.app.controller.decided.state == APPLYING
    volume_ml, start_m = sum(machine.section_volume_ml), machine.distance_m
    person.drive(distance_m, speed_m_s)
    litres = (sum(machine.section_volume_ml) - volume_ml) / 1000
    hectares = (machine.distance_m - start_m) * SPACING_M * ROWS / 10_000
    person.lower(False)
    person.stop()
    return litres / hectares


def steps_of(page):
    """The words that a page tells a person to choose: bold ones of its steps."""
    text = (REPO_ROOT / "docs" / "how_to" / f"{page.__name__}.md").read_text()
    steps = text.split("## Do it\n")[1].split("\n## ")[0]
    return set(BOLD.findall(" ".join(steps.split())))


@pytest.mark.parametrize("units", [METRIC, CUSTOMARY], ids=["metric", "us"])
def test_a_machine_that_is_wrong_in_three_ways_is_put_right(units, record_property):
    person = wrong_machine(units.us)
    wrong = work(person, units.speed_m_s, 60.0)
    assert abs(wrong / RATE_L_HA - 1) > 0.1

    wrong_curve = person.app.controller.settings.curve_duty_u16

    kept = how_tos.calibrate_the_speed_sensor(person, units)
    assert kept["speed_pulses_km"] == pytest.approx(141_000, rel=0.005)
    kept, flow = how_tos.calibrate_the_flow_meter(person, units)
    assert kept["meter_pulses_hl"] == pytest.approx(41_200, rel=0.005)
    kept = how_tos.catch_at_low_flow(person, units, flow)
    assert kept["meter_pulses_hl"] == pytest.approx(41_200, rel=0.005)
    assert kept["meter_droop_ul_s"] == pytest.approx(DROOP_UL_S, rel=0.15)
    said = how_tos.catch_the_outlets(person, units)
    assert {number for number, word in said.items() if word == "worn"} == set(WORN)
    assert set(said) == set(range(1, ROWS + 1))
    assert "blocked" not in said.values()
    person.machine.faults.orifice_factor[:] = [1.0] * ROWS  # step 6: replaced, and caught again
    assert set(how_tos.catch_the_outlets(person, units).values()) == {"good"}
    kept = how_tos.learn_the_pump(person)
    assert kept["curve_duty_u16"] != wrong_curve
    shown = how_tos.catch_on_a_plot(person, units, SPACING_M)
    assert shown * (L_HA_PER_GAL_AC if units.us else 1) == pytest.approx(RATE_L_HA, rel=0.02)

    right = work(person, units.speed_m_s, 60.0)
    assert right == pytest.approx(RATE_L_HA, rel=0.01)
    kept = how_tos.check_against_the_tank(
        person, units, lambda: work(person, units.speed_m_s, 1200.0 if units.us else 300.0))
    assert kept["meter_pulses_hl"] == pytest.approx(41_200, rel=0.01)
    for page in PAGES:
        assert [label for label in steps_of(page) if not person.has_seen(label)] == [], page
    record_property("summary", f"how-tos followed, {'US' if units.us else 'SI'} units: "
                               f"{wrong:.1f} L/ha before, {right:.1f} after, "
                               f"{RATE_L_HA:.0f} asked; worn outlets named: {sorted(WORN)}")
