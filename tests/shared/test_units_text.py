"""Unit texts: exact definitions, round trips, refusals."""

from app import units_text
from app.units_text import UNITS, to_text, unit, with_unit
from app.units_typed import TYPED, from_text

# (quantity, internal value, metric text, US customary text)
SHOWN = (
    ("rate_ml_ha", 187079, "187.1 L/ha", "20.00 gal/ac"),
    ("speed_mm_s", 2778, "10.0 km/h", "6.2 mph"),
    ("width_mm", 508, "0.508 m", "20.0 in"),
    ("distance_mm", 60960, "61.0 m", "200.0 ft"),
    ("distance_m", 1609, "1.61 km", "1.00 mi"),
    ("area_m2", 4047, "0.40 ha", "1.00 ac"),
    ("volume_ml", 3785412, "3785.4 L", "1000.0 gal"),
    ("catch_ul", 473176, "473 mL", "16.0 fl oz"),
    ("flow_ul_s", 16994, "1.02 L/min", "0.27 gal/min"),
    ("outlet_flow_ul_s", 16994, "1.020 L/min", "0.269 gal/min"),
    ("pressure_pa", 275790, "2.76 bar", "40.0 psi"),
    ("density_g_l", 1276, "1.276 kg/L", "10.65 lb/gal"),
    ("mass_g", 454, "0.454 kg", "1.00 lb"),
    ("pulses_per_hl", 45000, "450.00 pulses/L", "1703.4 pulses/gal"),
    ("pulses_per_km", 130000, "130.000 pulses/m", "39.624 pulses/ft"),
    ("duty_u16", 65535, "100.0 %", "100.0 %"),
    ("time_ms", 50, "0.05 s", "0.05 s"),
    ("supply_mv", 13800, "13.8 V", "13.8 V"),
    ("share_permille", -40, "-4.0 %", "-4.0 %"),
    ("share_ppm", 1234, "0.12 %", "0.12 %"),
)

STEPS = (0, 1, 2, 3, 7, 10, 99, 100, 101, 999, 1234, 5005, 98765, 999999)


def _text_of_steps(steps, decimals):
    scale = 10**decimals
    if not decimals:
        return str(steps)
    fraction = str(scale + steps % scale)[1:]
    return str(steps // scale) + "." + fraction


def _refusal(quantity, text):
    try:
        from_text(quantity, text, False)
    except ValueError as error:
        return str(error)
    return ""


def test_every_quantity_is_shown_in_both_systems():
    assert sorted(row[0] for row in SHOWN) == sorted(UNITS)
    for quantity, value, metric, customary in SHOWN:
        assert with_unit(quantity, value, False) == metric, (quantity, metric)
        assert with_unit(quantity, value, True) == customary, (quantity, customary)


def test_displayed_text_survives_the_round_trip():
    for quantity in UNITS:
        for us in (False, True):
            decimals = UNITS[quantity][us][1]
            for steps in STEPS:
                for sign in ("", "-"):
                    text = sign + _text_of_steps(steps, decimals)
                    if steps == 0 and sign:
                        continue
                    assert to_text(quantity, from_text(quantity, text, us), us) == text


def test_no_displayed_step_is_finer_than_the_internal_unit():
    for quantity in UNITS:
        rows = UNITS[quantity] + TYPED.get(quantity, ())
        for label, decimals, numerator, denominator in rows:
            assert numerator >= denominator * 10**decimals, (quantity, label)


def test_typed_unit_beats_the_unit_system():
    assert from_text("rate_ml_ha", "10 gal/ac", False) == 93540
    assert from_text("rate_ml_ha", "10 GPA", False) == 93540
    assert from_text("rate_ml_ha", "100L/ha", True) == 100000
    assert from_text("speed_mm_s", "4 mph", False) == 1788
    assert from_text("width_mm", "5 ft", False) == 1524
    assert from_text("catch_ul", "1 oz", False) == 29574
    assert from_text("pressure_pa", "300 kPa", True) == 300000


def test_number_alone_is_read_in_the_chosen_system():
    assert from_text("width_mm", "20", True) == 508
    assert from_text("width_mm", " .508 ", False) == 508
    assert from_text("width_mm", "+1.", False) == 1000


def test_rounding_is_to_nearest_halves_away_from_zero():
    assert from_text("width_mm", "0.0005", False) == 1
    assert from_text("width_mm", "-0.0005", False) == -1
    assert from_text("width_mm", "0.00049", False) == 0
    assert to_text("pressure_pa", 500, False) == "0.01"
    assert to_text("pressure_pa", -500, False) == "-0.01"
    assert to_text("pressure_pa", -499, False) == "0.00"


def test_refusals_say_why():
    assert _refusal("rate_ml_ha", "") == "'' is not a number"
    assert _refusal("rate_ml_ha", "L/ha") == "'L/ha' is not a number"
    assert _refusal("rate_ml_ha", "1.2.3") == "'1.2.3' is not a number"
    assert _refusal("rate_ml_ha", "--5") == "'--5' is not a number"
    assert _refusal("rate_ml_ha", "1,5") == "'1,5': write the decimal sign as a point"
    assert _refusal("rate_ml_ha", "5 km/h") == "unit 'km/h' is none of L/ha, gal/ac"
    assert _refusal("rate_ml_ha", "1" * 33) == "longer than 32 characters"


def test_unit_label():
    assert unit("rate_ml_ha", False) == "L/ha"
    assert unit("rate_ml_ha", True) == "gal/ac"


def test_exact_definitions_from_inch_pound_and_gravity():
    # Inch 25.4 mm, foot 12 in, mile 5280 ft, acre 43560 ft2, gallon 231 in3,
    # pound 0.45359237 kg, standard gravity 9.80665 m/s2.
    inch_um = units_text.INCH_UM
    assert 5280 * 12 * inch_um == units_text.MILE_MM * 1000
    assert 43560 * (12 * inch_um) ** 2 == units_text.ACRE_MCM2 * 10**5
    assert 231 * inch_um**3 == units_text.GALLON_NL * 10**6
    newtons_e13 = 45359237 * 980665
    square_inch_e8 = 254**2
    numerator, denominator = units_text.PSI_PA
    assert numerator * square_inch_e8 * 10**5 == denominator * newtons_e13
