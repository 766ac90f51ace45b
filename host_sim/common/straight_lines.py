"""A course that is known at some points and straight between them."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence


def value_at(place: float, places: Sequence[float], values: Sequence[float]) -> float:
    """The value at a place, linear between the known ones; beyond the ends that of the end.

    `places` rise, and there is a value for each.
    """
    after = bisect_right(places, place)
    if after in (0, len(places)):
        return values[min(after, len(places) - 1)]
    before = after - 1
    slope = (values[after] - values[before]) / (places[after] - places[before])
    return slope * (place - places[before]) + values[before]
