"""What a drive in the panel leaves: the record of a run, as the twin of a scenario makes it.

It is bounded: it holds the last hour. What was let go of is said in the record.
"""

from __future__ import annotations

from collections import deque
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from app.pressure_watch import NAMES as PRESSURE
from host_sim.common.versions import versions
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.what_if import TICKS
from host_sim.plant.units import ML_M3
from host_sim.runs.recorder import PLACED, TRUTH, RowRecorder, section_column
from host_sim.twin.clock import US_PER_S
from host_sim.twin.hands import HANDS, Happened
from host_sim.twin.scenario import Scenario
from host_sim.twin.scenario_events import ML_HA_PER_M, rate_words
from host_sim.twin.twin import knows_place, place_of
from rate_control import trace
from rate_control.units import TICK_US

if TYPE_CHECKING:
    from host_sim.runs.record import RunRecord

SPEED, SWITCHES, WANTED = ([name for name, _ in TRUTH].index(name) for name in (
    "true_speed_m_s", "hand_switches", "wanted_ml_ha"))
OWN = len(trace.FIELDS)
KEPT_TICKS = 3600 * US_PER_S // TICK_US
LET_GO_TICKS = 60 * US_PER_S // TICK_US  # at once, because it moves all that is kept
EVENTS = 2000
SLIDERS = ("throttle", "nudge", "tank", "rate")
SAME_S = 1.0  # one and the same slider within this time is one event
SUMS = tuple(trace.FIELDS.index(name) for name in ("distance_mm", "volume_ul"))
CUT = ("The drive began {:.0f} s earlier: the panel keeps the last hour of a drive. All figures "
       "are of what is here.")


class DriveRecord:
    """Follows one twin. Call `note` after each of its steps."""

    def __init__(self, twin: LiveTwin, scenario: Scenario) -> None:
        self._twin = twin
        self._scenario = scenario
        self._more = ((*PLACED,) if knows_place(scenario) else ()) + (
            (*PRESSURE,) if scenario.pressure else ())
        self._recorder = RowRecorder(len(scenario.section_width_m), place=True, more=self._more)
        self._events: deque[Happened] = deque(maxlen=EVENTS)
        self._last_name = ""
        self._rate_ml_ha = twin.wanted_ml_ha
        self._ring: Any = None
        self._places: list[int] = []  # of what is recorded of its parts, in a line of the ring
        self._count = 0
        self._row_us = 0
        self._starts = twin.starts
        self._resets: list[str] = []
        self._gone: tuple[float, ...] = ()  # the truth of the last row that was let go of

    def __len__(self) -> int:
        return len(self._recorder)

    @property
    def let_go_s(self) -> float:
        """How much of the beginning is not kept any more."""
        return self._gone[0] if self._gone else 0.0

    def note(self) -> None:
        """Add a row where a tick has come, or is missing."""
        twin = self._twin
        if twin.starts != self._starts:
            self._starts = twin.starts
            self._resets.append(twin.board.reset_cause())
        if twin.wanted_ml_ha != self._rate_ml_ha:
            self._rate_ml_ha = twin.wanted_ml_ha
            self.happened("rate", rate_words(twin.wanted_ml_ha / ML_HA_PER_M))
        ring = twin.application.ring
        if ring is not self._ring:
            self._ring, self._count = ring, 0
            self._places = [OWN + ring.more.index(name) if name in ring.more else -1
                            for name in self._more]
        if ring.count != self._count:
            self._count = ring.count
            self._add(ring.newest())
        elif twin.elapsed_us - self._row_us > TICK_US:
            line = list(ring.newest())  # no tick came; what it counted has its row already
            for index in SUMS:
                line[index] = 0
            self._add(line)

    def _add(self, line: list[int]) -> None:
        twin, machine = self._twin, self._twin.machine
        self._row_us = twin.elapsed_us
        self._recorder.add(
            (
                twin.now_s,
                machine.distance_m,
                machine.speed_m_s,
                machine.flow_m3_s / ML_M3,
                machine.pressure_bar,
                twin.board.switches,
                twin.wanted_ml_ha,
                *place_of(machine),
                *machine.section_volume_ml,
            ),
            # in one order, whatever parts the program has since it was started anew
            line[:OWN] + [line[place] if place >= 0 else 0 for place in self._places],
        )
        if len(self._recorder) >= KEPT_TICKS + LET_GO_TICKS:
            self._gone = self._recorder.let_go(LET_GO_TICKS)

    def last_minute(self) -> list[tuple[float, int, int]]:
        """True speed, switches and wanted rate of each tick of the last minute, or of what is."""
        return [(row[SPEED], int(row[SWITCHES]), int(row[WANTED]))
                for row in self._recorder.last(TICKS)]

    def happened(self, name: str, words: str, who: str = HANDS) -> None:
        """Note what was done. A slider that moves is one event, with where it came to rest."""
        now = Happened(self._twin.now_s, self._twin.machine.distance_m, who, words, "")
        events = self._events
        same = name == self._last_name and name in SLIDERS and events
        if same and now.time_s - events[-1].time_s < SAME_S:
            events.pop()
        events.append(now)
        self._last_name = name

    def finish(self) -> RunRecord:
        """The record so far, its beginning at zero. It has at least two rows."""
        from host_sim.runs.measured import counted

        record = self._recorder.finish(self._about())
        gone = self._gone or (0.0,) * len(record.columns)
        record.columns["time_s"] -= gone[0]
        record.columns["true_distance_m"] -= gone[1]
        for index, before_ml in enumerate(gone[-record.section_count:]):
            record.columns[section_column(index)] -= before_ml
        for name in ("time_s", "true_distance_m"):
            record.columns[name] = record.columns[name].clip(0.0)
        record.about["events"] = [
            asdict(event) | {"time_s": event.time_s - gone[0],
                             "distance_m": event.distance_m - gone[1]}
            for event in self._events if event.time_s >= gone[0]]
        record.about |= counted(record.columns)
        return record

    def _about(self) -> dict[str, Any]:
        scenario, controller = self._scenario, self._twin.application.controller
        about = {
            "title": f"{scenario.title}, driven by hand",
            "machine": asdict(scenario.machine),
            "settings": controller.settings.as_dict(),
            "section_width_m": scenario.section_width_m,
            "speed_trace": {"name": "driven in the panel", "note": ""},
            "seed": scenario.seed,
            "field": self._twin.field,
            "missed_events": [],
            "resets": list(self._resets),
            "notes": list(self._twin.application.notes),
            "versions": versions(),
            "place": asdict(scenario.place),
        }
        if self._gone:
            about["cut_off"] = CUT.format(self.let_go_s)
        return about
