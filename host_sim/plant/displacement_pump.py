"""What pumps have in common that give so much liquid a turn."""

from __future__ import annotations

from host_sim.plant.pump_spec import ElectricPumpSpec, HydraulicPumpSpec
from host_sim.plant.ripple import MOST_SHARE, Ripple, ideal_share


class DisplacementPump:
    """Delivers what its shaft displaces less a leak, in chambers whose flow swings.

    A kind of pump says in step() how its shaft turns, and sets the delivery at no manifold
    pressure and its slope.
    """

    __slots__ = ("_flow_m3_s", "_ripple", "_slope", "_spec", "main_resistance", "speed_rad_s")

    curved = False

    def __init__(self, spec: ElectricPumpSpec | HydraulicPumpSpec) -> None:
        self._spec = spec
        self.ripple(ideal=False)
        self._flow_m3_s = 0.0  # delivery at no manifold pressure
        self._slope = 0.0
        self.speed_rad_s = 0.0
        self.main_resistance = 0.0  # of the hose to the manifold, dP / Q^2

    def ripple(self, ideal: bool) -> None:
        """Let the flow swing from now on: as in the spec, or at least as ideal chambers make it."""
        spec = self._spec
        least = min(ideal_share(spec.chambers), MOST_SHARE) if ideal else 0.0
        self._ripple = Ripple(max(spec.ripple_share, least), spec.chambers)

    def line(self, pressure_pa: float) -> tuple[float, float]:
        """Delivery `a - b P`."""
        return self._flow_m3_s, self._slope

    def main_flow_m3_s(self, pressure_pa: float) -> float:
        """Through the main hose."""
        return self._flow_m3_s - self._slope * pressure_pa
