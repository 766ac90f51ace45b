"""The position of the outlets: fixes, and the way by wheel and heading between them.

What is expected follows from geometry: a machine that drives straight or along a circle.
"""

import math

from app.headings import ONE_Q14, sine_q14, turned
from app.nmea_position import NmeaPosition
from app.position import NAMES, PAST, STALE_MS, UNKNOWN, Position
from rate_control.intmath import LIMIT
from rate_control.settings import build
from rate_control.trace import FIELDS
from rate_control.units import TICK_MS, TICK_US
from tests.shared.test_nmea import heap_lock, heap_unlock
from tests.shared.test_nmea_position import gga, rmc
from tests.shared.test_plane import take

LATITUDE_E4, LONGITUDE_E4 = 411500, -964800
MM_NORTH_E7, MM_EAST_E7 = 11.1060, 8.3949  # of 1e-7 degrees at 41.15 N, as PROJ has it


class Measured:
    distance_mm = 0


class Controller:
    def __init__(self, **values):
        self.settings = build(dict(antenna_lag_ms=0, **values) if "antenna_lag_ms" not in values
                              else values)[0]
        self.measured = Measured()


class Application:
    def __init__(self, controller):
        self.controller = controller


class Rig:
    """A position, its ticks, and a receiver that is somewhere in the plane."""

    def __init__(self, **values):
        self.controller = Controller(**values)
        self.position = Position(Application(self.controller))
        self.line = [0] * (len(FIELDS) + len(NAMES))
        self.now_us = LIMIT - 10 * TICK_US  # the clock wraps on the way

    def tick(self, distance_mm=0, ticks=1):
        for _ in range(ticks):
            self.now_us = (self.now_us + TICK_US) & LIMIT
            self.line[0] = self.now_us
            self.controller.measured.distance_mm = distance_mm
            self.position.tick(self.controller, self.line)

    def fix(self, east_mm, north_mm, course=None, quality=b"4", late_us=0):
        """A report of the antenna's place and course; late_us after the last tick."""
        latitude_e7 = LATITUDE_E4 * 1000 + north_mm / MM_NORTH_E7
        longitude_e7 = -LONGITUDE_E4 * 1000 - east_mm / MM_EAST_E7
        place = b"%s,N,%s,W" % (_angle(latitude_e7, 2), _angle(longitude_e7, 3))
        reader = self.position.reader
        reader.feed(gga(place, quality))
        if course is not None:
            reader.feed(rmc(place, course=b"%d.%02d" % (course // 100, course % 100)))
        self.position.follow((self.now_us + late_us) & LIMIT)

    def near(self, east_mm, north_mm, by=12):
        """Whether the position is there; a fix comes in steps of 11 mm."""
        found = (self.position.east_mm, self.position.north_mm)
        assert abs(found[0] - east_mm) <= by and abs(found[1] - north_mm) <= by, found
        return True


def _angle(angle_e7, digits):
    angle_e7 = int(angle_e7 + 0.5)
    minutes = angle_e7 % 10000000 * 60
    degrees = str(angle_e7 // 10000000)
    text = "0" * (digits - len(degrees)) + degrees
    return ("%s%02d.%07d" % (text, minutes // 10000000, minutes % 10000000)).encode()


def test_sines_are_within_two_in_ten_thousand():
    worst = max([abs(sine_q14(angle) / ONE_Q14 - math.sin(angle * math.pi / 18000))
                 for angle in range(-36000, 72000, 37)])
    assert worst < 2e-4, worst


def test_turned_takes_the_short_way():
    assert turned(100, 35900) == 200 and turned(35900, 100) == -200
    assert turned(18000, 0) == -18000 and turned(9000, 9000) == 0


def test_nothing_is_known_before_the_first_fix():
    rig = Rig()
    rig.tick(70, 100)
    position = rig.position
    assert (position.quality, position.heading_cdeg, position.plane) == (0, UNKNOWN, None)
    assert rig.line[len(FIELDS):] == [0, 0, UNKNOWN, 0, position.age_ms, 0, 0]
    rig.fix(0, 0, quality=b"0")
    rig.tick()
    assert position.quality == 0 and position.plane is None


def test_first_fix_lays_the_plane_and_is_where_it_is():
    rig = Rig()
    rig.fix(4000, -3000)
    assert rig.position.quality == 0  # until the tick takes it as a whole
    rig.tick()
    assert rig.position.quality == 4 and rig.near(4000, -3000)
    assert rig.line[-2:] == [LATITUDE_E4, LONGITUDE_E4]
    assert rig.line[len(FIELDS)] == rig.position.east_mm


def test_way_goes_on_between_fixes_by_wheel_and_course():
    rig = Rig()
    rig.fix(0, 0, course=3000)
    rig.tick(0)
    rig.tick(70, 20)
    # 1.4 m at 30 degrees
    assert rig.near(700, 1212) and rig.position.age_ms == 20 * TICK_MS
    rig.fix(1000, 1000, course=3000)
    rig.tick(0)
    assert rig.near(1000, 1000) and rig.position.age_ms == 0


def test_rests_of_a_millimetre_are_carried():
    rig = Rig()
    rig.fix(0, 0, course=3000)
    rig.tick(0)
    rig.tick(1, 50)
    assert rig.near(25, 43, by=13)
    east_mm = rig.position.east_mm
    rig.tick(1, 10)
    assert abs(rig.position.east_mm - east_mm - 5) <= 1


def test_lag_is_made_up_for():
    """The fix that comes now was true 0.2 s ago: 4 ticks, and where it came 25 ms after a tick
    half a tick less."""
    for late_us, ticks in ((0, 4.0), (25000, 3.5), (49000, 3.02)):
        rig = Rig(antenna_lag_ms=200)
        rig.fix(0, 0, course=9000)
        rig.tick(0)
        rig.tick(100, 20)
        rig.fix(1000, 0, course=9000, late_us=late_us)
        rig.tick(0)
        assert rig.near(1000 + ticks * 100, 0), late_us
        assert rig.position.age_ms == 200


def test_fixes_close_together_are_not_made_up_for_twice():
    """Each replaces the one before; a tick may come between, or none."""
    rig = Rig(antenna_lag_ms=500)
    rig.fix(0, 0, course=9000)
    rig.tick(0)
    rig.tick(100, 20)
    for moving_ticks in (10, 9, 8):  # of the ten before each
        rig.fix(5000, 0, course=9000)
        rig.fix(5000, 0, course=9000)
        rig.tick(0)
        assert rig.near(5000 + moving_ticks * 100, 0)
    rig.tick(0, 10)
    rig.fix(5000, 0, course=9000)
    rig.tick(0)
    assert rig.near(5000, 0)


def test_antenna_stands_elsewhere_than_the_outlets():
    for course, east_mm, north_mm in ((0, -500, -2000), (9000, -2000, 500),
                                      (18000, 500, 2000), (27000, 2000, -500)):
        rig = Rig(antenna_mm=[2000, 0, 500, 0])
        rig.fix(0, 0, course=course)
        rig.tick(0)
        rig.fix(0, 0, course=course)
        rig.tick(0)
        assert rig.near(east_mm, north_mm), course
    rig = Rig(antenna_mm=[0, 2000, 0, 500])
    for _ in range(2):
        rig.fix(0, 0, course=0)
        rig.tick(0)
    assert rig.near(500, 2000)


def test_turn_goes_on_between_courses():
    """A circle of 5 m at 1 m/s, a fix a second: 11.46 degrees a second, the chord by geometry."""
    rig = Rig()
    radius_mm, step = 5000, 50 / 5000
    worst = 0
    for tick in range(400):
        angle = tick * step
        if tick % 20 == 0:
            rig.fix(radius_mm * (1 - math.cos(angle)), radius_mm * math.sin(angle),
                    course=int(math.degrees(angle) * 100) % 36000)
        rig.tick(50 if tick else 0)
        if tick > 60:
            angle += 0 if tick % 20 == 0 else step
            worst = max(worst, abs(rig.position.east_mm - radius_mm * (1 - math.cos(angle))),
                        abs(rig.position.north_mm - radius_mm * math.sin(angle)))
    assert worst < 100, worst  # without the turn it would be a tenth of a metre more each second


def test_stale_fix_gives_no_quality():
    rig = Rig()
    rig.fix(0, 0)
    rig.tick(0, STALE_MS // TICK_MS + 1)
    assert rig.position.quality == 4
    rig.tick(0)
    assert rig.position.quality == 0
    rig.fix(0, 0)
    rig.tick(0)
    assert rig.position.quality == 4


def test_fix_of_another_field_lays_another_plane():
    rig = Rig()
    rig.fix(0, 0, course=0)
    rig.tick(1000, PAST + 10)
    first = rig.position.plane
    reader = rig.position.reader
    reader.feed(gga(b"4807.038,N,01131.000,E"))
    rig.position.follow(rig.now_us)
    rig.tick(0)
    plane = rig.position.plane
    assert plane is not first and (plane.latitude_e4, plane.longitude_e4) == (481173, 115167)
    assert take(plane, 481173000, 115166667)
    assert rig.near(plane.east_mm, plane.north_mm, by=1)
    reader.feed(gga(b"8107.038,N,01131.000,E"))  # so near to the pole there is no plane
    rig.position.follow(rig.now_us)
    rig.tick(0)
    assert rig.position.plane is plane


def test_ticks_allocate_nothing():
    rig = Rig(antenna_lag_ms=200, antenna_mm=[2000, 0, 500, 0])
    rig.fix(0, 0, course=3000)
    rig.tick(70, 30)
    heap_lock()
    try:
        for tick in range(200):
            if tick % 10 == 0:
                rig.position.reader.fixes += 1
                rig.position.reader.courses += 1
                rig.position.follow(rig.now_us)
            rig.tick(70)
    finally:
        heap_unlock()
    assert isinstance(rig.position.reader, NmeaPosition)
