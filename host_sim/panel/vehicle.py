"""How fast the machine goes: by throttle, at a set speed, or along a recorded drive."""

from __future__ import annotations

from host_sim.twin.speed_trace import SpeedTrace

TOP_SPEED_M_S = 6.0
LAG_S = 2.0  # engine and mass together; common practice, no source
SET_M_S2 = 2.0  # towards a set speed: brisk for a machine with a full tank; no source
STANDSTILL_M_S = 0.05  # slower than this it stands
THROTTLE, SET_SPEED, RECORDED = "throttle", "set speed", "recorded"


class Vehicle:
    """Gives the true ground speed, step by step.

    The throttle, 0 to 1, is followed with a lag, a set speed with the acceleration of a machine;
    the recorded drive begins anew where it ends.
    """

    def __init__(self, trace: SpeedTrace | None) -> None:
        self.mode = THROTTLE
        self.throttle = 0.0
        self.set_speed_m_s = 0.0
        self.speed_m_s = 0.0
        self._along_s = 0.0
        self._trace = trace

    @property
    def has_recording(self) -> bool:
        return self._trace is not None

    def by_throttle(self, throttle: float) -> None:
        """Follow this throttle from now on."""
        self.mode, self.throttle = THROTTLE, throttle

    def nudge(self, by: float) -> None:
        """Give so much more throttle, or less; it begins at none after another way to drive."""
        now = self.throttle if self.mode == THROTTLE else 0.0
        self.by_throttle(round(min(max(now + by, 0.0), 1.0), 2))

    def at_speed(self, speed_m_s: float) -> None:
        """Go at this speed from now on."""
        self.mode, self.set_speed_m_s = SET_SPEED, speed_m_s

    def recorded(self) -> None:
        """Follow the recorded drive from its beginning."""
        self.mode, self._along_s = RECORDED, 0.0

    def advance(self, step_s: float) -> float:
        """Live for step_s; returns the speed at its end."""
        if self.mode == RECORDED and self._trace is not None:
            self._along_s = (self._along_s + step_s) % self._trace.duration_s
            self.speed_m_s = self._trace.at(self._along_s)
        elif self.mode == SET_SPEED:
            most = SET_M_S2 * step_s
            self.speed_m_s += min(max(self.set_speed_m_s - self.speed_m_s, -most), most)
        else:
            wanted = self.throttle * TOP_SPEED_M_S
            self.speed_m_s += (wanted - self.speed_m_s) * min(step_s / LAG_S, 1.0)
            if not wanted and self.speed_m_s < STANDSTILL_M_S:
                self.speed_m_s = 0.0
        return self.speed_m_s
