"""Volume rate, plot and speed formulae against published worked examples.

Each case carries the published inputs and the answer as it is printed, and must
come out the same to the last printed digit.

Sources:
  CCE    7.6 Selecting Nozzles - Boom Sprayers, Cornell Cooperative Extension (Grapes 2024)
         https://cropandpestguides.cce.cornell.edu/Guidelines/2024/Grapes/index63.aspx
  MO     G1270A worksheet, Univ. of Missouri Extension
         https://extension.missouri.edu/publications/g1270a
  UF     Calibration of Herbicide Applicators WG013, UF/IFAS
         https://edis.ifas.ufl.edu/publication/wg013
  MESA   Stationary Calibration Method for Boom Sprayers, Mesa County CO
         https://www.mesacounty.us/pest/controlling-weeds/sprayer-calibration-methods/stationary-calibration-method-for-boom-sprayers/
  ALBANY 1/128 Method, Albany County (WY) Weed & Pest
         http://albanycountyweedandpest.com/calibrating-your-sprayer.html
  IE     Useful formulae for working out nozzle selection, forward speed, application rate
         http://www.independent.ie/business/farming/useful-formulae-for-working-out-nozzle-selection-forward-speed-application-rate-26717877.html
  UFA    Calibrate Field Sprayer, United Farmers of Alberta
         https://ufa.com/ca/crop/crop-protection/herbicides/calibrate
  AU     Chemical accreditation course page
         https://www.countryco.com.au/general-information/useful-tools
  AB     Alberta Agdex 606-1
  BAND   Band-spray calibration table, Univ. of Florida Digital Collections UF00067548
         https://ufdcimages.uflib.ufl.edu/UF/00/06/75/48/00001/00006.txt
  OSU    Bulletin 817-00, Ohio State Univ. Extension
         http://ohioline.osu.edu/b817/b817_07.html
  MT     Montana State Univ. Extension pesticide slides
         http://slideplayer.com/slide/4179936/
  FL     Florida exam study guide p. 213
         https://online.flipbuilder.com/qawr/oiuo/files/basic-html/page213.html
  MARION UF/IFAS Extension Marion County (2017)
         https://blogs.ifas.ufl.edu/marionco/2017/11/16/sprayer-calibration-getting-right/
  GRDC   Spray application manual 8.3 (AU, 2025)
         https://grdc.com.au/resources-and-publications/grownotes/technical-manuals/spray-application-manual/preparing-for-spraying/module-8-calibration-of-the-spray-system/8.3-section-widths-and-nozzle-spacing
  SLIDES Applicator-training slides
         http://www.docstoc.com/docs/79051427/
  USU    Horticulture/Vegetables/2014-03, Utah State Univ. Extension
         https://m.moam.info/simple-no-math-calibration-of-a-vegetable-boom-sprayer_5b7eae7e097c47b5308b470d.html
  LARIMER http://www.larimer.org/weeds/calibration.htm ; LSU AgCenter (340 ft2)
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.sizing import handbook
from tests.support import handbook as hb

WORKED: list[tuple[str, Callable[..., float], tuple[float, ...], str]] = [
    ("CCE W1", hb.flow_gal_min, (20, 4, 20), "0.27"),
    ("CCE W2 rate", hb.rate_gal_ac, (handbook.orifice_flow(0.30, 40, 30), 4, 20), "19.3"),
    ("IE W6", hb.rate_l_ha, (1.3, 7.8, 0.5), "200"),
    ("AU W7", hb.rate_l_ha, (24, 12, 12), "100"),
    ("AB W9: ac, L/ac", hb.spray_volume, (30, 40), "1200"),
    ("BAND W10", hb.plot_rate_gal_ac, (26 / 128, 300, 1), "29.5"),
    ("BAND W11", hb.plot_rate_gal_ac, (16 / 128, 300, 15 / 12), "14.5"),
    ("OSU W13", hb.plot_rate_gal_ac, (80 / 128, hb.ounce_course_ft(20), 20 / 12), "80"),
    ("FL W16", hb.plot_rate_gal_ac, (12, 660, 10), "79.2"),
    ("MARION W17", hb.catch_flow_gal_min, (16, 60), "0.125"),
    ("GRDC W20", hb.rate_error_pct, (0.508, 0.5), "-1.6"),
    ("SLIDES 200 ft in 27 s", hb.speed_mph, (200, 27), "5"),
    ("SLIDES 200 ft in 27 s", hb.speed_mph, (200, 27), "5.05"),
]


def printed(value: float, digits: str) -> bool:
    """Whether `value`, rounded to as many decimals as `digits` has, reads the same."""
    return f"{value:.{len(digits.partition('.')[2])}f}" == digits


@pytest.mark.parametrize(("source", "formula", "inputs", "answer"), WORKED)
def test_worked_example(
    source: str, formula: Callable[..., float], inputs: tuple[float, ...], answer: str
) -> None:
    assert printed(formula(*inputs), answer), (source, formula(*inputs))


def test_published_constants_are_the_same_formula() -> None:
    assert hb.FT2_PER_ACRE * 12 / hb.FT_MIN_PER_MPH == hb.BOOM_CONSTANT_US == 5940  # CCE MO UF
    assert hb.BOOM_CONSTANT_US / 12 == 495  # MESA, width in feet
    assert printed(hb.BOOM_CONSTANT_US / hb.FL_OZ_PER_GAL, "46.4")  # ALBANY, fl oz per minute
    assert printed(hb.speed_mph(200, 1), "136.4")  # SLIDES
    assert hb.speed_mph(88, 60) == 1  # "88 feet per minute is equal to 1 mph" (nurserymag.com)
    assert hb.plot_rate_gal_ac(1, 660, 1) == 66  # FL: gal used in 660 ft x 66 / swath (ft)
    assert hb.speed_km_h(1, 1) == 3.6  # IE


def test_rounded_conversions_in_print() -> None:
    """IE, UFA: imp gal/ac x 11.2, L/ha x 0.4, x 0.09, x 0.11. 1 imp gal = 4.54609 L."""
    acre_ha = 0.40468564224
    assert printed(4.54609 / acre_ha, "11.2")
    assert printed(acre_ha, "0.4")
    assert printed(acre_ha / 4.54609, "0.09")
    assert printed(acre_ha / 3.785411784, "0.11")


def test_rate_from_a_50_m_catch() -> None:
    """UFA: L/ha = [mL per nozzle over 50 m] / spacing (m) x 0.2."""
    assert hb.plot_rate_l_ha(250, 50, 0.5) == pytest.approx(250 / 0.5 * 0.2)


def test_small_plot_with_the_published_rounding_of_acres() -> None:
    """MT W14: 15 ft x 15 ft, 0.1 gal is printed as 19.38 because its acres stop at 0.00516."""
    printed_acres = 0.00516
    assert abs(15 * 15 / hb.FT2_PER_ACRE - printed_acres) < 1e-5
    assert printed(0.1 / printed_acres, "19.38")
    assert printed(hb.plot_rate_gal_ac(0.1, 15, 15), "19.36")


OUNCE_COURSE_FT = [
    *((18, 227), (20, 204), (22, 185), (24, 170), (26, 157), (28, 146), (30, 136)),  # OSU
    *((32, 127), (34, 120), (36, 113), (38, 107), (40, 102)),  # OSU
    *((10, 408), (12, 340), (14, 291), (16, 255)),  # LSU
    (8, 510),  # http://theturftrade.com/General/11-05-13/Sprayer_Calibration.aspx
]


@pytest.mark.parametrize(("width_in", "course_ft"), OUNCE_COURSE_FT)
def test_ounce_course_table(width_in: float, course_ft: float) -> None:
    """The published tables mix rounding and truncation: within 1 ft."""
    assert abs(hb.ounce_course_ft(width_in) - course_ft) < 1


def test_ounce_plot() -> None:
    assert hb.OUNCE_PLOT_FT2 == 340.3125
    assert printed(hb.OUNCE_PLOT_FT2, "340")  # LSU "One ounce/340 ft2 = 1 GPA"
    assert pytest.approx(18.5, abs=0.06) == hb.OUNCE_PLOT_FT2**0.5  # LARIMER 18.5 x 18.5 ft
    for boom_ft, length in ((9, "37.8"), (12, "28.4"), (15, "22.7")):  # USU
        assert printed(hb.ounce_course_ft(12 * boom_ft), length)


def test_course_times() -> None:
    """Seconds over 100/200/300 ft, computed from 88 ft/min per mph (no table was readable)."""
    times = {
        1: ("68.2", "136.4", "204.5"),
        2: ("34.1", "68.2", "102.3"),
        3: ("22.7", "45.5", "68.2"),
        4: ("17.0", "34.1", "51.1"),
        5: ("13.6", "27.3", "40.9"),
        6: ("11.4", "22.7", "34.1"),
        7: ("9.7", "19.5", "29.2"),
        8: ("8.5", "17.0", "25.6"),
    }
    for mph, row in times.items():
        for feet, seconds in zip((100, 200, 300), row, strict=True):
            assert printed(hb.course_time_s(feet, mph), seconds), (mph, feet)


positive = st.floats(0.01, 1000)


@given(rate=positive, speed=positive, width=positive)
def test_both_systems_describe_the_same_machine(rate: float, speed: float, width: float) -> None:
    gal_min = hb.flow_gal_min(rate, speed, width)
    l_min = hb.flow_l_min(rate * 3.785411784 / 0.40468564224, speed * 1.609344, width * 0.0254)
    assert gal_min * 3.785411784 == pytest.approx(l_min, rel=1e-12)
    assert hb.rate_gal_ac(gal_min, speed, width) == pytest.approx(rate, rel=1e-12)
    assert hb.rate_l_ha(hb.flow_l_min(rate, speed, width), speed, width) == pytest.approx(rate)
