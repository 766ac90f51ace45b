"""Speed, place and course out of CAN messages.

Speeds: resolution, range and order of bytes as published by the ISOBUS parameter database,
https://www.isobus.net/isobus/pGNAndSPN/15578?type=PGN; the values follow from 0.001 m/s a bit, and
the ranges of error are those of SAE J1939, from memory. Place and course: recorded messages and
what they mean in the tests of canboatjs, https://github.com/canboat/canboatjs, test/pgns/129025.js
and 129026.js.
"""

from app.can_messages import (
    COURSE_PGN,
    GROUND_SPEED_PGN,
    POSITION_PGN,
    WHEEL_SPEED_PGN,
    CanMessages,
)


def taken(pgn, data):
    messages = CanMessages()
    return messages, messages.take(pgn, memoryview(data))


def test_pgns():
    assert (WHEEL_SPEED_PGN, GROUND_SPEED_PGN) == (0xFE48, 0xFE49)
    assert (POSITION_PGN, COURSE_PGN) == (0x1F801, 0x1F802)


def test_speeds():
    for pgn in (WHEEL_SPEED_PGN, GROUND_SPEED_PGN):
        for raw, speed_mm_s in ((b"\xd0\x07", 2000), (b"\xda\x0a", 2778), (b"\x00\x00", 0),
                                (b"\xff\xfa", 64255)):
            messages, told = taken(pgn, raw + b"\xff" * 6)
            assert told and messages.valid and messages.speed_mm_s == speed_mm_s


def test_no_speed_keeps_the_last_one_and_says_so():
    messages = CanMessages()
    assert messages.take(GROUND_SPEED_PGN, b"\xd0\x07" + b"\xff" * 6)
    for raw in (b"\x00\xfb", b"\x00\xfe", b"\xff\xfe", b"\x00\xff", b"\xff\xff"):
        messages.valid = True
        assert messages.take(GROUND_SPEED_PGN, raw + b"\xff" * 6)
        assert not messages.valid and messages.speed_mm_s == 2000


def test_recorded_place():
    messages, told = taken(POSITION_PGN, b"\x82\x9f\x49\x17\x43\x83\x6c\xd2")
    assert not told and (messages.fixes, messages.quality) == (1, 1)
    assert (messages.latitude_deg, messages.latitude_e7) == (39, 700930)
    # -76.4640445 is -77 and a positive rest
    assert (messages.longitude_deg, messages.longitude_e7) == (-77, 5359555)


def test_recorded_place_that_is_none():
    messages, _ = taken(POSITION_PGN, b"\xfe\xff\xff\x7f\xfe\xff\xff\x7f")
    assert (messages.fixes, messages.quality) == (1, 0)


def test_recorded_course():
    messages, told = taken(COURSE_PGN, b"\xff\xfc\xe1\x51\xf6\x00\xff\xff")
    assert told and messages.valid and messages.speed_mm_s == 2460
    assert messages.courses == 1 and messages.course_cdeg == 12010  # 2.0961 rad are 120.098 deg


def angle(value_e7):
    return bytes([value_e7 >> shift & 0xFF for shift in (0, 8, 16, 24)])


def test_places_to_the_edges_of_the_earth():
    for latitude, longitude, good in (
            (0, 0, 1), (900000000, 1800000000, 1), (-900000000, -1800000000, 1),
            (900000001, 0, 0), (-900000001, 0, 0), (0, 1800000001, 0), (0, -1800000001, 0),
            (-1, -1, 1), (899999999, 1799999999, 1), (0x7FFFFFFF, 0, 0), (0, 0x7FFFFFFF, 0)):
        messages, _ = taken(POSITION_PGN, angle(latitude) + angle(longitude))
        assert messages.quality == good, (latitude, longitude)
        if good:
            assert messages.latitude_deg * 10000000 + messages.latitude_e7 == latitude
            assert messages.longitude_deg * 10000000 + messages.longitude_e7 == longitude
            assert 0 <= messages.latitude_e7 < 10000000 > messages.longitude_e7 >= 0


def course(raw, speed=246, reference=0xFC):
    return bytes((0, reference, raw & 0xFF, raw >> 8, speed & 0xFF, speed >> 8, 255, 255))


def test_courses_all_around():
    for raw in (0, 1, 15708, 31416, 47124, 62831, 62832):
        messages, _ = taken(COURSE_PGN, course(raw))
        off = (messages.course_cdeg - raw * 18000 * 7 / 220000.1) % 36000  # 22/7, nearly pi
        assert messages.courses == 1 and (off < 20 or off > 35980)
        exact = raw * 1.8 / 3.141592653589793
        assert abs((messages.course_cdeg - exact + 18000) % 36000 - 18000) <= 0.51


def test_no_course():
    for data in (course(62833), course(0xFFFE), course(0xFFFF), course(100, reference=0xFD),
                 course(100, reference=0xFF), course(100, speed=29), course(100, speed=0xFFFD),
                 course(100, speed=0xFFFF)):
        messages, told = taken(COURSE_PGN, data)
        assert told and not messages.courses
    assert not taken(COURSE_PGN, course(100, speed=0xFFFD))[0].valid
    assert taken(COURSE_PGN, course(100, speed=0xFFFC))[0].speed_mm_s == 655320


def test_other_messages_change_nothing():
    messages, told = taken(65098, b"\xd0\x07" + b"\x00" * 6)
    assert not told and not messages.valid and not messages.fixes
