"""A field trial on the board: the plot under way, what comes next, and where to go on.

The rate of a plot is set while nothing is applied, after the plot before it. Sections are held shut
between plots. A plot begins and ends by the implement, or by the way from where the implement came
down or a key was pushed, as much ahead as the machine was measured to be late. What else knows
where the machine is, a position, calls mark().

The last line of the record says where to go on after a power cut, which a person confirms.
"""

from app.plan_file import (
    BY_IMPLEMENT,
    BY_KEY,
    DAMAGED,
    LENGTH,
    NAME,
    PASS,
    RATE,
    START,
    TREATMENT,
    PlanFile,
)
from app.trial_record import TrialRecord
from rate_control.faults import names
from rate_control.interlock import APPLYING
from rate_control.totals import Register
from rate_control.units import SWITCH_IMPLEMENT, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.application import Application
    from app.files import LogFiles
    from app.screens.screen import Screen
    from rate_control.controller import Controller

POLL_MS = 50
SETTLE_TICKS = 10  # after the end, until the meter stands
HOLD_ALL = 255
VERSION = 1  # of a line of the record
WHOLE_PERCENT = 80  # of its length: a shorter plot is not taken for done
HELD, WAITING, COMING, INSIDE, OVER = range(5)
NOT_INSIDE = "not inside a plot: stop first"
SHORT, LIFTED, CONFIRM = "too short: choose", "lifted: choose", "after power-up"


class PlotTrial:
    """One plan, from begin to its last plot. on says whether it is under way.

    state is HELD (why says what for: a person has to choose), WAITING for the mark, COMING to the
    plot, INSIDE it, or OVER, until poll() has the next one ready. plot is the row of the plan with
    this index, after the one that follows.
    """

    def __init__(self, application: "Application", files: "LogFiles") -> None:
        self.on = 0
        self.why = ""
        self.state = HELD
        self.index = 0
        self.plot: "Any" = None
        self.after: "Any" = None
        self.way_mm = self.begin_mm = self.end_mm = self.done_mm = 0
        self.plan = PlanFile(files)
        self.record = TrialRecord(files, application.store)  # type: ignore[arg-type]  # has files
        self._app = application
        self._files = files
        self._open: "Any" = None  # the line of the last plot, until its meter stands
        self._opened = 0
        self._area = Register(1000000)  # m2 and mm2
        self._volume_ul = self._before_ul = self._entered = 0
        self._ticks = self._over_ticks = self._faults = 0
        self._was_down = self._lifted = self._base_mm = self._goes_on = 0
        self._begin = [0, 0, 0]  # known, east, north in mm
        self._end_place = [0, 0, 0]
        self._late_ms = self._lead_ms = 0
        self._ending = 0  # the sections are held until the implement is lifted

    def tick(self, controller: "Controller", _: list[int]) -> None:
        """Follow the way and hold the sections; called in every tick, it allocates nothing."""
        measured = controller.measured
        down = measured.switches & SWITCH_IMPLEMENT
        was_down = self._was_down
        self._was_down = down
        if not self.on:
            if self._ending and not down:  # what is over does not go on applying by itself
                self._ending = 0
                controller.request.hold_mask = 0
            return
        by = self.plan.by
        if self.state == WAITING and down and not was_down and by != BY_KEY:
            self.mark(measured.speed_mm_s * self._late_ms // 1000)
        elif self.state >= COMING:
            self.way_mm += measured.distance_mm
        lead_mm = measured.speed_mm_s * self._lead_ms // 1000 if by != BY_IMPLEMENT else 0
        if self.state == COMING:
            if not down:
                self._lose_mark()
            elif self.way_mm + lead_mm >= self.begin_mm:
                self._enter()
        self._volume_ul += measured.volume_ul
        if self.state == INSIDE:
            self._count(controller)
            self._lifted = 0 if down else 1
            if self._lifted or by != BY_IMPLEMENT and self.way_mm + lead_mm >= self.end_mm:
                self.state = OVER
                self._over_ticks = 0
        self._over_ticks += 1
        # where the implement itself begins a plot, nothing is to hold it up
        is_open = self.state == INSIDE or (
            by == BY_IMPLEMENT and self.state == WAITING and not down)
        controller.request.hold_mask = 0 if is_open else HOLD_ALL

    def mark(self, way_mm: int) -> None:
        """Take it that the machine is so far behind the beginning of its pass.

        For whoever knows where that is: the implement's lowering, a key, a position.
        """
        self.way_mm = way_mm
        self.state = COMING

    def _lose_mark(self) -> None:
        """The implement was lifted before the plot: within a pass nobody knows then where it is."""
        if self._goes_on:
            self.why = LIFTED
            self.state = HELD
        else:
            self.state = WAITING

    def _enter(self) -> None:
        self._before_ul = self._volume_ul
        self._volume_ul = 0
        self._entered ^= 1
        self._ticks = self._faults = self.done_mm = 0
        self._area.clear()
        self._see(self._begin)
        self.state = INSIDE

    def _see(self, place: list[int]) -> None:
        """Note where the machine is, where that is known: a place is (known, east, north) in mm."""
        position = self._app.position
        if position is None:
            return
        place[0] = position.quality
        if place[0]:
            place[1] = position.east_mm
            place[2] = position.north_mm

    def _count(self, controller: "Controller") -> None:
        self._ticks += 1
        self._faults |= controller.decided.faults
        if controller.decided.state == APPLYING:
            distance_mm = controller.measured.distance_mm
            self.done_mm += distance_mm
            self._area.add(distance_mm * controller.decided.width_mm)

    def poll(self) -> None:
        """Do between ticks what a plot's end asks for, and write what waits."""
        if self.state == OVER:
            self._end("lift" if self._lifted else "way")
        if self._open is not None and (
                self._over_ticks > SETTLE_TICKS or self._opened != self._entered):
            self._close()
        self.record.poll()
        if self.record.problem:
            self._app.failure = "trial: " + self.record.problem

    def _end(self, how: str) -> None:
        """Note the plot that is over; get the next ready, unless this one is too short."""
        plot = self.plot
        whole = self.done_mm * 100 >= plot[LENGTH] * WHOLE_PERCENT
        if self._open is not None:
            self._close()
        self._open = self._line(how, self.index + 1 if whole else self.index)
        self._opened = self._entered
        if not whole:
            self.why = SHORT
            self.state = HELD
            return
        self.index += 1
        self._prepare(0 if self._lifted else plot[PASS])

    def _line(self, how: str, following: int) -> dict:
        """Return the line of a plot that is over, but for its volume."""
        self._see(self._end_place)
        body = self._body(how, following)
        body["asked_ml_ha"] = self._app.controller.request.rate_ml_ha
        body["length_mm"] = self.done_mm
        body["time_ms"] = self._ticks * TICK_MS
        body["area_cm2"] = self._area.whole * 10000 + self._area.part // 100
        body["faults"] = names(self._faults)
        for name, place in (("begin", self._begin), ("end", self._end_place)):
            if place[0]:
                body[name] = place[1:]
        plane = self._app.position.plane if self._app.position is not None else None
        if plane is not None:
            body["origin_e4"] = [plane.latitude_e4, plane.longitude_e4]
        return body

    def _body(self, how: str, following: int) -> dict:
        """Return what every line of the record has; following is the plot to go on with."""
        body = {"how": how, "plan": self.plan.mark, "next": following, "version": VERSION}
        if self.plot is not None:
            body.update({"index": self.index, "pass": self.plot[PASS], "plot": self.plot[NAME],
                         "treatment": self.plot[TREATMENT], "rate_ml_ha": self.plot[RATE]})
        return body

    def _close(self) -> None:
        """Keep the line of the last plot; its meter stands by now, or the next has begun."""
        body = self._open
        self._open = None
        body["volume_ul"] = self._volume_ul if self._opened == self._entered else self._before_ul
        self.record.keep(body)

    def _prepare(self, passed: int) -> None:
        """Get the next plot that gets something ready; passed is the pass that goes on, or 0."""
        plan = self.plan
        self.plot = plan.plot(self.index)
        while self.index < plan.count and self.plot is not None and not self.plot[RATE]:
            self.index += 1
            self.plot = plan.plot(self.index)
        if self.index >= plan.count:
            self.plot = None
            self._finish("finished")
            return
        self.after = plan.plot(self.index + 1)
        plot = self.plot
        problem = DAMAGED if plot is None else self._app.set_rate(plot[RATE])
        problem = problem or self.record.full()
        if problem:
            self.why = problem
            self.state = HELD
            return
        self.why = ""
        self._goes_on = 1 if plot[PASS] == passed else 0
        if not self._goes_on:  # a pass that is begun in its middle is marked as at its beginning
            self._base_mm = plot[START] - self._run_up_mm()
        self.begin_mm = plot[START] - self._base_mm
        self.end_mm = self.begin_mm + plot[LENGTH]
        self.state = COMING if self._goes_on else WAITING

    def _run_up_mm(self) -> int:
        """Return how far before its first plot the pass of this plot begins."""
        index = self.index
        first = self.plot
        while index:
            index -= 1
            plot = self.plan.plot(index)
            if plot is None or plot[PASS] != first[PASS]:
                break
            first = plot
        return first[START]

    def _finish(self, how: str) -> None:
        if self._open is not None:
            self._close()
        self.record.keep(self._body(how, self.index))
        self.state = HELD
        self.on = 0
        self.plot = self.after = None
        self.why = how
        self._app.controller.request.hold_mask = HOLD_ALL
        self._ending = 1

    def resume(self) -> None:
        """After power-up: find in the record where to go on, held until a person says so."""
        last = self.record.last()
        if last is None or last.get("how") in ("stopped", "finished"):
            return
        problem = self.check()
        index: "Any" = last.get("next")
        if not problem and last.get("plan") != self.plan.mark:
            problem = "another plan than before"
        elif last.get("version") != VERSION or not (
                isinstance(index, int) and 0 <= index <= self.plan.count):
            problem = problem or "its record is of another firmware"
        if problem:
            self._app.failure = "trial stopped: " + problem
            return
        self.index = index
        self.plot = self.plan.plot(self.index)
        self.after = self.plan.plot(self.index + 1)
        self.why = CONFIRM
        self._app.controller.request.hold_mask = HOLD_ALL
        self.on = 1

    def check(self) -> str:
        """Return why this plan cannot be driven with this machine, "" for nothing."""
        controller = self._app.controller
        settings = controller.settings
        if settings.position_use > 1:
            return "not while covered ground is held"
        if settings.position_use and self._files.read("zones.bin", 0, 1):
            return "not while zones set the rate"
        debounce_ms = max(settings.switch_debounce_ms // TICK_MS, 1) * TICK_MS
        self._late_ms = debounce_ms + TICK_MS // 2  # a switch is seen so much after it moved
        self._lead_ms = settings.loop_delay_ms + TICK_MS + TICK_MS // 2  # to the nearest tick
        return self.record.full() or self.plan.problem(
            settings.highest_rate_ml_ha, controller.sections.total_width_mm)

    def screen(self) -> "Screen":
        """Return the screen that shows it."""
        from app.screens.trial import TrialScreen
        return TrialScreen(self._app)

    def actions(self) -> tuple[str, ...]:
        """Return what a person can choose now, the harmless first."""
        if not self.on:
            return ("stay", "begin")
        first = "go on" if self.state == HELD else "mark" if self.plan.by == BY_KEY else "stay"
        return (first, "skip", "repeat", "stop")

    def act(self, action: str) -> str:
        """Do what a person at the machine chose; return a problem or ""."""
        if action not in self.actions():
            return "not now"
        if action == "stop":
            if self.state >= INSIDE:
                self.state = HELD
                self._open = self._line("cut short", self.index)
                self._opened = self._entered
            self._finish("stopped")
        if action in ("stop", "stay"):
            return ""
        if self._app.outputs_on() or self.state >= INSIDE:
            return NOT_INSIDE
        if action == "mark":
            if self.state != WAITING or not self._was_down:
                return "lower first"
            self.mark(0)
            return ""
        return self._go(action)

    def _go(self, action: str) -> str:
        """Begin, go on with the plot that is shown, skip it, or repeat the one before."""
        if action == "begin":
            problem = self.check()
            if problem:
                return problem
            self.index = 0
            self.record.keep(self._body("begun", 0))
            self.on = 1
        elif action == "skip":
            self._keep_chosen("skipped", self.index + 1)
        elif action == "repeat":
            other = self.index - 1
            while other >= 0 and not (self.plan.plot(other) or (1,) * 7)[RATE]:
                other -= 1
            if other < 0:
                return "it is the first"
            self._keep_chosen("repeat", other)
        self._prepare(0)
        return ""

    def _keep_chosen(self, how: str, index: int) -> None:
        if self._open is not None:
            self._close()
        self.record.keep(self._body(how, index))
        self.index = index


def fit(application: "Application", files: "LogFiles | None" = None) -> None:
    """Give an application the trial whose plan is in files, else in those of its board.

    One that a power cut stopped is under way at once.
    """
    application.trial = trial = PlotTrial(application, files or application.board.files())
    trial.resume()
    application.parts.append(trial)
    application.jobs.add("trial", POLL_MS, trial.poll)
