"""Reads the keys of one TOML table with their kinds checked, and collects what is wrong."""

from __future__ import annotations

import difflib
import math
from typing import Any

from host_sim.common.reading import Where
from host_sim.common.toml_source import TomlSource


class TomlTable:
    """One table of a file. Each method takes a key; `finish` refuses the keys left over.

    Problems go to the `problems` list, shared by all tables of a file, and the method returns
    None in place of the value: a person sees all that is wrong at once.
    """

    def __init__(self, source: TomlSource, where: Where, data: Any, problems: list[str]) -> None:
        self.where = where
        self._source = source
        self._problems = problems
        self._known: set[str] = set()
        if not isinstance(data, dict):
            self.refuse("", "must be a table")
            data = {}
        self._data: dict[str, Any] = data

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def refuse(self, key: str, message: str) -> None:
        """Note a problem with a key of this table, or with the table where key is empty."""
        self.refuse_at((key,) if key else (), message)

    def refuse_at(self, place: Where, message: str) -> None:
        """Note a problem at a place below this table."""
        self._problems.append(self._source.problem(self.where + place, message))

    def values(self) -> dict[str, Any]:
        """All keys and values, for a reader with a check of its own; none is left over."""
        self._known.update(self._data)
        return dict(self._data)

    def any(self, key: str, default: Any = None) -> Any:
        """The value whatever it is."""
        self._known.add(key)
        return self._data.get(key, default)

    def text(self, key: str, default: str | None = None) -> str | None:
        """A text; without a default the key must be there."""
        value = self.any(key, default)
        if value is None:
            self.refuse(key, "is missing")
        elif not isinstance(value, str):
            self.refuse(key, f"must be a text in quotes, is {value!r}")
        else:
            return value
        return None

    def choice(self, key: str, choices: tuple[str, ...]) -> str | None:
        """One of a few words, where the key is there."""
        value = self.any(key)
        if value is None or value in choices:
            return value
        self.refuse(key, f"must be {' or '.join(choices)}, is {value!r}")
        return None

    def flag(self, key: str) -> bool | None:
        """True or false, where the key is there."""
        value = self.any(key)
        if value is None or isinstance(value, bool):
            return value
        self.refuse(key, f"must be true or false, is {value!r}")
        return None

    def number(self, key: str, low: float = 0.0) -> float | None:
        """A finite number not below `low`, where the key is there."""
        value = self.any(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(key, f"must be a number, is {value!r}")
        elif not math.isfinite(value) or value < low:
            self.refuse(key, f"must be at least {low:g}, is {value}")
        else:
            return float(value)
        return None

    def whole(self, key: str, low: int, high: int, default: int | None = None) -> int | None:
        """A whole number from low to high, where the key is there."""
        value = self.any(key, default)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.refuse(key, f"must be a whole number from {low} to {high}, is {value!r}")
            return None
        return value

    def finish(self) -> None:
        """Refuse the keys that nobody asked for."""
        for key in self._data:
            if key not in self._known:
                close = difflib.get_close_matches(key, self._known, n=1)
                hint = f"; did you mean {close[0]}?" if close else ""
                self.refuse(key, f"there is no such key here{hint}")
