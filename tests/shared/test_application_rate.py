"""The trade formula against published worked examples, in internal units."""

from rate_control.application_rate import applied_rate_ml_ha, target_flow_ul_s
from rate_control.units import FLOW_MAX_UL_S


def test_orchard_example_in_metric_units():
    # Boom 24 L/min, 200 m/min, 12 m: 100 L/ha. Chemical-accreditation course page (AU),
    # https://www.countryco.com.au/general-information/useful-tools
    # 200 m/min = 3333.3 mm/s; 24 L/min = 400,000 uL/s
    assert abs(target_flow_ul_s(100000, 3333, 12000) - 400000) <= 40
    assert abs(applied_rate_ml_ha(400000, 3333, 12000) - 100000) <= 10


def test_nozzle_example_in_metric_units():
    # 1.3 L/min, 7.8 km/h, 0.5 m: 200 L/ha. Useful formulae, Irish Independent,
    # http://www.independent.ie/business/farming/useful-formulae-for-working-out-nozzle-selection-forward-speed-application-rate-26717877.html
    assert abs(applied_rate_ml_ha(21667, 2167, 500) - 200000) <= 50


def test_nozzle_example_in_us_units():
    # 20 GPA, 4 mph, 20 in: 0.27 GPM printed, 0.26936 exact. Selecting Nozzles - Boom Sprayers,
    # Cornell Cooperative Extension, Grapes 2024,
    # https://cropandpestguides.cce.cornell.edu/Guidelines/2024/Grapes/index63.aspx
    # 20 GPA = 187,079 mL/ha; 4 mph = 1788 mm/s; 20 in = 508 mm; 0.26936 GPM = 16,994 uL/s
    assert abs(target_flow_ul_s(187079, 1788, 508) - 16994) <= 4


def test_no_ground_no_rate():
    assert applied_rate_ml_ha(1000, 0, 1000) == 0
    assert applied_rate_ml_ha(1000, 1000, 0) == 0


def test_extremes_stay_within_limits():
    assert target_flow_ul_s(5000000, 20000, 50000) == FLOW_MAX_UL_S
    assert target_flow_ul_s(1000, 50, 50) == 0
