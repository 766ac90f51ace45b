"""One life of the twin, from its power-up to a restart: commands in, frames out."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Protocol

from host_sim.common.errors import InputError
from host_sim.panel.believed_place import BelievedPlace
from host_sim.panel.bench_hands import BenchHands
from host_sim.panel.breakage import Breakage
from host_sim.panel.controller_view import ControllerView
from host_sim.panel.drive_record import DriveRecord
from host_sim.panel.drive_words import SAID
from host_sim.panel.feed import Feed
from host_sim.panel.frames import Changes, add_cells, add_slabs, frame_of, numbers
from host_sim.panel.hello import about_twin
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.pacer import Pacer
from host_sim.panel.scenes import BY_NAME, Script
from host_sim.panel.session import FRAME_S
from host_sim.panel.size_answer import size_told
from host_sim.panel.tank_count import TankCount
from host_sim.panel.what_if import SPAN_S, TICKS, Done, Minute, changed, compared, offered
from host_sim.twin.scenario import Scenario
from host_sim.twin.twin import place_of
from rate_control.settings import build
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

if TYPE_CHECKING:
    from host_sim.runs.record import RunRecord

DONE = 2000  # commands that changed the machine
SETTLE_S = 0.5  # simulated time for the program to start
BUSY_S = 2 * FRAME_S  # of real time for one frame; what is not done by then is let go

BUSY = "a drive is being saved already"

Handler = Callable[..., Any]
Tell = Callable[[dict[str, Any]], None]


class Keeper(Protocol):
    """Keeps drives: on the disk of the server, or in a page."""

    @property
    def busy(self) -> bool:
        """Whether a drive is being saved."""

    def save(self, record: RunRecord, us: bool, tell: Tell) -> None:
        """Begin to save; `tell` gets {"saved": ...} or {"refused": ...} when it is done."""

    def aside(self, work: Callable[[], dict[str, Any]], tell: Tell) -> None:
        """Do some work that takes seconds; `tell` gets what came of it, or {"refused": ...}."""


class Game:
    """Shows a twin on a feed. `clock` is real time; `over` is set once a restart is asked for.

    `script` is what is done by itself in this life; after its end, what shall be in the next one.
    """

    def __init__(
        self, twin: LiveTwin, scenario: Scenario, feed: Feed, clock: Callable[[], float],
        keeper: Keeper, script: Script | None = None,
    ) -> None:
        self.over = False
        self.script = script or Script()
        self._twin = twin
        self._scenario = scenario
        self._feed = feed
        self._clock = clock
        self._changes = Changes()
        self._breakage = Breakage(twin)
        self._done: deque[Done] = deque(maxlen=DONE)
        self._keeper = keeper
        self._saved: dict[str, Any] | None = None
        self._bench = BenchHands(twin, self.do)
        self._tank = TankCount(twin.tank_l)
        self.drive = DriveRecord(twin, scenario)
        twin.after_step = self.drive.note
        twin.live(SETTLE_S)
        self._view = ControllerView(twin.link, lambda: twin.now_s, BelievedPlace(scenario.place),
                                    lambda: place_of(twin.machine))
        self._view.connect()
        self._goal_s = twin.now_s
        self._pacer = Pacer(clock)
        self.handlers = self._handlers()
        self._begin()

    def _begin(self) -> None:
        """Let every page begin anew."""
        settings = self._twin.application.controller.settings
        self._settings = settings
        self._feed.begin(about_twin(self._view.facts, self._scenario, settings))
        self._changes.forget()

    def frame(self) -> None:
        """Live on to where simulated time should be by now, and show what is new."""
        rows = self._live()
        if self._view.look():
            self._begin()
        if totals := self._view.words.get("totals"):
            self._tank.count(totals["volume_ml"])
        frame = frame_of(self._view, rows, self._changes)
        add_cells(frame, "cells", self._twin.cells.take())
        add_slabs(frame, "true", self._twin.slabs, self._changes)
        self._changes.add(frame, "hands", self._hands())
        self._changes.add(frame, "bench", self._bench.told)
        settings = self._twin.application.controller.settings
        if settings is not self._settings:  # learned, or set up at the display
            self._settings = settings
            frame["settings"] = [offered(settings, us) for us in (False, True)]
        self._changes.add(frame, "drive", {
            "let_go_s": round(self.drive.let_go_s), "saving": self._keeper.busy,
            "saved": self._saved})
        self._feed.publish(frame)

    def _live(self) -> list[list[Any]]:
        """The rows of the simulated time that has become due, or of as much as can be done."""
        twin = self._twin
        rows = []
        until_s = self._clock() + BUSY_S
        self._goal_s = max(self._goal_s + self._pacer.due_s(), self.script.arrive_s)
        while twin.now_s < self._goal_s:
            self.script.act(twin.now_s, self.do)
            self._bench.act()
            for row in self._view.take():
                twin.wanted_ml_ha = row["rate_ml_ha"]
                truth = twin.look()
                rows.append(numbers(
                    row, (truth.applied_ml_ha, truth.speed_mm_s, truth.flow_ul_s)))
            if self._clock() > until_s:
                self._goal_s = twin.now_s
        return rows

    def _hands(self) -> dict[str, Any]:
        """How everything stands that people can move."""
        twin, switches = self._twin, self._twin.board.switches
        sections = range(twin.cells.section_count)
        return {
            "master": bool(switches & SWITCH_MASTER),
            "implement": bool(switches & SWITCH_IMPLEMENT),
            "sections": [bool(switches >> SWITCH_SECTION_SHIFT + i & 1) for i in sections],
            "spacing_mm": round(twin.steering.spacing_m * 1e3),
            "mode": twin.vehicle.mode,
            "throttle": twin.vehicle.throttle,
            "factor": self._pacer.factor,
            "tank_l": round(twin.tank_l, 1),
            "counted_l": round(self._tank.left_l, 1),
            "tank_low": self._tank.is_low,
            "troubles": sorted(self._breakage.broken),
            "field": twin.field,
            "outlets": list(self._breakage.outlets),
            "us": self._view.shown_us,
            "lamp": twin.board.lamp,
            "buzzer": bool(twin.board.buzzer),
        }

    # What the commands do. Their arguments have been checked (commands.py).

    def do(self, name: str, arguments: list[Any]) -> None:
        """Do a command, and note in the record what it was."""
        self.handlers[name](*arguments)
        if name in self._breakage.do:
            self._done.append((self._twin.now_s, name, arguments))
        if name in SAID:
            who, words = SAID[name]
            self.drive.happened(name, words(*arguments), who)

    def _handlers(self) -> dict[str, Handler]:
        twin, vehicle = self._twin, self._twin.vehicle
        return self._breakage.do | {
            "tank": self._fill,
            "master": lambda on: self._switch(SWITCH_MASTER, on),
            "implement": lambda down: self._switch(SWITCH_IMPLEMENT, down),
            "section": lambda i, on: self._switch(1 << SWITCH_SECTION_SHIFT + i, on),
            "throttle": vehicle.by_throttle,
            "nudge": vehicle.nudge,
            "speed": vehicle.at_speed,
            "recorded": vehicle.recorded,
            "spacing": lambda metres: setattr(twin.steering, "spacing_m", metres),
            "factor": lambda factor: setattr(self._pacer, "factor", factor),
            "hang": lambda: setattr(twin.board, "stalled", True),
            "key": self._press,
            "rate": self._view.set_rate,
            "units": self._view.show_units,
            "restart": lambda: self._end(Script()),
            "scene": lambda name, at_s: self._end(Script(BY_NAME[name].steps, at_s)),
            "save": self._save,
            "learn": self._learn,
            "keep": self._bench.keep,
            "what_if": self._what_if,
            "size": lambda text, us: self._aside(lambda: size_told(text, us)),
        }

    def _end(self, following: Script) -> None:
        self.over, self.script = True, following

    def _save(self, us: bool) -> None:
        """Save the drive so far; it goes on, and can be saved again."""
        if self._keeper.busy:
            self._feed.tell({"refused": BUSY})
            return
        self._keeper.save(self.drive.finish(), us, self._told)

    def _learn(self, name: str, text: str, us: bool) -> None:
        try:
            self._bench.learn(name, text, us)
        except InputError as error:
            self._feed.tell({"refused": str(error.args[0])})

    def _what_if(self, text: str, us: bool) -> None:
        """Replay the last minute with another setting, aside: the twin goes on."""
        twin = self._twin
        settings, _ = build({}, twin.application.controller.settings)  # one of its own
        assert settings is not None
        try:
            other = changed(settings, text, us)
        except InputError as error:
            self._feed.tell({"refused": str(error.args[0])})
            return
        rows = self.drive.last_minute()
        begin_s = twin.now_s - SPAN_S
        if len(rows) < TICKS:
            self._feed.tell({"refused": f"what if: the drive has lasted less than {SPAN_S:.0f} s"})
        elif settings.as_dict() == other.as_dict():
            self._feed.tell({"refused": "what if: that is what it is set to"})
        else:
            speeds_m_s, switches, wanted_ml_ha = zip(*rows, strict=True)
            minute = Minute(speeds_m_s, switches, wanted_ml_ha, [
                (when_s - begin_s, name, arguments) for when_s, name, arguments in self._done])
            self._aside(lambda: {
                "what_if": compared(self._scenario, settings, other, minute, us)})

    def _aside(self, work: Callable[[], dict[str, Any]]) -> None:
        """Let what takes seconds be worked out, and tell every page that is open."""
        self._keeper.aside(work, self._feed.tell)

    def _told(self, news: dict[str, Any]) -> None:
        """In the saver's thread: what became of it."""
        if "saved" in news:
            self._saved = news["saved"]
        else:
            self._feed.tell(news)

    def _switch(self, bit: int, on: bool) -> None:
        board = self._twin.board
        board.switches = board.switches | bit if on else board.switches & ~bit

    def _fill(self, litres: float) -> None:
        self._breakage.do["tank"](litres)
        self._tank.fill(litres)

    def _press(self, key: str) -> None:
        panel = self._twin.panel
        if key in ("left", "right"):
            panel.turn(1 if key == "right" else -1)
        elif key == "push":
            panel.push()
        else:
            panel.back()
