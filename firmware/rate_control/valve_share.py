"""How a part of the width moves the pump curve of the two regulating valves; see width_share.py."""

from rate_control.intmath import isqrt, muldiv
from rate_control.units import FLOW_MAX_UL_S, ONE_Q12

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings


class ValveShare:
    """What both regulating valves have in common: no extra demand, one flow learned."""

    def __init__(self, settings: "Settings") -> None:
        self.total_mm = settings.total_width_mm()
        self.plain_mm = 0  # at any width there is no extra demand
        self._flow_ul_s = max(settings.curve_share_ul_s, 1)

    def extra_u16(self, flow_ul_s: int, width_mm: int) -> int:
        """Return 0: whole() says it all."""
        return 0


class InlineShare(ValveShare):
    """A valve in line behind a steady pressure: 1/Kv**2 = P0/Q**2 - 1/(r Kn)**2.

    The same opening with all sections on: 1/Q1**2 = 1/Q**2 - (1/r**2 - 1)/Qm**2, where Qm, the
    learned number, is the flow of all sections without the valve.
    """

    def __init__(self, settings: "Settings") -> None:
        super().__init__(settings)
        self._width_mm = -1  # that _wider_q12 is for: it changes far less often than the flow
        self._wider_q12 = 0

    def _over(self, flow_ul_s: int, width_mm: int) -> int:
        """Return (Q/Qm)**2 (1/r**2 - 1) in 1/4096, at most 63."""
        if width_mm != self._width_mm:
            self._take_width(width_mm)
        part = min(muldiv(flow_ul_s, ONE_Q12, self._flow_ul_s), ONE_Q12)
        return min(muldiv(part * part >> 12, self._wider_q12, ONE_Q12), 63 * ONE_Q12 - 1)

    def _take_width(self, width_mm: int) -> None:
        """Reckon 1/r**2 - 1 for another open width."""
        inverse_q8 = min(muldiv(self.total_mm, 256, max(width_mm, 1)), 8191)
        self._wider_q12 = max((inverse_q8 * inverse_q8 >> 4) - ONE_Q12, 0)
        self._width_mm = width_mm

    def whole(self, flow_ul_s: int, width_mm: int) -> int:
        """Return Q1; where no opening gives this flow, the highest flow."""
        left = ONE_Q12 - self._over(flow_ul_s, width_mm)
        if left <= ONE_Q12 >> 4:
            return FLOW_MAX_UL_S
        return min(muldiv(flow_ul_s, ONE_Q12, isqrt(left << 12)), FLOW_MAX_UL_S)

    def narrow(self, flow_ul_s: int, width_mm: int) -> int:
        """Return Q for Q1."""
        return muldiv(flow_ul_s, ONE_Q12, isqrt((ONE_Q12 + self._over(flow_ul_s, width_mm)) << 12))


class BypassShare(ValveShare):
    """A valve that lets the rest of the flow back to the tank: Qp/Q1 = 1 + r (Qp/Q - 1).

    Qp, the learned number, is the flow of the pump; with a very large one the law is that of a
    steady pressure, Q1 = Q/r.
    """

    def whole(self, flow_ul_s: int, width_mm: int) -> int:
        """Return Q1 = Qp Q / (Q + r (Qp - Q))."""
        pumped = self._flow_ul_s
        if flow_ul_s >= pumped:
            return min(pumped, FLOW_MAX_UL_S)
        whole = muldiv(pumped, flow_ul_s,
                       flow_ul_s + muldiv(pumped - flow_ul_s, width_mm, self.total_mm) or 1)
        return whole if whole < FLOW_MAX_UL_S else FLOW_MAX_UL_S

    def narrow(self, flow_ul_s: int, width_mm: int) -> int:
        """Return Q = Qp r Q1 / (r Q1 + Qp - Q1)."""
        rest = max(self._flow_ul_s - flow_ul_s, 0)
        part = muldiv(flow_ul_s, width_mm, self.total_mm)
        return muldiv(self._flow_ul_s, part, max(part + rest, 1))
