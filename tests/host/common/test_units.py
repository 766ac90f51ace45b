"""Host unit texts: exact definitions and the round trip display -> internal -> display."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.units_text import UNITS, to_text
from app.units_typed import from_text
from host_sim.common import units

shown_unit = st.sampled_from([(quantity, us) for quantity in UNITS for us in (False, True)])


@given(shown_unit, st.integers(-(10**9), 10**9))
def test_display_to_internal_to_display_is_exact(where: tuple[str, bool], steps: int) -> None:
    quantity, us = where
    decimals = UNITS[quantity][us][1]
    text = f"{Decimal(steps).scaleb(-decimals):f}"
    assert to_text(quantity, from_text(quantity, text, us), us) == text


@given(shown_unit, st.integers(-(10**9), 10**9))
def test_integer_text_is_the_exact_ratio_rounded(where: tuple[str, bool], value: int) -> None:
    quantity, us = where
    _, decimals, numerator, denominator = UNITS[quantity][us]
    exact = Fraction(value * denominator, numerator)
    error = abs(Fraction(to_text(quantity, value, us)) - exact)
    assert error <= Fraction(1, 2 * 10**decimals)


@given(shown_unit, st.integers(0, 10**9))
def test_host_and_device_print_the_same(where: tuple[str, bool], value: int) -> None:
    quantity, us = where
    si = float(value * units.SI_PER_INTERNAL[quantity])
    assert units.number(quantity, si, us) == to_text(quantity, value, us)
    assert units.from_shown(quantity, units.shown(quantity, si, us), us) == pytest.approx(si)


def test_every_quantity_has_an_si_value() -> None:
    assert set(units.SI_PER_INTERNAL) == set(UNITS)


@pytest.mark.parametrize(
    ("quantity", "text", "si"),
    [
        # NIST SP 811 appendix B values (from memory), each exact or rounded as written.
        ("rate_ml_ha", "1 gal/ac", 9.35396e-7),
        ("rate_ml_ha", "1 L/ha", 1e-7),
        ("speed_mm_s", "1 mph", 0.44704),
        ("speed_mm_s", "36 km/h", 10.0),
        ("width_mm", "1 in", 0.0254),
        ("width_mm", "1 ft", 0.3048),
        ("distance_m", "1 mi", 1609.344),
        ("area_m2", "1 ac", 4046.8564224),
        ("volume_ml", "1 gal", 3.785411784e-3),
        ("catch_ul", "1 fl oz", 2.95735295625e-5),
        ("flow_ul_s", "1 gal/min", 6.30902e-5),
        ("pressure_pa", "1 psi", 6894.757),
        ("density_g_l", "1 lb/gal", 119.8264),
        ("mass_g", "1 lb", 0.45359237),
        ("pulses_per_hl", "450 pulses/L", 450e3),
        ("pulses_per_km", "130 pulses/m", 130.0),
        ("duty_u16", "50 %", 0.5),
        ("time_ms", "0.05 s", 0.05),
        ("supply_mv", "13.8 V", 13.8),
        ("share_permille", "2.5 %", 0.025),
        ("share_ppm", "0.5 %", 0.005),
    ],
)
def test_definitions(quantity: str, text: str, si: float) -> None:
    assert units.parse(quantity, text, False) == pytest.approx(si, rel=1e-6)
    assert units.parse(quantity, text, True) == pytest.approx(si, rel=1e-6)
