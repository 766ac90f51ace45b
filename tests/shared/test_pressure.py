"""The reading of a pressure sensor, and what the outlets look like with the flow."""

from app import pressure
from app.pressure import BROKEN, CURRENT, UNKNOWN, VOLTS, drop_pa, outlet_permille, pressure_pa
from rate_control.intmath import LIMIT

BAR = 100000


def test_a_sensor_reads_from_its_zero_to_its_full_signal():
    for kind, zero, full in ((VOLTS, 500, 4500), (CURRENT, 600, 3000)):
        assert pressure_pa(zero, kind, 10 * BAR) == 0
        assert pressure_pa(full, kind, 10 * BAR) == 10 * BAR
        assert pressure_pa((zero + full) // 2, kind, 10 * BAR) == 5 * BAR


def test_4_to_20_ma_make_the_volts_of_150_ohms():
    assert pressure.KINDS[CURRENT][:2] == (4 * 150, 20 * 150)


def test_a_cut_or_shorted_wire_is_never_a_number():
    for kind, low, high in ((VOLTS, 250, 4750), (CURRENT, 540, 3150)):
        for mv in (0, low - 1, high + 1, 5133):
            assert pressure_pa(mv, kind, 10 * BAR) == BROKEN
        assert pressure_pa(low, kind, 10 * BAR) == 0  # an offset is no broken wire
        assert pressure_pa(high, kind, 10 * BAR) > 10 * BAR
    assert pressure_pa(0, pressure.NONE, 10 * BAR) == 0


def test_four_times_the_pressure_is_twice_the_flow_of_new_outlets():
    """Oklahoma State University Extension, Calibrating a Low-Pressure Ground Sprayer."""
    for bars, flow in ((1, 50000), (4, 100000), (16, 200000)):
        assert abs(outlet_permille(flow, bars * BAR, 3000, 3000, 100000, 4 * BAR) - 1000) <= 2


def test_closed_sections_do_not_look_plugged():
    for open_mm in (1000, 2000, 3000):
        flow = 100000 * open_mm // 3000
        assert abs(outlet_permille(flow, 3 * BAR, open_mm, 3000, 100000, 3 * BAR) - 1000) <= 2


def test_a_tenth_either_way_is_told():
    assert outlet_permille(111000, 3 * BAR, 1, 1, 100000, 3 * BAR) > pressure.WORN_PERMILLE
    assert outlet_permille(89000, 3 * BAR, 1, 1, 100000, 3 * BAR) < pressure.PLUGGED_PERMILLE


def test_nothing_is_said_without_pressure_or_an_open_section():
    assert outlet_permille(1000, 0, 1, 1, 100000, BAR) == UNKNOWN
    assert outlet_permille(1000, BROKEN, 1, 1, 100000, BAR) == UNKNOWN
    assert outlet_permille(1000, BAR, 0, 1, 100000, BAR) == UNKNOWN


def test_check_valves_take_their_part_and_little_pressure_is_not_told():
    assert drop_pa(3 * BAR, BAR // 2, 10 * BAR) == 3 * BAR - BAR // 2
    assert drop_pa(BAR + BAR // 2, BAR // 2, 10 * BAR) == BAR
    assert drop_pa(BAR + BAR // 2 - 1, BAR // 2, 10 * BAR) == UNKNOWN
    assert drop_pa(BROKEN, 0, 10 * BAR) == UNKNOWN


def test_the_largest_values_stay_small_ints():
    assert pressure.PRESSURE_MAX_PA << pressure.ROOT_SHIFT <= LIMIT
    most = outlet_permille(10000000, pressure.PRESSURE_MAX_PA, 320000, 320000, 10000000, BAR)
    assert UNKNOWN < most < pressure.PLUGGED_PERMILLE  # a tenth, told as six: a plug either way
