"""What people have done to the machine itself: broken parts, worn outlets, the field, the tank."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.trouble import TROUBLES
from host_sim.twin.disturbances import set_field

_TROUBLES = {trouble.name: trouble for trouble in TROUBLES}


class Breakage:
    """Does the commands that change the machine; `do` has them by name."""

    def __init__(self, twin: LiveTwin) -> None:
        self.broken: set[str] = set()
        self.outlets = [1.0] * twin.cells.section_count
        self._twin = twin
        self.do: dict[str, Callable[..., Any]] = {
            "trouble": self._break,
            "field": self._field,
            "outlets": self._wear,
            "tank": lambda litres: setattr(twin, "tank_l", litres),
        }

    def _break(self, name: str, on: bool) -> None:
        _TROUBLES[name].set(self._twin, on)
        self.broken = self.broken | {name} if on else self.broken - {name}
        self._field(self._twin.field)

    def _field(self, name: str) -> None:
        """Let this field act, and what is broken on top of it: both can bring air."""
        self._twin.field = name
        set_field(self._twin.faults, name)
        for broken in self.broken:
            _TROUBLES[broken].set(self._twin, True)

    def _wear(self, section: int, factor: float) -> None:
        self.outlets[section] = self._twin.faults.orifice_factor[section] = factor
