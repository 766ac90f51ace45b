"""The local plane of the firmware against PROJ, geodesics and small integers."""

import math
import random

import numpy as np
import pytest
from pyproj import Geod, Proj

from app.headings import sine_q14
from app.nmea_position import NmeaPosition
from app.plane import Plane
from app.position import NAMES, Position
from host_sim.common.earth import Origin
from rate_control.intmath import LIMIT
from rate_control.section import Sections
from rate_control.trace import FIELDS
from tests.shared.test_coverage import Rig
from tests.shared.test_position import Application, Controller
from tests.support.sentence_fuzz import run
from tests.support.small_int import SmallInt, harden

E7 = 10**7
ORIGINS = [(411500, -964800), (-339000, 1512000), (0, 0), (520001, 1799990), (-600000, -1800000),
           (700000, 251), (800000, 100000), (-800000, -1)]


def places(latitude_e4, longitude_e4, reach_m, count, rng):
    """Places on a grid of 1e-7 degrees, and where PROJ has them, in mm."""
    proj = Proj(proj="tmerc", lat_0=latitude_e4 / 1e4, lon_0=longitude_e4 / 1e4, k=1, ellps="WGS84")
    for _ in range(count):
        angle = rng.uniform(0, 2 * math.pi)
        longitude, latitude = proj(reach_m * math.cos(angle), reach_m * math.sin(angle),
                                   inverse=True)
        latitude_e7, longitude_e7 = round(latitude * E7), round(longitude * E7)
        east_m, north_m = proj(longitude_e7 / E7, latitude_e7 / E7)
        yield latitude_e7, longitude_e7, east_m * 1000, north_m * 1000


def take(plane, latitude_e7, longitude_e7):
    return plane.take(latitude_e7 // E7, latitude_e7 % E7, longitude_e7 // E7, longitude_e7 % E7)


@pytest.mark.parametrize(("reach_m", "within_mm"), [(100, 1), (1000, 1), (3000, 5), (9900, 150)])
def test_plane_is_within_a_millimetre_of_transverse_mercator_at_a_kilometre(
    reach_m, within_mm, record_property
):
    rng, worst = random.Random(reach_m), 0.0
    for origin in ORIGINS:
        plane = Plane(*origin)
        for latitude_e7, longitude_e7, east_mm, north_mm in places(*origin, reach_m, 100, rng):
            assert take(plane, latitude_e7, longitude_e7)
            worst = max(worst, abs(plane.east_mm - east_mm), abs(plane.north_mm - north_mm))
    record_property("summary", f"local plane against PROJ's transverse Mercator at {reach_m} m: "
                               f"{worst:.2f} mm off at most")
    assert worst <= within_mm


def test_geodesics_are_those_that_are_published():
    """GeographicLib's own test, PyPI geographiclib 2.1, test/test_geodesic.py: 8935244.5604818305
    m. PROJ's geodesic, so proved, then judges distances in the plane."""
    geod = Geod(ellps="WGS84")
    _, _, distance_m = geod.inv(-139.44815, 35.60777, -69.95921, -11.17491)
    assert distance_m == pytest.approx(8935244.5604818305, abs=1e-6)
    rng = random.Random(2)
    for origin in ORIGINS:
        plane = Plane(*origin)
        for latitude_e7, longitude_e7, _, _ in places(*origin, 1000, 20, rng):
            take(plane, latitude_e7, longitude_e7)
            _, _, true_m = geod.inv(origin[1] / 1e4, origin[0] / 1e4,
                                    longitude_e7 / E7, latitude_e7 / E7)
            assert math.hypot(plane.east_mm, plane.north_mm) == pytest.approx(1000 * true_m, abs=1)


def test_fixed_metres_a_degree_would_be_far_off():
    """The negative of the test above: 78 mm at 1 km, as check values that are computed say."""
    plane, rng = Plane(411500, -964800), random.Random(3)
    plane._tangent_q16 = plane._curve_q24 = 0
    worst = 0.0
    for latitude_e7, longitude_e7, east_mm, north_mm in places(411500, -964800, 1000, 200, rng):
        take(plane, latitude_e7, longitude_e7)
        worst = max(worst, math.hypot(plane.east_mm - east_mm, plane.north_mm - north_mm))
    assert 60 < worst < 160


def test_places_of_the_twin_agree_with_proj_both_ways():
    origin = Origin(41.15, -96.48)
    proj = Proj(proj="tmerc", lat_0=41.15, lon_0=-96.48, k=1, ellps="WGS84")
    angles = np.linspace(0, 2 * np.pi, 60)
    east, north = 1000 * np.sin(angles), 1000 * np.cos(angles)
    latitude, longitude = origin.to_degrees(east, north)
    assert np.allclose(proj(longitude, latitude), (east, north), atol=1e-4)
    assert np.allclose(origin.to_metres(latitude, longitude), (east, north), atol=1e-4)


def test_plane_and_position_stay_within_small_ints():
    rng = random.Random(4)
    for _ in range(60):
        latitude_e4, longitude_e4 = rng.randint(-800000, 800000), rng.randint(-1800000, 1800000)
        plane = harden(Plane(latitude_e4, longitude_e4))
        for _ in range(20):
            near = rng.random() < 0.7
            latitude_e7 = latitude_e4 * 1000 + rng.randint(-10**6, 10**6) if near else (
                rng.randint(-900 * 10**6, 900 * 10**6))
            longitude_e7 = longitude_e4 * 1000 + rng.randint(-10**7, 10**7) if near else (
                rng.randint(-1800 * 10**6, 1800 * 10**6))
            plane.take(*(SmallInt(part) for angle in (latitude_e7, longitude_e7)
                         for part in divmod(angle, E7)))
    for angle in range(-36000, 72000, 500):
        sine_q14(SmallInt(angle))


def test_ticks_of_the_position_stay_within_small_ints():
    for seed in range(20):
        rng = random.Random(seed)
        controller = Controller(
            antenna_lag_ms=rng.choice((0, 2500, rng.randint(0, 2500))),
            antenna_mm=[rng.choice((0, 20000, rng.randint(0, 20000))) for _ in range(4)])
        position = Position(Application(controller))
        line = [0] * (len(FIELDS) + len(NAMES))
        now_us = LIMIT - 100_000
        for tick in range(200):
            now_us = (now_us + 50_000) & LIMIT
            if rng.random() < 0.4:
                _report(position.reader, rng)
                harden(position.reader)
                harden(controller.settings)
                position.follow(SmallInt(now_us))
            if tick == 3 and position.plane is not None:
                plane, position.plane = position.plane, None  # it is made with large integers
                harden(position)
                position.plane = harden(plane)
            controller.measured.distance_mm = SmallInt(rng.choice((0, 70, 1000, 10**6, LIMIT)))
            line[0] = SmallInt(now_us)
            position.tick(controller, line)
            assert all(-LIMIT <= value <= LIMIT for value in line)


def test_ticks_of_the_coverage_stay_within_small_ints():
    for seed in range(12):
        rng = random.Random(seed)
        rig = Rig(tiles=rng.choice((1, 7, 40)))
        settings = rig.app.controller.settings
        settings.section_width_mm = [rng.randint(50, 6000) for _ in range(8)]
        settings.section_count = rng.randint(1, 8)
        settings.hold_lead_ms = [rng.choice((0, 2500)), rng.choice((0, 2500))]
        rig.app.controller.sections = Sections(settings)
        harden(rig.coverage)
        rig.app.controller.sections = harden(Sections(settings))
        for _ in range(60):
            rig.position.east_mm = SmallInt(rng.choice((0, 9 * 10**6, rng.randint(-10**7, 10**7))))
            rig.position.north_mm = SmallInt(rng.choice((0, -(10**7), rng.randint(-10**7, 10**7))))
            rig.position.heading_cdeg = SmallInt(rng.randint(0, 35999))
            rig.drive(1000, step_mm=SmallInt(rng.choice((10, 70, 1000))))


def _report(reader: NmeaPosition, rng: random.Random) -> None:
    """Any place and any course."""
    reader.quality = rng.choice((0, 1, 4))
    reader.latitude_deg, reader.longitude_deg = rng.choice(((41, -97), (41, -97), (-79, 179)))
    reader.latitude_e7, reader.longitude_e7 = rng.randint(0, E7 - 1), rng.randint(0, E7 - 1)
    reader.course_cdeg = rng.randint(0, 35999)
    reader.fixes += 1
    reader.courses += 1


def test_damaged_sentences_are_refused_or_mean_what_they_say():
    """100,000 of them: `make fuzz`."""
    taken, problems = run(8_000, seed=7)
    assert taken > 400
    assert problems == []
