"""Positions out of NMEA 0183 sentences that are published elsewhere.

Sources: go-nmea, https://github.com/adrianmo/go-nmea/blob/v1.7.0/gga_test.go (the first two GGA);
the third GGA and the first RMC are widely reproduced. Degrees are minutes / 60, rounded by hand.
"""

from app.nmea_position import NmeaPosition
from tests.shared.test_nmea import PUBLISHED, _sentence, heap_lock, heap_unlock

# sentence, quality, latitude and longitude in 1e-7 degrees
GGA = (
    (b"$GNGGA,203415.000,6325.6138,N,01021.4290,E,1,8,2.42,72.5,M,41.5,M,,*7C",
     1, 634268967, 103571500),
    (b"$GPGGA,034225.077,3356.4650,S,15124.5567,E,1,03,9.7,-25.0,M,21.0,M,,0000*51",
     1, -339410833, 1514092783),
    (b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
     1, 481173000, 115166667),
)
PLACE = b"4807.038,N,01131.000,E"


def read(data):
    reader = NmeaPosition()
    reader.feed(data)
    return reader


def place(reader):
    return (reader.latitude_deg * 10000000 + reader.latitude_e7,
            reader.longitude_deg * 10000000 + reader.longitude_e7)


def gga(position, quality=b"1"):
    return _sentence(b"GPGGA,123519," + position + b"," + quality + b",08,0.9,545.4,M,46.9,M,,")


def rmc(position, mode=b",A", status=b"A", course=b"084.4"):
    return _sentence(b"GPRMC,123519," + status + b"," + position + b",022.4," + course
                     + b",230394,003.1,W" + mode)


def test_published_positions():
    for sentence, quality, latitude_e7, longitude_e7 in GGA:
        reader = read(sentence + b"\r\n")
        assert (reader.fixes, reader.quality, reader.rejected) == (1, quality, 0), sentence
        assert place(reader) == (latitude_e7, longitude_e7), sentence
        assert 0 <= reader.latitude_e7 < 10000000 and 0 <= reader.longitude_e7 < 10000000
        assert reader.accepted == 0  # it is no report of a speed


def test_rmc_gives_the_position_where_no_gga_comes():
    reader = NmeaPosition()
    for _ in range(5):
        reader.feed(PUBLISHED[0][0] + b"\r\n")
    assert (reader.accepted, reader.courses, reader.course_cdeg) == (5, 5, 8440)
    assert reader.fixes == 2 and reader.quality == 1
    assert place(reader) == (481173000, 115166667)
    reader.feed(gga(b"4807.000,N,01131.000,E", b"4"))
    reader.feed(rmc(PLACE))
    assert reader.quality == 4 and place(reader)[0] == 481166667
    assert (reader.accepted, reader.fixes) == (6, 3)


def test_quality_is_that_of_gga():
    for quality, found in ((b"0", 0), (b"1", 1), (b"2", 2), (b"3", 3), (b"4", 4), (b"5", 5),
                           (b"6", 0), (b"7", 0), (b"8", 0), (b"9", 0), (b"", 0), (b"12", 0)):
        reader = read(gga(PLACE, quality))
        assert (reader.fixes, reader.quality) == (1, found), quality


def test_mode_of_rmc_gives_the_same_qualities():
    for mode, status, found in ((b"", b"A", 1), (b",A", b"A", 1), (b",D", b"A", 2),
                                (b",P", b"A", 3), (b",R", b"A", 4), (b",F", b"A", 5),
                                (b",E", b"A", 0), (b",N", b"V", 0), (b",A", b"V", 0)):
        reader = read(rmc(PLACE, mode, status) * 4)
        assert reader.quality == found, (mode, status)


def test_what_is_no_angle_is_no_fix():
    for bad in (
        b",N,01131.000,E", b"4807.038,,01131.000,E", b"4807.038,E,01131.000,E",
        b"4807.038,N,01131.000,N", b"4807.038,N,1131.000,E", b"807.038,N,01131.000,E",
        b"48070.38,N,01131.000,E", b"4860.000,N,01131.000,E", b"9000.001,N,01131.000,E",
        b"4807.038,N,18000.001,E", b"4807.0.8,N,01131.000,E", b"-807.038,N,01131.000,E",
        b"4807.038,NN,01131.000,E", b"48 7.038,N,01131.000,E", b"4807,03,N,01131.000,E",
    ):
        reader = read(gga(bad))
        assert (reader.fixes, reader.quality) == (1, 0), bad


def test_ends_of_the_earth():
    reader = read(gga(b"9000.0000000,S,18000.0000000,W"))
    assert reader.quality == 1 and place(reader) == (-900000000, -1800000000)
    reader = read(gga(b"0000.0000001,S,00000.0000001,W"))
    assert reader.quality == 1 and place(reader) == (0, 0)
    reader = read(gga(b"0000.0000030,S,00000.0000029,W"))
    assert place(reader) == (-1, 0)  # half a unit and a little less
    reader = read(gga(b"4759.9999999,N,01100,E"))
    assert (reader.latitude_deg, reader.latitude_e7) == (48, 0)


def test_slow_receiver_has_no_course():
    slow = _sentence(b"GPRMC,123519,A," + PLACE + b",000.5,084.4,230394,003.1,W,A")
    assert read(slow).courses == 0
    assert read(rmc(PLACE, course=b"")).courses == 0
    assert read(rmc(PLACE, course=b"360.0")).course_cdeg == 0
    assert read(rmc(PLACE, course=b"360.1")).courses == 0
    vtg = b"$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K*4B\r\n"
    assert read(vtg).course_cdeg == 4550


def test_reading_allocates_nothing():
    reader = NmeaPosition()
    data = gga(PLACE, b"4") + rmc(PLACE) + gga(b"4860.0,N,1,E") + GGA[1][0] + b"\r\n"
    reader.feed(data)
    heap_lock()
    try:
        for _ in range(3):
            reader.feed(data)
    finally:
        heap_unlock()
    assert reader.fixes == 12
