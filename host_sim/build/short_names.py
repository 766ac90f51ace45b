"""Short names that several can share, for those of which no two are seen in one place."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TypeVar

Named = TypeVar("Named", str, tuple[str, str])


def short_names(places: Mapping[Named, Collection[str]], pattern: str,
                taken: Collection[str] = ()) -> dict[Named, str]:
    """A short name for each, by pattern with a number; the same for two that share no place.

    `places` are where each is seen; names in `taken` are not given.
    """
    numbers: dict[str, set[int]] = {}
    short = {}
    for name in sorted(places, key=lambda name: (-len(places[name]), name)):
        number = 0
        while pattern % number in taken or any(
                number in numbers.setdefault(place, set()) for place in places[name]):
            number += 1
        for place in places[name]:
            numbers.setdefault(place, set()).add(number)
        short[name] = pattern % number
    return short
