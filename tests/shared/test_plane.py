"""The local plane against PROJ's transverse Mercator about the same origin.

The reference values are those of pyproj 3.7 (`+proj=tmerc +k=1 +ellps=WGS84`, PROJ 9);
tests/host/firmware/test_plane.py asks it for many more.
"""

from app.plane import ONE, Plane, sine_cosine

# origin in 1e-4 degrees, then places in 1e-7 degrees and where PROJ has them, mm east and north
PLACES = (
    (411500, -964800, (
        (411500123, -964799876, 1041, 1366),
        (411589999, -964700001, 839318, 999549),
        (411412345, -964912345, -943196, -973407),
    )),
    (-339000, 1512000, (
        (-338950000, 1512060000, 554990, 554586),
        (-339071234, 1511908765, -843789, -790170),
    )),
    (600000, 1799999, (
        (600050000, -1799900000, 563495, 557105),
        (599930011, 1799850007, -831557, -779669),
    )),
    (0, -1, (
        (70000, 90000, 1013007, 774020),
        (-81234, -43210, -469880, -898239),
    )),
)


def take(plane, latitude_e7, longitude_e7):
    return plane.take(latitude_e7 // 10000000, latitude_e7 % 10000000,
                      longitude_e7 // 10000000, longitude_e7 % 10000000)


def test_places_are_where_proj_has_them():
    for latitude_e4, longitude_e4, places in PLACES:
        plane = Plane(latitude_e4, longitude_e4)
        for latitude_e7, longitude_e7, east_mm, north_mm in places:
            assert take(plane, latitude_e7, longitude_e7)
            assert abs(plane.east_mm - east_mm) <= 1, (latitude_e7, plane.east_mm, east_mm)
            assert abs(plane.north_mm - north_mm) <= 1, (latitude_e7, plane.north_mm, north_mm)


def test_origin_is_nothing_away_from_itself():
    for latitude_e4, longitude_e4, _ in PLACES:
        plane = Plane(latitude_e4, longitude_e4)
        assert take(plane, latitude_e4 * 1000, longitude_e4 * 1000)
        assert (plane.east_mm, plane.north_mm) == (0, 0)


def test_places_of_another_field_are_out_of_reach():
    plane = Plane(411500, -964800)
    for latitude_e7, longitude_e7 in (
        (412500000, -964800000), (410500000, -964800000), (411500000, -963600000),
        (-411500000, -964800000), (411500000, 964800000), (900000000, 1800000000),
        (-900000000, -1800000000),
    ):
        assert not take(plane, latitude_e7, longitude_e7), (latitude_e7, longitude_e7)


def test_sines_of_a_few_angles():
    """Half, root of three quarters, root of a half: exact values of geometry."""
    for angle_e4, sine, cosine in ((0, 0, ONE), (300000, ONE // 2, 866025403784),
                                   (450000, 707106781187, 707106781187), (900000, ONE, 0)):
        found = sine_cosine(angle_e4)
        assert abs(found[0] - sine) < 100 and abs(found[1] - cosine) < 100, found
