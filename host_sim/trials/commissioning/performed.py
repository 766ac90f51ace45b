"""A procedure that was run to its end, wherever that was: on the twin or on a board."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from rate_control.settings import Settings

Tell = Callable[[float], None]


class BenchError(Exception):
    """A procedure or a setting was refused, or a procedure failed; the text is its reason."""


@dataclass(frozen=True)
class Performed:
    """What it proposed (settings by name) and measured, and what happened in every tick.

    facts are rows of name, value and quantity (see app/units_text.py), as the device shows them.
    """

    name: str
    proposal: dict[str, Any]
    facts: Sequence[Sequence[Any]]
    demand_u16: Sequence[int]
    flow_ul_s: Sequence[int]

    def fact(self, name: str) -> Any:
        """The value of a fact, None where there is no such fact."""
        return next((row[1] for row in self.facts if row[0] == name), None)


class Performer(Protocol):
    """Something that runs procedures and keeps what they propose."""

    @property
    def settings(self) -> Settings: ...

    def perform(self, name: str, parameters: dict[str, int], tell: Tell) -> Performed:
        """Raises BenchError with the reason where the procedure is refused or fails."""
