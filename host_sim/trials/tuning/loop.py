"""The flow loop as control theory sees it: sampled, with its delays, from the learned settings.

python-control judges the margins. The loop is the firmware's: 50 ms between two looks, a PI on
what the model did not expect, its integral kept by the actuator.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import control
import numpy as np
from numpy.typing import NDArray

from rate_control.loop_gains import simc_gains
from rate_control.settings import Settings
from rate_control.units import ONE_Q16, ONE_Q20, PWM_PUMP, TICK_MS
from rate_control.valve_loop import valve_gain_q20

TICK_S = TICK_MS / 1000
GAIN_MARGIN_LEAST, PHASE_MARGIN_LEAST_DEG = 2.0, 45.0
POINTS = 4000

Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class LoopModel:
    """A machine of gain one behind its curve: delay, then a first-order lag."""

    delay_s: float
    lag_s: float

    def sampled(self) -> control.TransferFunction:
        """Exactly, with the input held for a tick: the delay is whole ticks and a part of one."""
        whole, part = divmod(self.delay_s / TICK_S, 1.0)
        left = math.exp(-TICK_S / self.lag_s)
        late = math.exp(-(1.0 - part) * TICK_S / self.lag_s)
        numerator = [1.0 - late, late - left]
        denominator = [1.0, -left] + [0.0] * (int(whole) + 1)
        return control.tf(numerator, denominator, TICK_S)


@dataclass(frozen=True)
class Gains:
    """Proportional gain, and integral gain a tick. A valve is itself the integrator: what it
    learns about its position is not multiplied by the proportional gain a second time.
    """

    proportional: float
    integral: float
    valve: bool = False

    def times(self, factor: float) -> Gains:
        """Brisker or slower by a factor."""
        return Gains(factor * self.proportional, factor * self.integral, self.valve)

    def sampled(self) -> control.TransferFunction:
        """From the flow that is missing to the correction of the flow."""
        if self.valve:
            return control.tf([self.integral], [1.0, -1.0], TICK_S)
        proportional = self.proportional
        return control.tf([proportional + self.integral, -proportional], [1.0, -1.0], TICK_S)


@dataclass(frozen=True)
class Margins:
    """How far a loop is from surging. `sensitivity` is the largest factor on a disturbance."""

    gain: float
    phase_deg: float
    sensitivity: float
    gain_rad_s: float  # where the phase is -180 degrees
    phase_rad_s: float  # where the gain is one

    @property
    def enough(self) -> bool:
        """Gain margin of 2 and phase margin of 45 degrees, the usual least."""
        return self.gain >= GAIN_MARGIN_LEAST and self.phase_deg >= PHASE_MARGIN_LEAST_DEG


def machine_of(settings: Settings) -> LoopModel:
    """What the step test learned."""
    return LoopModel(settings.loop_delay_ms / 1e3, settings.loop_lag_ms / 1e3)


def gains_of(settings: Settings) -> Gains:
    """What the firmware makes of it, rounding included."""
    kp_q16, ki_q20 = simc_gains(
        settings.loop_delay_ms, settings.loop_lag_ms, settings.settling_time_ms)
    valve = settings.actuator != PWM_PUMP
    if valve:
        ki_q20 = valve_gain_q20(
            settings.loop_delay_ms, settings.loop_lag_ms, settings.settling_time_ms)
    return Gains(kp_q16 / ONE_Q16, ki_q20 / ONE_Q20, valve)


def frequencies() -> NDArray[np.float64]:
    """From a cycle in minutes to the highest that a tick can see, rad/s."""
    return np.geomspace(0.01, math.pi / TICK_S * 0.999, POINTS)


def open_loop(machine: LoopModel, gains: Gains, omega_rad_s: NDArray[np.float64]) -> Complex:
    """The sampled loop, cut open."""
    loop = machine.sampled() * gains.sampled()
    response: Complex = loop(np.exp(1j * omega_rad_s * TICK_S))
    return response


def margins(omega_rad_s: NDArray[np.float64], response: Complex) -> Margins:
    """Of an open loop by its frequency response, as python-control finds them."""
    data = control.frd(response, omega_rad_s)
    gain, phase_deg, modulus, gain_rad_s, phase_rad_s, _ = control.stability_margins(data)
    return Margins(float(gain), float(phase_deg), 1.0 / float(modulus), float(gain_rad_s),
                   float(phase_rad_s))


def margins_of(settings: Settings) -> Margins:
    """Of the loop that these settings make."""
    omega = frequencies()
    return margins(omega, open_loop(machine_of(settings), gains_of(settings), omega))


def recovery(machine: LoopModel, gains: Gains, error: float, ticks: int) -> NDArray[np.float64]:
    """Flow over the wanted flow while the loop takes an error of the curve away.

    At time 0 the machine is at rest at `1 + error`, and the loop begins to learn.
    """
    plant = machine.sampled()
    closed = control.feedback(1.0, plant * gains.sampled())
    time_s = np.arange(ticks) * TICK_S
    left = control.forced_response(closed, time_s, np.full(ticks, error)).outputs
    return np.asarray(1.0 + left)
