"""Whole numbers and their ranges: the one check of what comes from a person, a line or a store."""


def is_whole(value: object) -> bool:
    """Return whether a value is a whole number; true and false are none."""
    return isinstance(value, int) and not isinstance(value, bool)


def out_of_range(value, low: int, high: int, unit: str = "") -> str:
    """Return what is wrong with a value that must be a whole number from low to high, or ""."""
    if not is_whole(value):
        return "must be a whole number"
    if low <= value <= high:
        return ""
    return "must be %d to %d%s, is %d" % (low, high, " " + unit if unit else "", value)
