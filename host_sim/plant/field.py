"""What the field does to a machine: rough ground, slip, an eccentric wheel, an uneasy supply.

Every process has a generator of its own, seeded by its name and the machine's seed, so that one
that is switched on leaves the others as they are. All hold their deviation and their correlation
time whatever the interval between two calls.
"""

from __future__ import annotations

import math
from random import Random

from host_sim.plant.faults import PlantFaults

ROUGH_S = 1.6  # correlation time of the true speed: between bands as measured, see disturbances
SLOW_BAND_HZ = 0.5  # a recorded drive has what lies below
SLIP_S = 2.0
BURST_SHARES = 0.05, 0.15
BURST_S = 0.5, 2.0
WHEEL_TURN_M = 2.0
RADAR_S = 0.2
SUPPLY_S = 0.1
SAG_ON_S, SAG_OFF_S = 4.0, 16.0  # means
CAVITATION_S, CAVITATION_SHARE = 0.05, 0.1


class Wander:
    """A first-order Gauss-Markov process of deviation 1."""

    __slots__ = ("_keep", "_fresh", "_lasting_s", "_rng", "_span_s", "value")

    def __init__(self, name: str, seed: int, lasting_s: float) -> None:
        """`lasting_s` is the correlation time."""
        self._rng = Random(f"{name} {seed}")
        self._lasting_s = lasting_s
        self._span_s = self._keep = self._fresh = 0.0
        self.value = self._rng.gauss(0.0, 1.0)

    def step(self, span_s: float) -> float:
        """The value `span_s` later."""
        if span_s != self._span_s:
            self._span_s = span_s
            self._keep = math.exp(-span_s / self._lasting_s)
            self._fresh = math.sqrt(1.0 - self._keep * self._keep)
        self.value = self._keep * self.value + self._rng.gauss(0.0, self._fresh)
        return self.value


class FastPart:
    """What of a signal lies above a frequency: a Butterworth high pass of the fourth order.

    Two state-variable filters of the second order in a row, integrated by trapezoids, which are
    stable for any interval; at the frequency itself 3 dB are gone.
    """

    __slots__ = ("_above_hz", "_first", "_second")

    DAMPING = 2.0 * math.sin(math.pi / 8.0), 2.0 * math.cos(math.pi / 8.0)

    def __init__(self, above_hz: float) -> None:
        self._above_hz = above_hz
        self._first, self._second = [0.0, 0.0], [0.0, 0.0]

    def step(self, value: float, span_s: float) -> float:
        """The fast part of a signal that has come to `value` after `span_s`."""
        warped = math.tan(math.pi * self._above_hz * span_s)
        value = _high(value, warped, self.DAMPING[0], self._first)
        return _high(value, warped, self.DAMPING[1], self._second)


def _high(value: float, warped: float, damping: float, state: list[float]) -> float:
    """One high pass of the second order; `state` are its two integrators."""
    share = 1.0 / (1.0 + warped * (warped + damping))
    rest = value - state[1]
    band = share * (state[0] + warped * rest)
    low = state[1] + warped * band
    state[0] = 2.0 * band - state[0]
    state[1] = 2.0 * low - state[1]
    return value - damping * band - low


class Field:
    """Everything random around one machine, as far as its `faults` have it act."""

    __slots__ = ("_bursts", "_burst_s", "_burst_share", "_cavitation", "_faults", "_radar",
                 "_rough", "_rough_fast", "_sag_rng", "_sagging", "_slip", "_supply", "_turned_m",
                 "recorded")

    def __init__(self, faults: PlantFaults, seed: int) -> None:
        self._faults = faults
        self.recorded = False  # the speed that is asked for has its slow band already
        self._rough = Wander("rough ground", seed, ROUGH_S)
        self._rough_fast = FastPart(SLOW_BAND_HZ)
        self._slip = Wander("slip", seed, SLIP_S)
        self._turned_m = 0.0  # of the wheel's rim: a wheel that slips turns further
        self._bursts = Random(f"bursts of slip {seed}")
        self._burst_s = self._burst_share = 0.0
        self._radar = Wander("radar", seed, RADAR_S)
        self._supply = Wander("supply", seed, SUPPLY_S)
        self._sag_rng = Random(f"sag {seed}")
        self._sagging = False
        self._cavitation = Wander("cavitation", seed, CAVITATION_S)

    def true_m_s(self, asked_m_s: float, span_s: float) -> float:
        """How fast the machine really goes over this ground."""
        share = self._faults.rough_share
        if share <= 0.0:
            return asked_m_s
        deviation = self._rough.step(span_s)
        fast = self._rough_fast.step(deviation, span_s)
        return max(asked_m_s * (1.0 + share * (fast if self.recorded else deviation)), 0.0)

    def sensed_m_s(self, true_m_s: float, span_s: float) -> float:
        """What the speed sensor has to count: slip, the wheel, the radar's noise."""
        faults = self._faults
        turned = true_m_s * (1.0 + faults.slip_share)
        if faults.slip_wander_share > 0.0:
            turned *= 1.0 + faults.slip_wander_share * self._slip.step(span_s)
        if faults.slip_bursts_min > 0.0:
            turned *= 1.0 + self._burst(span_s)
        if faults.eccentric_share > 0.0:
            angle = 2.0 * math.pi * self._turned_m / WHEEL_TURN_M
            turned /= 1.0 - faults.eccentric_share * math.sin(angle)  # the radius on the ground
        self._turned_m += turned * span_s
        if faults.radar_m_s > 0.0 and true_m_s > 0.0:
            turned = max(turned + faults.radar_m_s * self._radar.step(span_s), 0.0)
        return turned

    def _burst(self, span_s: float) -> float:
        """Slip of a burst that goes on or has just begun; 0 between bursts."""
        rng = self._bursts
        if self._burst_s > 0.0:
            self._burst_s -= span_s
        elif rng.random() < self._faults.slip_bursts_min / 60.0 * span_s:
            self._burst_s = rng.uniform(*BURST_S)
            self._burst_share = rng.uniform(*BURST_SHARES)
        return self._burst_share if self._burst_s > 0.0 else 0.0

    def supply_v(self, open_v: float, span_s: float) -> float:
        """The supply at no load, from what it would be in peace."""
        faults = self._faults
        if faults.supply_sag_v > 0.0:
            mean_s = SAG_ON_S if self._sagging else SAG_OFF_S
            if self._sag_rng.random() < span_s / mean_s:
                self._sagging = not self._sagging
            if self._sagging:
                open_v -= faults.supply_sag_v
        if faults.supply_noise_v > 0.0:
            open_v += faults.supply_noise_v * self._supply.step(span_s)
        return max(open_v, 0.0)

    def suction_m3_s(self, span_s: float) -> float:
        """The most that comes through the suction: it is ragged where the pump cavitates."""
        ragged = CAVITATION_SHARE * abs(self._cavitation.step(span_s))
        return self._faults.suction_m3_s * max(1.0 - ragged, 0.0)
