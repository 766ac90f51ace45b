"""Whole numbers and their ranges: the one check of what comes from a person, a line or a store."""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import TypeGuard


def is_whole(value: object) -> "TypeGuard[int]":
    """Return whether a value is a whole number; true and false are none."""
    return isinstance(value, int) and not isinstance(value, bool)


def out_of_range(value: object, low: int, high: int, unit: str = "") -> str:
    """Return what is wrong with a value that must be a whole number from low to high, or ""."""
    if not is_whole(value):
        return "must be a whole number"
    if low <= value <= high:
        return ""
    return "must be %d to %d%s, is %d" % (low, high, " " + unit if unit else "", value)
