"""A GNSS receiver: true speed and place, delay and errors in, NMEA 0183 sentences out.

Layout of the sentences and their checksum: see firmware/app/nmea.py and nmea_position.py, whose
sources apply here too. Each report is GGA and then RMC.
"""

from __future__ import annotations

import math
from collections import deque
from random import Random
from typing import Protocol

from host_sim.common.earth import Origin
from host_sim.plant.field import Wander
from host_sim.plant.spec import GnssSpec
from host_sim.plant.way import Way


class Bus(Protocol):
    """What takes the reports besides the sentences."""

    def report(self, place: tuple[float, float] | None, course_deg: float, speed_m_s: float
               ) -> None:
        """See host_sim/twin/can_bus.py."""


KNOT_M_S = 1852 / 3600
DAY_S = 86400
FIELD = Origin(41.15, -96.48)  # where a drive begins whose scenario says nothing of it
MODES = "NADPRF"  # of RMC, by the quality of GGA


def sentence(body: str) -> bytes:
    """A sentence with its checksum and line end."""
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}\r\n".encode()


def clock(time_s: float) -> str:
    """The time of day in a sentence."""
    hundredths = round(time_s * 100) % (DAY_S * 100)
    second = hundredths / 100
    return f"{hundredths // 360000:02d}{hundredths // 6000 % 60:02d}{second % 60:05.2f}"


def angle(degrees: float, digits: int, sides: str) -> str:
    """An angle and its side as they stand in a sentence, to 1e-7 minutes."""
    steps = round(abs(degrees) * 60e7)
    whole, rest = divmod(steps, 600_000_000)
    return f"{whole:0{digits}d}{rest // 10**7:02d}.{rest % 10**7:07d},{sides[degrees < 0]}"


def rmc(time_s: float, place: str, speed_m_s: float, course_deg: float, mode: str) -> bytes:
    """The RMC sentence; without a fix it says neither place nor speed."""
    if mode == "N":
        return sentence(f"GPRMC,{clock(time_s)},V,,,,,,,010126,,,N")
    return sentence(f"GPRMC,{clock(time_s)},A,{place},{speed_m_s / KNOT_M_S:.3f},"
                    f"{course_deg % 360:.2f},010126,,,{mode}")


def gga(time_s: float, place: str, quality: int) -> bytes:
    """The GGA sentence."""
    return sentence(f"GPGGA,{clock(time_s)},{place if quality else ',,,'},{quality},"
                    f"{12 if quality else 0:02d},0.8,350.0,M,-25.0,M,,")


class GnssReceiver:
    """Sends `spec.hz` reports a second of what was `spec.delay_s` ago; no fix at 0 Hz.

    The antenna stands `spec.ahead_m` and `spec.right_m` of the outlets. Where it says to be wanders
    slowly (`drift_m`, `drift_s`) and jitters (`jitter_m`) about where it is. `origin` is where the
    way begins. It is a stream to read from, with any() and readinto() as a UART has. `bus`, where
    there is one, gets each report as well.
    """

    def __init__(self, spec: GnssSpec, seed: int, start_us: int) -> None:
        self.origin = FIELD
        self.bus: Bus | None = None
        self._spec = spec
        self._rng = Random(f"gnss {seed}")
        self._drift = [Wander(f"gnss drift {axis}", seed, spec.drift_s) for axis in "en"]
        self._jitter = Random(f"gnss jitter {seed}")
        self._past: deque[tuple[int, float, float, float, float]] = deque()
        self._due_us = start_us
        self._sent = bytearray()

    def step(self, now_us: int, speed_m_s: float, way: Way, fix: bool, sway_m_s: float = 0.0
             ) -> None:
        """Live until now_us, where the machine is at a speed and a place; the antenna may sway."""
        spec = self._spec
        if not spec.hz:
            return
        past = self._past
        past.append((now_us, speed_m_s, *self._antenna(way), way.heading_rad))
        then_us = now_us - round(spec.delay_s * 1e6)
        while len(past) > 1 and past[1][0] <= then_us:
            past.popleft()
        if now_us >= self._due_us:
            self._due_us += round(1e6 / spec.hz)
            noise_m_s = math.hypot(spec.noise_m_s, sway_m_s) if sway_m_s else spec.noise_m_s
            speed = max(past[0][1] + self._rng.gauss(0.0, noise_m_s), 0.0)
            self._report(now_us, then_us, speed, fix)

    def _antenna(self, way: Way) -> tuple[float, float]:
        spec = self._spec
        sine, cosine = math.sin(way.heading_rad), math.cos(way.heading_rad)
        return (way.east_m + spec.ahead_m * sine + spec.right_m * cosine,
                way.north_m + spec.ahead_m * cosine - spec.right_m * sine)

    def _report(self, now_us: int, then_us: int, speed_m_s: float, fix: bool) -> None:
        spec = self._spec
        east, north, heading = self._then(then_us)
        span_s = 1 / spec.hz
        shown = [true + spec.drift_m * drift.step(span_s) + self._jitter.gauss(0, spec.jitter_m)
                 for true, drift in zip((east, north), self._drift, strict=True)]
        latitude, longitude = self.origin.to_degrees(*shown)
        place = f"{angle(float(latitude), 2, 'NS')},{angle(float(longitude), 3, 'EW')}"
        quality = spec.quality if fix else 0
        course_deg = math.degrees(heading) + self._jitter.gauss(0, spec.course_deg)
        self._sent += gga(then_us / 1e6, place, quality)
        if self.bus:
            self.bus.report((float(latitude), float(longitude)) if quality else None, course_deg,
                            speed_m_s)
        self._sent += rmc(now_us / 1e6, place, speed_m_s, course_deg, MODES[quality])

    def _then(self, then_us: int) -> tuple[float, float, float]:
        """East, north and heading of the antenna at a moment, on the line between two samples."""
        before = self._past[0]
        after = self._past[min(1, len(self._past) - 1)]
        span_us = after[0] - before[0]
        share = min(max((then_us - before[0]) / span_us, 0.0), 1.0) if span_us else 0.0
        east, north, heading = (one + share * (other - one)
                                for one, other in zip(before[2:], after[2:], strict=True))
        return east, north, heading

    def any(self) -> int:
        """The number of bytes that wait."""
        return len(self._sent)

    def readinto(self, buffer: bytearray) -> int:
        """Fill a buffer as far as there are bytes; return how many."""
        length = min(len(buffer), len(self._sent))
        buffer[:length] = self._sent[:length]
        del self._sent[:length]
        return length
