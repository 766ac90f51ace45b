"""Integers that refuse what a 32-bit MicroPython could not hold without its heap."""

from typing import Any

LIMIT = 2**30 - 1


class SmallInt(int):
    """An int that raises as soon as a result would need the heap of a 32-bit MicroPython."""


def _checked(name: str) -> Any:
    plain = getattr(int, name)

    def method(self: Any, *others: Any) -> Any:
        result = plain(self, *others)
        if result is NotImplemented or isinstance(result, bool):
            return result
        assert -LIMIT - 1 <= result <= LIMIT, f"{name}{(int(self), *map(int, others))} = {result}"
        return SmallInt(result)

    return method


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or", "xor"):
    setattr(SmallInt, f"__{_name}__", _checked(f"__{_name}__"))
    setattr(SmallInt, f"__r{_name}__", _checked(f"__r{_name}__"))
SmallInt.__neg__ = _checked("__neg__")  # type: ignore[method-assign]


def harden(thing: Any, seen: set[int] | None = None) -> Any:
    """Return thing with every int in it, through lists and objects' attributes, a SmallInt."""
    seen = set() if seen is None else seen
    if isinstance(thing, int) and not isinstance(thing, bool):
        return SmallInt(thing)
    if id(thing) in seen:
        return thing
    seen.add(id(thing))
    if isinstance(thing, list):
        thing[:] = [harden(item, seen) for item in thing]
    elif isinstance(thing, tuple):
        return tuple(harden(item, seen) for item in thing)
    elif hasattr(thing, "__dict__") and not isinstance(thing, type):
        for name, value in vars(thing).items():
            setattr(thing, name, harden(value, seen))
    return thing
