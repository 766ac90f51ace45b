"""The pump curve: interpolation, both ways, and fewer sections."""

from rate_control.pump_curve import PumpCurve, interpolate
from rate_control.settings import build

FLOWS = [0, 20000, 40000, 60000, 80000, 90000, 95000, 98000, 100000]
DUTIES = [8000, 12000, 18000, 26000, 36000, 42000, 46000, 50000, 55000]


def curve(**changes):
    values = {"curve_flow_ul_s": FLOWS, "curve_duty_u16": DUTIES, "meter_floor_ul_s": 0}
    values.update(changes)
    made, problems = build(values)
    assert problems == []
    return PumpCurve(made)


def test_points_and_between():
    for flow, duty in zip(FLOWS[1:], DUTIES[1:]):
        assert interpolate(FLOWS, DUTIES, flow) == duty
    assert interpolate(FLOWS, DUTIES, 30000) == 15000


def test_beyond_the_ends():
    assert interpolate(FLOWS, DUTIES, 102000) == 60000
    assert curve().demand_u16(10000000, 3000, 0) == 65535


def test_there_and_back():
    made = curve()
    for flow in range(1000, 100000, 1777):
        duty = made.demand_u16(flow, 3000, 0)
        assert abs(made.flow_ul_s(duty, 3000) - flow) <= 6


def test_nothing_wanted_nothing_driven():
    assert curve().demand_u16(0, 3000, 12000) == 0
    assert curve().demand_u16(1000, 0, 12000) == 0


def test_supply_scales_the_duty():
    made = curve(curve_supply_mv=12000)
    assert made.demand_u16(40000, 3000, 12000) == 18000
    assert made.demand_u16(40000, 3000, 13500) == 16000
    assert made.demand_u16(40000, 3000, 0) == 18000


def test_fewer_sections_raise_the_pressure():
    # Half the width at half the flow: the pressure of the whole flow (x2)**2 of the half
    made = curve(curve_pressure_u16=20000)
    whole = made.demand_u16(50000, 3000, 0)
    narrow = made.demand_u16(50000, 1500, 0)
    assert whole == 22000
    # part = 1/2 of the top flow: pressure part 1/4 of 20000; at half the width 1
    assert abs(narrow - (22000 + 15000)) <= 20


def test_density_moves_the_pressure_part_and_nothing_else():
    # At the top flow 20000 of the duty is pressure: a quarter denser, 5000 more
    made = curve(curve_pressure_u16=20000, liquid_density_g_l=1250)
    assert made.demand_u16(100000, 3000, 0) == 60000
    assert made.demand_u16(50000, 3000, 0) == 22000 + 1250
    assert curve(liquid_density_g_l=1250).demand_u16(100000, 3000, 0) == 55000
    both = curve(curve_pressure_u16=20000, liquid_density_g_l=1250, curve_density_g_l=1250)
    assert both.demand_u16(100000, 3000, 0) == 55000


def test_there_and_back_with_any_liquid():
    for density in (790, 1283):
        made = curve(curve_pressure_u16=8000, liquid_density_g_l=density)
        for flow in range(5000, 95000, 7777):
            duty = made.demand_u16(flow, 3000, 0)
            assert abs(made.flow_ul_s(duty, 3000) - flow) <= 60, (density, flow)


def demand_after(made, wanted, commanded):
    made.follow(wanted, commanded)
    return made.demand_u16(commanded, 3000, 0)


def test_the_gap_is_taken_off_while_the_flow_falls():
    made = curve(curve_gap_u16=3200)
    assert demand_after(made, 60000, 60000) == 26000
    assert demand_after(made, 59800, 59800) == 25920  # less than a 64th: noise
    assert demand_after(made, 40000, 40000) == 18000 - 3200
    assert demand_after(made, 40000, 42000) == 18800 - 200  # only a correction comes back
    assert demand_after(made, 44000, 44000) == 19600


def test_from_rest_the_flow_rises_whatever_it_did_before():
    made = curve(curve_gap_u16=3200)
    assert demand_after(made, 60000, 60000) == 26000
    assert demand_after(made, 40000, 40000) < 18000
    made.follow(0, 0)
    assert demand_after(made, 40000, 40000) == 18000


def test_asking_does_not_change_the_branch():
    made = curve(curve_gap_u16=3200, curve_pressure_u16=8000)
    made.follow(60000, 60000)
    before = made.demand_u16(60100, 1500, 0)
    made.flow_ul_s(20000, 1500)
    made.demand_u16(20000, 3000, 0)
    assert made.demand_u16(60100, 1500, 0) == before
