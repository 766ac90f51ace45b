"""Published slips: our value is the right one, and it is not the printed one.

Two more, NMEA sentences with wrong checksums, are in tests/shared/test_nmea.py.
"""

from __future__ import annotations

import pytest

from host_sim.common import units
from host_sim.sizing import handbook
from tests.support import handbook as hb


def test_feet_per_second_to_mph() -> None:
    """Cornell ABEN calibration pages print (ft/s) x (60/80); it is 60/88.

    http://aben.cals.cornell.edu/extension/pestapp/publications/Calibration.boom.sprayer.combo1.html
    """
    slip = (100 / 10) * 60 / 80
    assert hb.speed_mph(100, 10) == pytest.approx(6.818, abs=5e-4)
    assert slip / hb.speed_mph(100, 10) == pytest.approx(1.1)


def test_boom_rate_without_feet_per_minute() -> None:
    """Florida exam guide p. 213, Method I: .15 x 12 x 43560/(48 x 5) = "327 gal per acre".

    It lacks the 88 ft/min of 1 mph, and 20 fl oz is 0.156 gal, not .15.
    https://online.flipbuilder.com/qawr/oiuo/files/basic-html/page213.html
    """
    slip = 0.15 * 12 * 43560 / (48 * 5)
    assert round(slip) == 327
    assert hb.rate_gal_ac(0.15, 5, 48) == pytest.approx(3.71, abs=5e-3)
    assert hb.catch_flow_gal_min(20, 60) == 0.15625


def test_density_row_of_12_lb_gal() -> None:
    """Oklahoma State prints 12 lb/gal with the gravity 1.68 and factor 1.3 of 14 lb/gal.

    https://extension.okstate.edu/fact-sheets/using-water-to-calibrate-sprayers-for-fertilizers-and-other-liquid-solutions.html
    """
    sg = hb.specific_gravity(12.0)
    assert (round(sg, 2), round(handbook.density_factor(sg), 2)) == (1.44, 1.20)
    slip = hb.specific_gravity(14.0)
    assert (round(slip, 2), round(handbook.density_factor(slip), 1)) == (1.68, 1.3)


def test_size_025_at_2_bar() -> None:
    """A nozzle table prints 0.98 L/min (that of size 03); its own 164 L/ha needs 0.82.

    164 L/ha at 6 km/h on 0.5 m.
    https://royalbrinkman.com/knowledge-center/mechanical-equipment/nozzle-coding
    """
    ours = handbook.orifice_flow(hb.size_nominal_l_min("025"), 3, 2)
    assert round(ours, 2) == 0.82
    assert round(hb.flow_l_min(164, 6, 0.5), 2) == 0.82
    assert round(handbook.orifice_flow(hb.size_nominal_l_min("03"), 3, 2), 2) == 0.98


def test_800_m_at_7_km_h() -> None:
    """Alberta Agdex 606-1 prints 6:48; it is 6:51.4."""
    seconds = 800 / units.parse("speed_mm_s", "7 km/h", False)
    assert hb.speed_km_h(800, seconds) == pytest.approx(7)
    assert (int(seconds // 60), round(seconds % 60, 1)) == (6, 51.4)
    assert abs(seconds - (6 * 60 + 48)) > 3


def test_gallons_per_pulse_are_not_pulses_per_gallon() -> None:
    """http://www.irrigationcraft.com/k.htm calls .0987 gallons per pulse "pulses per gallon"."""
    gallon_m3 = units.parse("volume_ml", "1 gal", True)
    pulses_per_m3 = units.parse("pulses_per_hl", "10.13 pulses/gal", True)
    gallons_per_pulse = 1 / (pulses_per_m3 * gallon_m3)
    assert gallons_per_pulse == pytest.approx(0.0987, abs=5e-5)
    assert pulses_per_m3 != pytest.approx(units.parse("pulses_per_hl", ".0987 pulses/gal", True))
