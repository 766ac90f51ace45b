"""How much is left in the tank, by what has passed the meter since it was filled.

Nobody measures it: a person says what was filled in, the controller counts what it applied. The
firmware has no such figure; this one is the panel's, made of nothing but the controller's totals.
"""

from __future__ import annotations

LOW_SHARE = 0.1  # of what was filled in; then there is time to think of the next load


class TankCount:
    """Counts down from what was filled in. `count` takes the controller's volume of the job."""

    def __init__(self, filled_l: float) -> None:
        self.fill(filled_l)
        self._volume_ml = 0

    def fill(self, level_l: float) -> None:
        """A person has brought the tank to this level."""
        self._filled_l = self.left_l = level_l

    def count(self, volume_ml: int) -> None:
        """What the controller counts now; less than before where a new job was begun."""
        since_ml = volume_ml - self._volume_ml if volume_ml >= self._volume_ml else volume_ml
        self._volume_ml = volume_ml
        self.left_l = max(self.left_l - since_ml / 1e3, 0.0)

    @property
    def is_low(self) -> bool:
        """Whether it is near empty by this count."""
        return self.left_l <= LOW_SHARE * self._filled_l
