"""A supply that is not what it was when the pump curve was taken, or that moves during a test.

Where the board measures it, the demand is made good for it, as it is at work. That leaves what
comes and goes with another consumer within a step: a machine follows its supply later than the
demand can. So it is also told how far the supply moved.
"""

from rate_control.intmath import clamp, muldiv
from rate_control.units import DUTY_FULL

NEAR_SHIFT = 5  # a thirty-second either way is what the pump's own current takes from a battery
MEAN_SHIFT = 3  # noise is not looked at
MOVED_SHIFT = 4  # a sixteenth is more than the steps themselves do
MOVED = "the supply moved: step again at an even one"


class UnevenSupply:
    """Follows the supply from tick to tick; 0 mV is one that nobody measures."""

    def __init__(self, curve_mv: int) -> None:
        """curve_mv: the supply that the pump curve was taken at, 0 where that does not matter."""
        self._curve_mv = curve_mv
        self._supply_mv = self._mean_mv = self._low_mv = self._high_mv = 0

    def follow(self, supply_mv: int, matters: int) -> None:
        """Take a tick; whether it matters yet how far the supply moves."""
        self._supply_mv = supply_mv
        if not matters:
            self._mean_mv = self._low_mv = self._high_mv = supply_mv
        mean_mv = self._mean_mv + (supply_mv - self._mean_mv >> MEAN_SHIFT)
        self._mean_mv = mean_mv
        self._low_mv = min(self._low_mv, mean_mv)
        self._high_mv = max(self._high_mv, mean_mv)

    def made_good_u16(self, demand_u16: int) -> int:
        """Return the demand that does now what demand_u16 does at the curve's supply."""
        curve_mv = self._curve_mv
        supply_mv = self._supply_mv
        if not (curve_mv and supply_mv):
            return demand_u16
        near_mv = curve_mv >> NEAR_SHIFT
        like_mv = clamp(supply_mv, curve_mv - near_mv, curve_mv + near_mv)
        return min(muldiv(demand_u16, like_mv, supply_mv), DUTY_FULL)

    def moved_mv(self) -> int:
        """Return by how much the supply of a pump moved, 0 for what is no matter."""
        moved_mv = self._high_mv - self._low_mv
        return moved_mv if self._curve_mv and moved_mv > self._high_mv >> MOVED_SHIFT else 0
