"""What the controller knows and does, as it tells over the link; the twin's and a board's alike.

Nothing is asked here that could move or change anything.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from app.position import NAMES as POSITION
from app.pressure_watch import NAMES as PRESSURE
from host_sim.board.link_client import LinkClient, Refused
from host_sim.panel.believed_place import BelievedPlace
from host_sim.panel.ground_cells import GroundCells
from host_sim.panel.procedure_view import ProcedureView
from host_sim.panel.swath_slabs import Place, SwathSlabs
from rate_control.application_rate import applied_rate_ml_ha
from rate_control.interlock import APPLYING
from rate_control.intmath import LIMIT
from rate_control.units import AREA_PER_RATE, TICK_MS

EVERY_TICKS = 2
SILENCE_S = 1.0  # without telemetry for this long the board was reset, or the line is gone
WORDS_S = 0.2
SETTINGS_S = 2.0
TOTALS = ("area_m2", "volume_ml", "distance_m")
SETTINGS = ["section_count", "section_width_mm", "us_units", "actuator"]

NO_SENSOR = dict.fromkeys(PRESSURE)

Row = dict[str, Any]


@dataclass(frozen=True)
class Facts:
    """What stays as it is while a person watches, or makes the page begin anew."""

    firmware: str
    board: str
    section_width_mm: list[int]
    us_units: bool
    actuator: int
    follows_place: bool
    senses_pressure: bool


class ControllerView:
    """Follows one controller. `words` is the last answer to what can be put in words.

    `place_of` tells where a controller is that does not follow its own place, as far as that is
    known. `place` is the one that reckons where it does.
    `time_s` and `way_m` go on where a board is reset, unlike the sums that it sends.
    """

    facts: Facts
    cells: GroundCells
    slabs: SwathSlabs

    def __init__(self, client: LinkClient, clock: Callable[[], float],
                 place: BelievedPlace | None = None,
                 place_of: Callable[[], Place | None] = lambda: None) -> None:
        self.words: dict[str, Any] = {}
        self.time_s = 0.0
        self.way_m = 0.0
        self._client = client
        self._clock = clock
        self._place = place or BelievedPlace()
        self._place_of = place_of
        self._totals: dict[str, int] = {}
        self._names: list[str] = []
        self._last: Row | None = None
        self._heard_s = self._words_s = self._settings_s = 0.0
        self._shows = True
        self._procedure = ProcedureView(client)
        self.shown_us: bool | None = None  # chosen for the display, None: as set

    def connect(self) -> None:
        """Ask who is there and let it stream. Raises LinkLost."""
        hello = self._client.ask("hello")
        self._names = hello["telemetry"]
        self._hello = hello
        self._shows = True
        self.look_at_settings()
        if self.shown_us is not None:
            self.show_units(self.shown_us)
        self._client.ask("telemetry.set", every_ticks=EVERY_TICKS)
        self._last = None
        self._heard_s = self._clock()

    def look_at_settings(self) -> bool:
        """Ask for what the page depends on; returns whether it is new. Raises LinkLost."""
        self._settings_s = self._clock()
        totals = self._client.ask("totals.get")
        self._totals = {name: totals[name] for name in TOTALS}
        values = self._client.ask("settings.get", names=SETTINGS)["values"]
        facts = Facts(
            firmware=self._hello["firmware"],
            board=self._hello["board"],
            section_width_mm=values["section_width_mm"][: values["section_count"]],
            us_units=bool(values["us_units"]),
            actuator=values["actuator"],
            follows_place=set(POSITION) <= set(self._names),
            senses_pressure=set(PRESSURE) <= set(self._names),
        )
        if getattr(self, "facts", None) == facts:
            return False
        self.facts = facts
        self.cells = GroundCells(len(facts.section_width_mm))
        self.slabs = SwathSlabs(len(facts.section_width_mm))
        return True

    def take(self) -> list[Row]:
        """The telemetry that has come, each record as numbers by name. Raises LinkLost."""
        rows = []
        for record in self._client.take():
            numbers = record.body.get("telemetry")
            if isinstance(numbers, list) and len(numbers) == len(self._names):
                rows.append(self._followed(dict(zip(self._names, numbers, strict=True))))
        if rows:
            self._heard_s = self._clock()
        elif self._clock() - self._heard_s > SILENCE_S:
            self.connect()
        return rows

    def _followed(self, row: Row) -> Row:
        """The row with what follows from it and from the one before."""
        last, self._last = self._last, row
        ticks = _since(row, last, "tick") or EVERY_TICKS
        start_m = self.way_m
        self.time_s += ticks * TICK_MS / 1e3
        self.way_m += _since(row, last, "distance_sum_mm") / 1e3
        row["time_s"], row["way_m"] = self.time_s, self.way_m
        row["applied_ml_ha"] = None
        if not self.facts.senses_pressure:
            row |= NO_SENSOR
        self._cover(row, start_m, ticks)
        if row["state"] == APPLYING and row["speed_mm_s"] and row["flow_valid"]:
            row["applied_ml_ha"] = applied_rate_ml_ha(
                row["flow_ul_s"], row["speed_mm_s"], row["width_mm"])
        return row

    def _cover(self, row: Row, start_m: float, ticks: int) -> None:
        """Believed rate on the ground: the measured flow, shared among the sections by width."""
        applies = row["state"] == APPLYING
        mask, width_mm = row["section_mask"] if applies else 0, row["width_mm"]
        working = [bool(mask >> i & 1) for i in range(len(self.facts.section_width_mm))]
        flow_ul_s = row["flow_ul_s"] if row["flow_valid"] else 0
        each_mm = self.facts.section_width_mm
        flow_ml = flow_ul_s * ticks * TICK_MS / 1e6
        applied_ml = [flow_ml * each / width_mm if width_mm else 0.0 for each in each_mm]
        way_mm = (self.way_m - start_m) * 1e3
        per_mm = row["rate_ml_ha"] * way_mm / AREA_PER_RATE / 1e3
        target_ml = [per_mm * mm for mm in each_mm]
        if applies:
            self.cells.add(start_m, self.way_m, working, applied_ml, target_ml)
        applied_ml = [ml * works for ml, works in zip(applied_ml, working, strict=True)]
        place = self._place.of(row) if self.facts.follows_place else self._place_of()
        self.slabs.add(place, way_mm / 1e3, working, applied_ml, target_ml, row["rate_ml_ha"])

    def look(self) -> bool:
        """Ask for what is due; returns whether `facts` has changed. Raises LinkLost."""
        now_s = self._clock()
        if now_s - self._words_s >= WORDS_S:
            self._words_s = now_s
            self._ask_words()
        return now_s - self._settings_s >= SETTINGS_S and self.look_at_settings()

    def _ask_words(self) -> None:
        status = self._client.ask("status")
        self.words = {"state": status["state"], "missing": status["missing"],
                      "regulation": status["regulation"],
                      "totals": self._totals,
                      "faults": self._client.ask("faults.get")["faults"],
                      "procedure": self._procedure.look(),
                      "display": self._display()}

    def _display(self) -> list[str] | None:
        """What the display shows, None where the firmware does not tell."""
        if not self._shows:
            return None
        try:
            rows: list[str] = self._client.ask("display.get")["rows"]
        except Refused:
            self._shows = False
            return None
        return rows

    def show_units(self, us: bool) -> None:
        """Let the display show these units, after a reset too. Raises LinkLost.

        Settings stay as they are, so nothing is locked; an older firmware does not follow.
        """
        self.shown_us = us
        with suppress(Refused):
            self._client.ask("display.units", us=int(us))

    def set_rate(self, rate_ml_ha: int) -> str:
        """Ask for another rate; returns "" or why not. Raises LinkLost."""
        try:
            self._client.ask("rate.set", rate_ml_ha=rate_ml_ha)
        except Refused as refused:
            return str(refused)
        return ""


def _since(row: Row, last: Row | None, name: str) -> int:
    """How much a sum has grown since the last row; 0 where the board began anew."""
    if last is None or (row["tick"] - last["tick"]) & LIMIT > LIMIT // 2:
        return 0
    return int((row[name] - last[name]) & LIMIT)
