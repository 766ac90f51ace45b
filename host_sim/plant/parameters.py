"""What a parameter is: a default, a unit, a note on its source, limits and a spread.

A part of a machine is a frozen dataclass whose fields are made by `number`, `whole`,
`choice` or `per_section`; the unit, SI, is the end of a field's name. That one row per
parameter drives validation, reading from a plain table and drawing a random build. Errors
are ValueErrors that start with `table.parameter:`.
"""

from __future__ import annotations

import dataclasses
import difflib
import math
from collections.abc import Mapping
from random import Random
from typing import Any, ClassVar, Protocol, Self

from host_sim.plant.units import trade_names, typed, unit_of


class Spread(Protocol):
    """How a parameter differs between builds of the same machine."""

    def draw(self, value: float, rng: Random) -> float: ...


@dataclasses.dataclass(frozen=True, slots=True)
class Within:
    """Uniform between two absolute values."""

    low: float
    high: float

    def draw(self, value: float, rng: Random) -> float:
        return rng.uniform(self.low, self.high)

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g}"


@dataclasses.dataclass(frozen=True, slots=True)
class WithinLog:
    """Uniform in the logarithm between two absolute values: for ranges of a decade and more."""

    low: float
    high: float

    def draw(self, value: float, rng: Random) -> float:
        return math.exp(rng.uniform(math.log(self.low), math.log(self.high)))

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g}, logarithmic"


@dataclasses.dataclass(frozen=True, slots=True)
class Percent:
    """Uniform within plus or minus so many percent of the kind's own value."""

    percent: float

    def draw(self, value: float, rng: Random) -> float:
        return value * (1.0 + rng.uniform(-self.percent, self.percent) / 100.0)

    def __str__(self) -> str:
        return f"+-{self.percent:g} %"


@dataclasses.dataclass(frozen=True, slots=True)
class Times:
    """Uniform in the logarithm between the kind's own value divided and multiplied by `factor`."""

    factor: float

    def draw(self, value: float, rng: Random) -> float:
        return value * math.exp(rng.uniform(-1.0, 1.0) * math.log(self.factor))

    def __str__(self) -> str:
        return f"1/{self.factor:g} to {self.factor:g} times"


@dataclasses.dataclass(frozen=True, slots=True)
class ParameterRow:
    """One parameter's limits and note."""

    shape: str  # "number", "whole" or "choice"
    note: str
    low: float = -math.inf
    high: float = math.inf
    spread: Spread | None = None
    choices: tuple[str, ...] = ()
    many: bool = False  # one for each section

    def check(self, value: Any, factor: float = 1.0) -> None:
        """Raise ValueError saying what is wrong with the value, without its name.

        The message speaks in the unit that was given, `factor` SI units large.
        """
        if self.shape == "choice":
            if value not in self.choices:
                raise ValueError(f"must be one of {', '.join(self.choices)}, got {value!r}")
            return
        items = value if self.many else (value,)
        if not isinstance(items, tuple) or not items:
            raise ValueError(f"must be a list with one number per section, got {value!r}")
        for item in items:
            self._check_number(item, factor)

    def _check_number(self, item: Any, factor: float) -> None:
        kind = int if self.shape == "whole" else (int, float)
        if isinstance(item, bool) or not isinstance(item, kind):
            raise ValueError(f"must be a {self.shape}{' number' * (kind is int)}, got {item!r}")
        if not self.low <= item <= self.high:
            low, high, got = self.low / factor, self.high / factor, item / factor
            raise ValueError(f"must be between {low:g} and {high:g}, got {got:g}")


def number(
    default: float, note: str, low: float, high: float, spread: Spread | None = None
) -> Any:
    """A real parameter; its unit is the end of its name."""
    return dataclasses.field(
        default=default, metadata={"row": ParameterRow("number", note, low, high, spread)}
    )


def whole(default: int, note: str, low: int, high: int) -> Any:
    """A count."""
    row = ParameterRow("whole", note, low, high)
    return dataclasses.field(default=default, metadata={"row": row})


def choice(default: str, note: str, *choices: str) -> Any:
    """One of a few words."""
    row = ParameterRow("choice", note, choices=choices)
    return dataclasses.field(default=default, metadata={"row": row})


def per_section(
    default: tuple[float, ...],
    note: str,
    low: float,
    high: float,
    spread: Spread | None = None,
    shape: str = "number",
) -> Any:
    """One number for each section; where a part allows it, a single one stands for all."""
    row = ParameterRow(shape, note, low, high, spread, many=True)
    return dataclasses.field(default=default, metadata={"row": row})


@dataclasses.dataclass(frozen=True, slots=True)
class ParameterTable:
    """Base of every part's parameters: checked when made, so that a bad one cannot exist."""

    TABLE: ClassVar[str] = ""

    def __post_init__(self) -> None:
        for name, row in rows(type(self)).items():
            self._check(name, row, getattr(self, name))

    def _check(self, given: str, row: ParameterRow, value: Any, factor: float = 1.0) -> None:
        try:
            row.check(value, factor)
        except ValueError as error:
            raise ValueError(f"{self.TABLE}.{given}: {error}") from None

    def override(self, values: Mapping[str, Any]) -> Self:
        """A copy with the named parameters changed.

        Either the name ends in a unit, SI or of the trade, and the value is a number
        (`relief_bar = 4`), or the value is a text that ends in one (`relief = "4 bar"`).
        """
        if not isinstance(values, Mapping):
            raise ValueError(f"{self.TABLE}: must be a table of parameters, got {values!r}")
        known = rows(type(self))
        changes: dict[str, Any] = {}
        for given, value in values.items():
            name, factor, value = self._meant(given, value)
            if name in changes:
                raise ValueError(f"{self.TABLE}.{given}: the same parameter is given twice")
            value = _convert(value, factor)
            lone = known[name].many and not isinstance(value, tuple)
            changes[name] = (value,) if lone else value
            self._check(given, known[name], changes[name], factor)
        return dataclasses.replace(self, **changes)

    def field_named(self, given: str, value: Any) -> str:
        """The parameter that a name and what it is given mean, see `override`. ValueError."""
        return self._meant(given, value)[0]

    def _meant(self, given: str, value: Any) -> tuple[str, float, Any]:
        """The field, the factor to its unit, and the number, of a name and what it is given."""
        own = rows(type(self)).get(given)
        items = value if isinstance(value, list | tuple) else [value]
        if (own and own.shape == "choice") or not any(isinstance(item, str) for item in items):
            return *self._resolve(given), value
        try:
            suffix, factor, numbers = typed(items)
        except ValueError as error:
            raise ValueError(f"{self.TABLE}.{given}: {error}") from None
        try:
            name, own_factor = self._resolve(given + suffix)
        except ValueError:
            name, _ = self._resolve(self._named(given))
            raise ValueError(f"{self.TABLE}.{given}: has another unit than {items[0]}; "
                             f"its own name is {name}") from None
        return name, factor * own_factor, numbers if isinstance(value, list) else numbers[0]

    def _named(self, given: str) -> str:
        """A parameter by its name without the unit, or the given name where there is none."""
        known = rows(type(self))
        return next((name for name in known if name.removesuffix(unit_of(name)) == given), given)

    def _resolve(self, given: str) -> tuple[str, float]:
        """The field that a given name means, and the factor to its unit."""
        known = rows(type(self))
        if given in known:
            return given, 1.0
        for name in known:
            factor = trade_names(name).get(given)
            if factor is not None:
                return name, factor
        names = [*known, *(name.removesuffix(unit_of(name)) for name in known)]
        close = difflib.get_close_matches(given, names, n=1)
        hint = f"; did you mean {close[0]}?" if close else ""
        raise ValueError(f"{self.TABLE}.{given}: there is no such parameter{hint}")


def rows(table: type[ParameterTable]) -> dict[str, ParameterRow]:
    """The parameters of a part, in order."""
    return {f.name: f.metadata["row"] for f in dataclasses.fields(table) if "row" in f.metadata}


def _convert(value: Any, factor: float) -> Any:
    """A list becomes a tuple; numbers are scaled; anything else is left for the check to refuse."""
    if isinstance(value, list | tuple):
        return tuple(_convert(item, factor) for item in value)
    if factor == 1.0 or isinstance(value, bool) or not isinstance(value, int | float):
        return value
    return value * factor
