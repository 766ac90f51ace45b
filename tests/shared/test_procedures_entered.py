"""Outlet catch, plot catch, tank check: published examples and refusals."""

from app.units_text import to_text
from app.units_typed import from_text
from rate_control import density
from rate_control.procedures import catalogue
from rate_control.procedures.outlet_catch import BLOCKED, GOOD, WORN
from rate_control.procedures.plot_catch import course_mm
from rate_control.procedures.procedure import (
    COMPLETE,
    DONE,
    ENTER,
    FAILED,
    MARK,
    NOT_NOW,
    NOT_YET,
    TAKE_BACK,
)
from rate_control.records import Decided, Measured
from rate_control.settings import build
from rate_control.totals import Totals

ML = 1000  # uL


def begin(name, settings=None, totals=None, **params):
    made, problems = build(settings or {})
    assert problems == []
    procedure, problem = catalogue.make(name, params, made, totals)
    assert problem == "", problem
    return procedure


def fact(procedure, name):
    found = [value for key, value, _ in procedure.facts() if key == name]
    assert len(found) == 1, (name, found)
    return found[0]


def outlets(amounts, **params):
    procedure = begin("outlet_catch", outlets=len(amounts), **params)
    for amount in amounts:
        assert procedure.act(ENTER, amount * ML) == ""
    return procedure


def words(procedure):
    return [word for word, _, _ in procedure.verdicts()]


def plot(catches, settings=None, **params):
    procedure = begin("plot_catch", settings, **params)
    for amount in catches:
        assert procedure.act(ENTER, amount) == ""
    return procedure


def test_worn_and_blocked_by_the_mean():
    # mean of 600, 600, 600, 660, 540 is 600: +10 % and -10 %
    procedure = outlets([600, 600, 600, 660, 540])
    assert words(procedure) == [GOOD, GOOD, GOOD, WORN, BLOCKED]
    assert fact(procedure, "#4 worn") == 100000
    # s = sqrt((60**2 + 60**2) / 4) = 42.43; CV 7.07 %
    assert fact(procedure, "CV") == 70700
    assert procedure.act(COMPLETE) == ""
    assert procedure.state == DONE
    assert procedure.proposal() == {}


def test_limits_are_inclusive():
    assert words(outlets([1050, 950, 1000])) == [GOOD, GOOD, GOOD]
    assert words(outlets([1052, 948, 1000])) == [WORN, BLOCKED, GOOD]


def test_all_worn_alike_shows_only_against_nominal():
    # 10 mL/s for 60 s: 600 mL; 672 is 12 % above
    assert words(outlets([672, 672, 672])) == [GOOD, GOOD, GOOD]
    procedure = outlets([672, 672, 659], rated_ul_s=10000, time_ms=60000)
    assert words(procedure) == [WORN, WORN, GOOD]
    assert fact(procedure, "#1 vs new") == 120000


def test_odd_outlets_do_not_make_the_others_look_bad():
    procedure = outlets([600, 0, 604])
    assert words(procedure) == [GOOD, BLOCKED, GOOD]
    assert fact(procedure, "mean") == 401333
    assert fact(procedure, "left out") == 1
    assert fact(procedure, "#2 blocked") == -1000000
    assert words(outlets([0, 0, 600])) == [BLOCKED, BLOCKED, GOOD]
    # Two of seven a quarter too wide: the mean of all is 7 % up
    procedure = outlets([600, 750, 600, 600, 750, 600, 600])
    assert words(procedure) == [GOOD, WORN, GOOD, GOOD, WORN, GOOD, GOOD]
    assert fact(procedure, "#2 worn") == 250000
    # Three of seven a tenth too wide stay in: the mean is 4.3 % up
    assert words(outlets([660, 600, 660, 600, 660, 600, 600])) == [
        WORN, GOOD, WORN, GOOD, WORN, GOOD, GOOD]


def test_outlet_catch_needs_them_all_and_enough_of_each():
    procedure = begin("outlet_catch", outlets=2)
    assert procedure.act(COMPLETE) == NOT_NOW
    assert procedure.entry() == ("outlet 1", "catch_ul", 0, 100000000)
    assert procedure.act(ENTER, 100 * ML) == ""
    assert procedure.needs_more() == ("outlets to enter:", 1, "")
    assert procedure.act(ENTER, 100 * ML) == ""
    assert procedure.entry() is None
    # 5 mL of 100 mL is 5 %; 1 % takes 500 mL, five times the minute
    assert procedure.needs_more() == ("too little; catch for", 300001, "time_ms")
    assert procedure.act(COMPLETE) == NOT_YET
    assert procedure.act(TAKE_BACK) == ""
    assert procedure.accepts() == (ENTER, TAKE_BACK)


def test_nothing_caught_at_all():
    procedure = outlets([0, 0])
    assert procedure.needs_more()[0].startswith("nothing caught")
    assert procedure.facts() == [("outlets", 2, "")]


def test_courses_of_the_128th_acre_method():
    # Ohio State University Extension, Bulletin 817, and LSU AgCenter (10 to 16 in); the tables
    # mix rounding and cutting off. http://ohioline.osu.edu/b817/b817_07.html
    table = ((10, 408), (12, 340), (14, 291), (16, 255), (18, 227), (20, 204), (22, 185),
             (24, 170), (26, 157), (28, 146), (30, 136), (32, 127), (34, 120), (36, 113),
             (38, 107), (40, 102))
    for inches, feet in table:
        course = course_mm(from_text("width_mm", "%d in" % inches, True), 1)
        assert abs(course - feet * 12 * 254 // 10) <= 12 * 254 // 10 + 1, inches
    assert course_mm(500, 0) == 20000


def test_ounces_are_gallons_an_acre():
    # "average catch 80 oz": 80 GPA. Ohio State University Extension, Bulletin 817
    eighty = from_text("catch_ul", "80 oz", True)
    procedure = plot([eighty, eighty], width_mm=508, customary=1)
    assert to_text("rate_ml_ha", fact(procedure, "rate"), True) == "80.00"
    assert procedure.act(COMPLETE) == ""


def test_published_catches_over_other_courses():
    # Univ. of Florida Digital Collections UF00067548, band spray calibration: 26 oz over 300 ft
    # in a 12-in band 29.5 GPA; 16 oz, 15 in: 14.5 GPA
    # https://ufdcimages.uflib.ufl.edu/UF/00/06/75/48/00001/00006.txt
    for ounces, inches, published in (("26 oz", "12 in", "29.5"), ("16 oz", "15 in", "14.5")):
        procedure = plot([from_text("catch_ul", ounces, True)],
                         width_mm=from_text("width_mm", inches, True),
                         distance_mm=from_text("distance_mm", "300 ft", True))
        rate = to_text("rate_ml_ha", fact(procedure, "rate"), True)
        assert abs(int(rate.replace(".", "")) - 10 * int(published.replace(".", ""))) <= 5
    # United Farmers of Alberta: mL over 50 m / spacing in m x 0.2; 400 mL at 0.5 m: 160 L/ha,
    # https://ufa.com/ca/crop/crop-protection/herbicides/calibrate
    procedure = plot([400 * ML], width_mm=500, distance_mm=50000)
    assert fact(procedure, "rate") == 160000


def test_published_whole_swaths():
    # Montana State Univ. Extension slides: 0.1 gal on 15 x 15 ft, 19.38 GPA with the acres cut
    # to 0.00516, 19.36 exactly. Florida exam study guide p. 213, Method II: 12 gal in 660 ft on
    # a 10-ft swath, 79.2 GPA, https://online.flipbuilder.com/qawr/oiuo/files/basic-html/page213.html
    for ounces, width, course, published in (("12.8 oz", "15 ft", "15 ft", "19.36"),
                                             ("1536 oz", "10 ft", "660 ft", "79.20")):
        procedure = plot([from_text("catch_ul", ounces, True)],
                         width_mm=from_text("width_mm", width, True),
                         distance_mm=from_text("distance_mm", course, True))
        assert to_text("rate_ml_ha", fact(procedure, "rate"), True) == published
    # Utah State Univ. Extension Horticulture/Vegetables/2014-03: plots for the whole boom,
    # 9, 12 and 15 ft wide: 37.8, 28.4 and 22.7 ft
    for feet, tenths in ((9, 378), (12, 284), (15, 227)):
        course = course_mm(from_text("width_mm", "%d ft" % feet, True), 1)
        assert to_text("distance_mm", course, True).replace(".", "") == str(tenths)


def test_speed_of_a_timed_course():
    # 200 ft in 27 s is 136.4 / 27 = 5 mph (5.05): applicator-training slides,
    # http://www.docstoc.com/docs/79051427/
    procedure = begin("plot_catch", width_mm=508, distance_mm=from_text("distance_mm", "200", True))
    assert procedure.act(MARK) == ""
    for _ in range(540):
        procedure.step(Measured(), Decided())
    assert procedure.act(MARK) == ""
    assert to_text("speed_mm_s", fact(procedure, "speed"), True) == "5.0"
    assert fact(procedure, "speed") == 60960 * 20 // 540


def test_millilitres_are_litres_a_hectare_on_the_metric_plot():
    procedure = plot([150 * ML], width_mm=500)
    assert fact(procedure, "course") == 20000
    assert fact(procedure, "rate") == 150000
    # 5 mL of 150 mL is 3.3 %: for 2 %, twice the time
    assert procedure.needs_more() == ("too little; catch this many times as long:", 2, "")
    assert plot([300 * ML], width_mm=500, times=2).needs_more() is None


def test_the_course_is_timed():
    procedure = begin("plot_catch", width_mm=500, times=3)
    assert procedure.act(MARK) == ""
    for _ in range(180):  # 9 s
        procedure.step(Measured(), Decided())
    assert procedure.act(MARK) == ""
    assert fact(procedure, "course time") == 9000
    assert fact(procedure, "catch for") == 27000
    assert to_text("speed_mm_s", fact(procedure, "speed"), False) == "8.0"
    assert procedure.act(MARK) == ""
    assert procedure.act(MARK) == "no time passed between the marks"
    assert procedure.act(TAKE_BACK) == ""
    assert procedure.course_ms() == 0
    assert 0 < len(procedure.prompt()) <= 40


def test_water_for_a_denser_liquid():
    # 20 GPA of 28-0-0 (10.65 lb/gal) is calibrated with 22.6 GPA of water: UNL CropWatch 2016,
    # https://cropwatch.unl.edu/2016/setting-sprayer-flow-rate-non-water-solutions
    target = from_text("rate_ml_ha", "20 gal/ac", True)
    for sg, water in ((1276, "22.59"), (1283, "22.65")):
        rate = density.water_rate_ml_ha(target, sg)
        assert to_text("rate_ml_ha", rate, True) == water
    # A boom set with 20 GPA of water gives about 17.5 GPA of N solution (SG 1.30): University
    # of Georgia county agent, http://www.themillennews.com/news/2005-03-02/Farm/031.html
    rate = density.liquid_rate_ml_ha(target, 1300)
    assert to_text("rate_ml_ha", rate, True) == "17.54"


def test_density_factors_of_the_published_table():
    # Same source, lb/gal against factor to two digits; water 8.34 lb/gal
    table = ((660, 89), (700, 92), (800, 98), (834, 100), (900, 104), (1000, 110), (1065, 113),
             (1100, 115), (1106, 115), (1140, 117), (1150, 117), (1160, 118), (1200, 120),
             (1400, 130), (1600, 139))
    for hundredths_lb_gal, hundredths in table:
        found = density.factor(hundredths_lb_gal * 1000 // 834)
        assert abs(found * 100 - hundredths * density.FACTOR_ONE) <= 6 * density.FACTOR_ONE // 10


def test_plot_says_what_density_changes_and_what_not():
    catches = [from_text("catch_ul", "20 oz", True)]
    water = plot(catches, width_mm=508, customary=1)
    assert not [row for row in water.facts() if row[0].startswith("water")]
    dense = plot(catches, {"liquid_density_g_l": 1276}, width_mm=508, customary=1)
    at_pressure = fact(dense, "if water: liquid at this pressure")
    assert to_text("rate_ml_ha", fact(dense, "rate"), True) == "20.00"
    assert to_text("rate_ml_ha", at_pressure, True) == "17.71"
    assert fact(dense, "if the meter decides") == "no correction"


def totals(litres, bench_litres=0):
    made = Totals()
    made.volume.whole = litres
    made.bench_volume.whole = bench_litres
    return made


def test_tank_check_corrects_the_k_factor():
    # 1210 L by meter, 1188 L by tank: 45000 x 1210/1188 = 45833
    procedure = begin("tank_check", totals=totals(1200, 10))
    assert procedure.act(ENTER, 1188000) == ""
    assert procedure.needs_more() is None
    assert procedure.act(COMPLETE) == ""
    assert procedure.proposal() == {"meter_pulses_hl": 45833}
    assert fact(procedure, "meter vs tank") == 18519


def test_tank_check_of_a_small_job_says_how_much_more():
    procedure = begin("tank_check", totals=totals(100))
    assert procedure.act(ENTER, 100000) == ""
    words, needed_ml, quantity = procedure.needs_more()
    assert (words, quantity) == ("job too small; use at least", "volume_ml")
    assert abs(needed_ml - 500000) < 500  # 5 L of 500 L, and one pulse of 45000
    assert procedure.act(COMPLETE) == NOT_YET
    assert procedure.act(TAKE_BACK) == ""
    assert procedure.entry() == ("volume", "volume_ml", 1, 1000000000)


def test_tank_check_refuses_what_is_no_matter_of_the_k_factor():
    procedure = begin("tank_check", totals=totals(1000))
    for wrong in (499000, 2001000, 100):
        assert procedure.act(ENTER, wrong) == "far from the metered volume: check it"
    assert begin("tank_check", totals=totals(0)).state == FAILED
    assert begin("tank_check", meter_ml=5000000).state != FAILED


def test_bad_parameters_are_refused_as_a_whole():
    made, _ = build({})
    assert catalogue.make("dance", {}, made) == (None, "dance: no such procedure")
    procedure, problem = catalogue.make("course", {"distance_mm": 5, "colour": 1}, made)
    assert procedure is None
    assert problem == ("colour: no such parameter; "
                       "distance_mm: must be 30000 to 2000000, is 5")


def test_editing_begins_near_what_is_to_be_expected():
    assert outlets([600]).act(TAKE_BACK) == ""
    procedure = begin("outlet_catch", outlets=3, rated_ul_s=10000, time_ms=60000)
    assert procedure.suggestion() == 600 * ML
    assert procedure.act(ENTER, 610 * ML) == ""
    assert procedure.suggestion() == 610 * ML
    assert begin("plot_catch", width_mm=500).suggestion() == 100 * ML
    assert begin("tank_check", meter_ml=5000).suggestion() == 5000
    for name in ("outlet_catch", "plot_catch", "tank_check"):
        procedure = begin(name, **({"meter_ml": 5000} if name == "tank_check" else {}))
        _, _, low, high = procedure.entry()
        assert low <= procedure.suggestion() <= high
