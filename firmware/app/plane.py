"""The local plane: millimetres east and north of an origin, from degrees on the WGS 84 ellipsoid.

With the origin at latitude p, the differences in latitude y and longitude x from it in radians, M
and N the radii of curvature there and t = tan p, the plane keeps what is of first and second order:

    east  = N cos p x - M N sin p y x / N = e - n e t / N    with n = M y, e = N cos p x
    north = M y + e e t / (2 N) + 3 n n E sin p cos p / (2 M w w)    with w w = 1 - E sin2 p

E is the first eccentricity squared. It is the transverse Mercator projection about the meridian of
the origin to that order; M, N: Rapp, Geometric Geodesy I (1991), chapter 3. The tests compare it
with PROJ's transverse Mercator: below 1 mm to 1 km, 5 mm to 3 km, 150 mm to 10 km.

Angles come as whole degrees and a positive rest in 1e-7 degrees, so that everything is a small int
wherever on earth. The plane is made with large integers, between ticks, and never with a float.
"""

from rate_control.intmath import divide_rounded, muldiv

ONE = 10**12  # of the numbers that are reckoned when a plane is made
PI = 3141592653590
AXIS_MM = 6378137000  # WGS 84: semi-major axis; NIMA TR8350.2
ECCENTRICITY2 = 6694379990  # and its first eccentricity squared
REACH_E7 = 20000000  # differences of angles beyond it are of another field
REACH_MM = 10000000
LATITUDE_MAX_E4 = 800000


def split(angle_e4: int) -> tuple[int, int]:
    """Return an angle in 1e-4 degrees as whole degrees and its rest, 0 or more, in 1e-7."""
    return angle_e4 // 10000, angle_e4 % 10000 * 1000


class Plane:
    """The plane around one origin; after take() east_mm and north_mm are where it was."""

    def __init__(self, latitude_e4: int, longitude_e4: int) -> None:
        """The origin is in 1e-4 degrees; its latitude is within +-LATITUDE_MAX_E4."""
        self.latitude_e4 = latitude_e4
        self.longitude_e4 = longitude_e4
        self.east_mm = 0
        self.north_mm = 0
        self._latitude_deg, self._latitude_e7 = split(latitude_e4)
        self._longitude_deg, self._longitude_e7 = split(longitude_e4)
        self._south = latitude_e4 < 0
        sine, cosine = sine_cosine(abs(latitude_e4))
        u = ECCENTRICITY2 * sine // ONE * sine // ONE
        w2 = ONE - u
        # 1 / w by its series; u is below 0.0067, what is left out below 1e-11
        inverse = (ONE + u // 2 + 3 * u * u // (8 * ONE) + 5 * u**3 // (16 * ONE**2)
                   + 35 * u**4 // (128 * ONE**3))
        across_mm = AXIS_MM * inverse // ONE
        along_mm = across_mm * (ONE - ECCENTRICITY2) // w2
        # sixteenths of a millimetre for 1e-7 degrees, in 1/65536
        unit = 18 * 10**8 * ONE
        self._north_q16 = divide_rounded((along_mm * PI) << 20, unit)
        self._east_q16 = divide_rounded((across_mm * PI * cosine // ONE) << 20, unit)
        self._tangent_q16 = (sine << 16) // cosine
        self._across = divide_rounded(across_mm, 1 << 20)
        curve = 3 * ECCENTRICITY2 * sine // ONE * cosine // w2
        self._curve_q24 = divide_rounded(curve << 48, 2 * along_mm * ONE)

    def take(self, latitude_deg: int, latitude_e7: int, longitude_deg: int, longitude_e7: int
             ) -> bool:
        """Reckon where a place is; return whether it is within reach. It allocates nothing."""
        away = longitude_deg - self._longitude_deg
        if away > 180:
            away -= 360
        elif away < -180:
            away += 360
        climb = latitude_deg - self._latitude_deg
        if not -2 < away < 2 or not -2 < climb < 2:
            return False
        away = away * 10000000 + longitude_e7 - self._longitude_e7
        climb = climb * 10000000 + latitude_e7 - self._latitude_e7
        if not -REACH_E7 < away < REACH_E7 or not -REACH_E7 < climb < REACH_E7:
            return False
        east = muldiv(away, self._east_q16, 65536)
        north = muldiv(climb, self._north_q16, 65536)
        east_mm = east >> 4
        north_mm = north >> 4
        if not -REACH_MM < east_mm < REACH_MM or not -REACH_MM < north_mm < REACH_MM:
            return False
        tangent = self._tangent_q16
        turned = self._bent(muldiv(north_mm, tangent, 65536), east_mm)
        raised = self._bent(muldiv(east_mm, tangent, 65536), east_mm) >> 1
        raised += muldiv(muldiv(abs(north_mm), abs(north_mm), 1 << 20), self._curve_q24, 1 << 24)
        if self._south:
            turned = -turned
            raised = -raised
        self.east_mm = east - turned + 8 >> 4
        self.north_mm = north + raised + 8 >> 4
        return True

    def _bent(self, leaning_mm: int, length_mm: int) -> int:
        """Return the product of two lengths over N, in sixteenths of a millimetre."""
        product = muldiv(leaning_mm, abs(length_mm), 1 << 20)
        product = muldiv(product, 16, self._across)
        return -product if length_mm < 0 else product


def sine_cosine(angle_e4: int) -> tuple[int, int]:
    """Return sine and cosine of 0 to 90 degrees, in 1e-4 degrees, as parts of ONE.

    By their power series, with large integers.
    """
    angle = angle_e4 * PI // 1800000
    parts = [0, 0]
    term = ONE
    power = 0
    while term:
        parts[power & 1] += -term if power & 2 else term
        power += 1
        term = term * angle // (power * ONE)
    return parts[1], parts[0]
