"""The application: the controller in the tick, everything else in a loop of periodic jobs.

What operator interface and link can ask for is in operations.py.
"""

from app.jobs import Jobs
from app.operations import Operations
from app.store import FAILURE, SETTINGS, SETTINGS_STATE, TOTALS
from app.trace_ring import TraceRing
from rate_control.interlock import FAULT, MASTER
from rate_control.records import Inputs, Request
from rate_control.units import TICK_MS, TICK_US

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

    from app.curve_learning import CurveLearning
    from app.position import Position
    from app.store import Store
    from app.trial import PlotTrial
    from boards.board import Board
    from rate_control.controller import Controller
    from rate_control.settings import Settings

STALL_TICKS = 4000 // TICK_MS  # the loop may be away this long; a save or a start-up is shorter
SAVE_PERIOD_MS = 1000


class Application(Operations):
    """Owns the controller, its records and the jobs above one board.

    store keeps things over a power cut (see store.py); without one nothing is kept. It refuses
    to write while outputs are on, and says so.

    failure says in words what failed last, "" where nothing did; notes lists what was done at the
    start with what was kept, and is no failure. rate_to_check is 1 from a reset until the
    controller is armed: the rate is the one that was kept, and a person has to see it.

    parts are what settings ask for beyond that: tick(controller, line) of each is called in every
    tick, after the controller's, with the line of the trace. position is where the outlets are,
    None where it is not asked for; learning the same of what improves the pump curve.
    """

    position: "Position | None" = None
    learning: "CurveLearning | None" = None
    trial: "PlotTrial | None" = None  # where there is a plan on the board

    def __init__(
        self, board: "Board", store: "Store | None" = None,
        make_controller: "Callable[[Settings], Controller] | None" = None
    ) -> None:
        self.board = board
        self.store = store
        self.notes = store.notes if store is not None else []
        self.rate_to_check = 0
        self._was_armed = False
        from app.settings_at_start import kept
        settings, state, self.failure = kept(store)
        super().__init__(settings, make_controller)
        self.controller.request.settings_state = state
        self.inputs = Inputs()
        self.ring = TraceRing()
        self.parts: list = []
        self.jobs = Jobs(self.job_failed)
        self._ended = 0  # the tick raised, and does nothing any more
        self._tick_error: Exception | None = None
        self._unpolled_ticks = 0
        self._saved_failure = ""
        if store is not None:
            store.attach(self.controller)
            store.load_totals(self.controller.totals)
            self._take_kept_rate(self.controller.totals.rate_ml_ha)
            self.rate_to_check = 1
            self._saved_failure = store.load_failure()
            self.failure = self.failure or self._saved_failure
            self._saved_settings: "tuple[Settings, int, int] | None" = self._settings_mark()
            if (self.notes or SETTINGS in store.problems) and state != Request.LOST:
                self._saved_settings = None  # what was taken over, or damaged, is written anew
            self._note_problems()
            self.jobs.add("save", SAVE_PERIOD_MS, self.save)
        self._saved_totals = None if self.notes else self._totals_mark()

    def _take_kept_rate(self, rate_ml_ha: int) -> None:
        """Go on with the rate that was kept with the totals, 0 where none was."""
        if rate_ml_ha and self.set_rate(rate_ml_ha):
            from app.kept_settings import tell_rate
            tell_rate(rate_ml_ha, self.controller.settings, self.notes)

    def start(self) -> None:
        """Start the tick; from here on poll() must be called."""
        self._unpolled_ticks = 0
        self.board.start_tick(self.tick, TICK_US)

    def run(self) -> None:
        """Start, and never return."""
        self.start()
        while True:
            self.poll()
            self.board.idle()

    def tick(self, _: int) -> None:
        """Run one control tick; called by the board's timer, it allocates nothing.

        The watchdog is fed only after a whole step, and only while the loop is alive.
        """
        if self._ended:
            return
        try:
            board = self.board
            controller = self.controller
            ring = self.ring
            self._unpolled_ticks += 1
            stalled = self._unpolled_ticks > STALL_TICKS
            if stalled:
                controller.request.program_failed = 1
            board.read(self.inputs)
            controller.trace = ring.filling
            board.write(controller.step(self.inputs, board.now_us()))
            for part in self.parts:
                part.tick(controller, ring.filling)
            ring.advance()
            if not stalled:
                board.feed_watchdog()
        except Exception as error:  # no second try: the watchdog starts everything anew
            self.board.make_safe()
            self.controller.interlock.state = FAULT
            self._ended = 1
            self._tick_error = error

    def poll(self) -> None:
        """Run the jobs that are due. Call it as often as possible."""
        self._unpolled_ticks = 0
        if self._tick_error is not None:
            self._keep_tick_error()
        if not self._ended and not self.controller.measured.switches & MASTER:
            # like every blocking fault, a failure is over when the master switch is off
            self.controller.request.program_failed = 0
        armed = self.armed()
        if armed and not self._was_armed:  # by a person, who has the rate before their eyes
            self.rate_to_check = 0
            self.confirmed_rate_ml_ha = self.controller.request.rate_ml_ha
        self._was_armed = armed
        self.jobs.poll(self.board.now_us())

    def _keep_tick_error(self) -> None:
        """Save why the tick ended, at once: the watchdog will not wait for the job that saves."""
        self.job_failed("tick", self._tick_error)
        self._tick_error = None
        if self.store is not None:
            self.save()

    def job_failed(self, name: str, error: object) -> None:
        """Take note of what a job raised; the next tick drops the outputs."""
        self.failure = "%s: %s %s" % (name, type(error).__name__, error)
        self.controller.request.program_failed = 1

    def forget_failure(self) -> None:
        """Take the text of the last failure, and the notes, away once a person has read them."""
        self.failure = ""
        self.notes = []

    def save(self) -> None:
        """Keep what has changed; the store refuses while outputs are on, and is asked again."""
        controller = self.controller
        store = self.store
        mark = self._totals_mark()  # first: the rate that is kept with the totals is what counts
        if mark != self._saved_totals:
            controller.totals.rate_ml_ha = controller.request.rate_ml_ha
            if not store.save_totals(controller.totals):
                self._saved_totals = mark
        settings_mark = self._settings_mark()
        if settings_mark != self._saved_settings:
            values = controller.settings.as_dict()
            if controller.request.settings_state != Request.TAKEN_ON:
                values[SETTINGS_STATE] = controller.request.settings_state
            if not store.save_settings(values):
                self._saved_settings = settings_mark
        failure = self.failure
        if failure != self._saved_failure and not store.save_failure(failure):
            self._saved_failure = failure
        self._note_problems()

    def _settings_mark(self) -> "tuple[Settings, int, int]":
        """Return what differs whenever the kept settings have to be written anew."""
        settings = self.controller.settings
        return settings, settings.rate_ml_ha, self.controller.request.settings_state

    def _totals_mark(self) -> list[int]:
        """Return what differs whenever the totals or the rate of the job have changed."""
        totals = self.controller.totals
        registers = (totals.volume, totals.bench_volume, totals.time)
        parts = [part for register in registers for part in (register.whole, register.part)]
        return parts + [self.controller.request.rate_ml_ha]

    def _note_problems(self) -> None:
        """A store that does not work is no reason to stop, but a person has to know."""
        problems = self.store.problems
        for name in (FAILURE, TOTALS, SETTINGS):  # the last one is what is told
            if name in problems:
                self.failure = "%s: %s" % (name, problems[name])
