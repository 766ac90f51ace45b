"""Totals: exact sums, exact shares, no drift over long work."""

from rate_control.totals import Register, Totals


def test_register_carries():
    register = Register(1000)
    for _ in range(2500):
        register.add(999)
    assert register.whole * 1000 + register.part == 2500 * 999


WIDTHS = [1000, 1500, 333]
REST = (0, 0, 0, WIDTHS, 0)


def ul_of(register):
    return register.whole * 1000 + register.part // 32


def test_sections_add_up_to_the_whole():
    totals = Totals()
    for tick in range(20000):
        mask = (7, 5, 2)[tick // 5 % 3]
        width = (2833, 1333, 1500)[tick // 5 % 3]
        totals.add(3000 + tick % 7, 150, mask, WIDTHS, width)
    totals.add(*REST)
    whole_ul = totals.volume.whole * 1000000 + totals.volume.part
    parts_ul = sum([ul_of(register) for register in totals.section_volume])
    # what is missing waits in the carry, less than 1/32 uL on each mm of width
    assert 0 <= whole_ul - parts_ul < 2833 // 32 + 3
    area_mm2 = totals.area.whole * 1000000 + totals.area.part
    parts_mm2 = 0
    for register in totals.section_area:
        parts_mm2 += register.whole * 1000000 + register.part
    assert area_mm2 == parts_mm2


def test_section_gets_its_width_of_every_pattern():
    totals = Totals()
    for _ in range(300):
        for mask, width in ((7, 2833), (1, 1000), (6, 1833)):
            totals.add(width * 10, 100, mask, WIDTHS, width)
    totals.add(*REST)
    # each was open in two patterns of three, with 10 uL on each millimetre
    assert [ul_of(register) for register in totals.section_volume[:3]] == [
        width * 10 * 600 for width in WIDTHS]
    assert totals.section_area[0].whole == 60
    assert totals.section_area[0].part == 0


def test_area_and_distance():
    totals = Totals()
    for _ in range(7200):
        totals.add(0, 150, 3, [3000, 2000, 1000], 5000)
    totals.add(0, 150, 0, [3000, 2000, 1000], 0)
    assert totals.distance.whole == 1080
    assert totals.area.whole == 5400
    assert totals.section_area[0].whole == 3240
    assert totals.section_area[2].whole == 0
    assert totals.time.whole == 360


def test_largest_flow_and_speed_do_not_overflow():
    totals = Totals()
    for _ in range(2000):
        totals.add(1000000, 1149, 255, [6250] * 8, 50000)
    totals.add(0, 0, 0, [6250] * 8, 0)
    assert totals.volume.whole == 2000
    assert [register.whole for register in totals.section_volume] == [250000] * 8
    assert totals.area.whole == 114900
    assert [register.whole for register in totals.section_area] == [14362] * 8


def test_volume_without_width_counts_for_the_job_only():
    totals = Totals()
    totals.add(1000000, 0, 0, [1000, 1000], 0)
    assert totals.volume.whole == 1
    assert totals.section_volume[0].part == 0


def test_all_is_right_at_a_stop_and_soon_behind_before_it():
    totals = Totals()
    for _ in range(9):
        totals.add(3000, 50, 3, [1000, 2000], 3000)
    assert totals.section_area[0].part < 450000
    totals.add(0, 0, 0, [1000, 2000], 0)
    assert ul_of(totals.section_volume[1]) == 18000
    assert totals.section_area[1].part == 900000
    assert totals.section_area[0].part == 450000
    assert totals.distance.part == 450
