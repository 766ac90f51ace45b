"""A GNSS receiver: true speed, delay and noise in, NMEA 0183 sentences out.

Layout of RMC and its checksum: see firmware/app/nmea.py, whose sources apply here too.
"""

from __future__ import annotations

import math
from collections import deque
from random import Random

from host_sim.plant.spec import GnssSpec

KNOT_M_S = 1852 / 3600
DAY_S = 86400


def rmc(time_s: float, speed_m_s: float, fix: bool) -> bytes:
    """The RMC sentence of a receiver that stands at a made-up place."""
    second = time_s % DAY_S
    clock = f"{second // 3600:02.0f}{second // 60 % 60:02.0f}{second % 60:05.2f}"
    status, mode = ("A", "A") if fix else ("V", "N")
    speed = f"{speed_m_s / KNOT_M_S:.3f}" if fix else ""
    body = f"GPRMC,{clock},{status},0000.000,N,00000.000,E,{speed},,010126,,,{mode}"
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}\r\n".encode()


class GnssReceiver:
    """Sends `spec.hz` reports a second of the speed that was `spec.delay_s` ago; no fix at 0 Hz.

    It is a stream to read from, with any() and readinto() as a UART has.
    """

    def __init__(self, spec: GnssSpec, seed: int, start_us: int) -> None:
        self._spec = spec
        self._rng = Random(f"gnss {seed}")
        self._past: deque[tuple[int, float]] = deque()
        self._due_us = start_us
        self._sent = bytearray()

    def step(self, now_us: int, speed_m_s: float, fix: bool, sway_m_s: float = 0.0) -> None:
        """Live until now_us, where the ground speed is speed_m_s and the antenna sways so much."""
        spec = self._spec
        if not spec.hz:
            return
        past = self._past
        past.append((now_us, speed_m_s))
        then_us = now_us - round(spec.delay_s * 1e6)
        while len(past) > 1 and past[1][0] <= then_us:
            past.popleft()
        if now_us >= self._due_us:
            self._due_us += round(1e6 / spec.hz)
            noise_m_s = math.hypot(spec.noise_m_s, sway_m_s) if sway_m_s else spec.noise_m_s
            speed = max(past[0][1] + self._rng.gauss(0.0, noise_m_s), 0.0)
            self._sent += rmc(now_us / 1e6, speed, fix)

    def any(self) -> int:
        """The number of bytes that wait."""
        return len(self._sent)

    def readinto(self, buffer: bytearray) -> int:
        """Fill a buffer as far as there are bytes; return how many."""
        length = min(len(buffer), len(self._sent))
        buffer[:length] = self._sent[:length]
        del self._sent[:length]
        return length
