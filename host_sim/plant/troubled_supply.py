"""A delivery with something in its way: a suction that gives no more, a line that leaks back."""

from __future__ import annotations

from host_sim.plant.manifold import Supply


class TroubledSupply:
    """`source`, but at most `most_m3_s` of it, less `back_m3_s_pa` of the manifold's pressure.

    Beyond the limit of its suction a pump draws vapour: the flow stays where it is, however
    fast it turns.
    """

    __slots__ = ("_back_m3_s_pa", "_most_m3_s", "_source", "curved")

    def __init__(self, source: Supply, most_m3_s: float, back_m3_s_pa: float) -> None:
        """`most_m3_s` 0 is no limit."""
        self._source = source
        self._most_m3_s = most_m3_s
        self._back_m3_s_pa = back_m3_s_pa
        self.curved = source.curved or most_m3_s > 0.0

    def line(self, pressure_pa: float) -> tuple[float, float]:
        """Tangent (a, b) of the delivery at a pressure: a - b P, m3/s."""
        flow, slope = self._source.line(pressure_pa)
        if 0.0 < self._most_m3_s < flow - slope * pressure_pa:
            flow, slope = self._most_m3_s, 0.0
        return flow, slope + self._back_m3_s_pa
