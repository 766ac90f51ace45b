"""Totals: exact sums, exact shares, no drift over long work."""

from rate_control.totals import Register, Totals


def test_register_carries():
    register = Register(1000)
    for _ in range(2500):
        register.add(999)
    assert register.whole * 1000 + register.part == 2500 * 999


def test_sections_add_up_to_the_whole():
    totals = Totals()
    widths = [1000, 1500, 333]
    for tick in range(20000):
        mask = (7, 5, 2)[tick % 3]
        width = (2833, 1333, 1500)[tick % 3]
        totals.add_volume(3000 + tick % 7, mask, widths, width)
    totals.share_out()
    whole_nl = totals.volume.whole * 1000000000 + totals.volume.part * 1000
    parts_nl = 0
    for register in totals.section_volume:
        parts_nl += register.whole * 1000000 + register.part
    # what is missing waits in the carry, less than one nL on each mm of width
    assert 0 <= whole_nl - parts_nl < 3 * 2833


def test_area_and_distance():
    totals = Totals()
    for _ in range(7200):
        totals.add_ground(150, 50, 3, [3000, 2000, 1000], 5000)
    totals.share_out()
    assert totals.distance.whole == 1080
    assert totals.area.whole == 5400
    assert totals.section_area[0].whole == 3240
    assert totals.section_area[2].whole == 0
    assert totals.time.whole == 360


def test_volume_without_width_counts_for_the_job_only():
    totals = Totals()
    totals.add_volume(1000000, 0, [1000, 1000], 0)
    totals.share_out()
    assert totals.volume.whole == 1
    assert totals.section_volume[0].part == 0


def test_sections_follow_at_a_stop_without_being_asked():
    totals = Totals()
    totals.add_volume(30000, 3, [1000, 2000], 3000)
    totals.add_ground(500, 50, 3, [1000, 2000], 3000)
    assert totals.section_volume[1].part == 0
    totals.add_volume(0, 0, [1000, 2000], 0)
    assert totals.section_volume[1].whole * 1000000 + totals.section_volume[1].part == 20000000
    assert totals.section_area[1].whole * 1000000 + totals.section_area[1].part == 1000000
