"""The section laws of the pump curve against the hydraulics they come from.

The references are the textbook networks solved here in floating point: orifices Q = k sqrt(P),
conductances in series 1/k**2 = sum 1/k_i**2, in parallel k = sum k_i.
"""

from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from rate_control import units, width_share

WIDTH = 12_000
LIMIT_UL_S = 1_000_000


def law(actuator, **values):
    """Make a law for a boom of four equal sections."""
    made = SimpleNamespace(total_width_mm=lambda: WIDTH, curve_pressure_u16=0,
                           curve_flow_ul_s=[0] * 8 + [LIMIT_UL_S], curve_share_ul_s=LIMIT_UL_S,
                           actuator=actuator, liquid_density_g_l=1000, curve_density_g_l=1000)
    for name, value in values.items():
        setattr(made, name, value)
    return width_share.make(made)


@given(st.floats(0.02, 20), st.sampled_from([0.25, 0.5, 0.75]))
def test_inline_valve(valve_k, part):
    """Steady pressure, valve and open orifices in series; Kn = Qm at unit pressure."""
    wide = LIMIT_UL_S / (1 + 1 / valve_k**2) ** 0.5
    narrow = LIMIT_UL_S / (1 / part**2 + 1 / valve_k**2) ** 0.5
    made = law(units.INLINE_VALVE)
    assert made.narrow(int(wide), int(WIDTH * part)) == pytest.approx(narrow, rel=0.01)
    if narrow < 0.9 * part * LIMIT_UL_S:  # near fully open the law is flat
        assert made.whole(int(narrow), int(WIDTH * part)) == pytest.approx(wide, rel=0.02)


@given(st.floats(0.05, 20), st.sampled_from([0.05, 0.25, 0.5, 0.75]),
       st.sampled_from([LIMIT_UL_S, 2_500_000, 9_900_000]))
def test_bypass_valve_behind_a_displacement_pump(valve_k, part, pump_ul_s):
    """The pump's whole flow divides between boom and bypass as their conductances."""
    wide = pump_ul_s / (1 + valve_k)
    narrow = pump_ul_s * part / (part + valve_k)
    made = law(units.BYPASS_VALVE, curve_share_ul_s=pump_ul_s)
    assert made.narrow(int(wide), int(WIDTH * part)) == pytest.approx(narrow, rel=0.002)
    assert made.whole(int(narrow), int(WIDTH * part)) == pytest.approx(wide, rel=0.002)


@given(st.floats(0.1, 1), st.sampled_from([0.25, 0.5, 0.75]))
def test_pump_behind_orifices(flow_part, part):
    """demand = a + b Q + c P with P = (Q / r)**2: brentq finds the flow the law must agree on."""
    a, b, c = 9000, 30000, 20000
    demand = a + b * flow_part + c * flow_part**2
    narrow = brentq(lambda q: a + b * q + c * (q / part) ** 2 - demand, 0, 2)
    made = law(units.PWM_PUMP, curve_pressure_u16=c)
    found = a + b * narrow + c * narrow**2 + made.extra_u16(
        int(narrow * LIMIT_UL_S), int(WIDTH * part))
    assert found == pytest.approx(demand, abs=65535 * 0.001)


@given(st.floats(0.1, 1), st.sampled_from([0.5, 1]), st.integers(700, 1500))
def test_pump_behind_orifices_with_another_liquid(flow_part, part, density_g_l):
    """The curve was taken with water. P = SG (Q / r)**2: at one pressure Q goes as 1/sqrt(SG)."""
    a, b, c = 9000, 30000, 20000
    demand = a + b * flow_part + c * flow_part**2
    sg = density_g_l / 1000
    other = brentq(lambda q: a + b * q + c * sg * (q / part) ** 2 - demand, 0, 2)
    made = law(units.PWM_PUMP, curve_pressure_u16=c, liquid_density_g_l=density_g_l)
    found = a + b * other + c * other**2 + made.extra_u16(
        int(other * LIMIT_UL_S), int(WIDTH * part))
    assert found == pytest.approx(demand, abs=65535 * 0.001)


@given(st.sampled_from([0, 1, 2]), st.integers(0, 10_000_000), st.integers(50, WIDTH))
def test_whole_width_changes_nothing(actuator, flow, width):
    made = law(actuator)
    if actuator != units.BYPASS_VALVE:
        assert made.whole(min(flow, LIMIT_UL_S), WIDTH) == pytest.approx(
            min(flow, LIMIT_UL_S), abs=1)
    assert made.extra_u16(flow, WIDTH) == 0
    assert 0 <= made.narrow(flow, width) <= 10_000_000
    assert 0 <= made.whole(flow, width) <= 10_000_000
