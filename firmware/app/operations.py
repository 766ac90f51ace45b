"""The one set of operations that operator interface and link call.

Each returns "" or a plain-words problem (the two that change settings a list of problems), and
where there is a problem nothing has changed. None can arm, start or bypass a permit; those that
could move something want a confirmation at the machine, which only the operator interface gives.
"""

from app.procedure_operations import AT_MACHINE, NOT_BENCH, ProcedureOperations
from app.words import missing
from rate_control import interlock
from rate_control.controller import Controller
from rate_control.ranges import out_of_range
from rate_control.records import Request
from rate_control.settings import LOW, build, row
from rate_control.totals import Totals
from rate_control.units import DUTY_FULL, SPEED_MAX_MM_S

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable

    from rate_control.settings import Settings

ARMED_AND_ON = interlock.ARMED | interlock.MASTER
OUTPUTS_ON = "stop first: outputs are on"
ONLY_AT_MACHINE = "highest_rate_ml_ha: can be changed at the machine alone"
REMOTE_RAISE = 4  # while armed, a rate from afar may be higher by a quarter, and no more


class Operations(ProcedureOperations):
    """What can be asked of one controller, made with checked settings.

    make_controller(settings), where given, makes another one in its place, which is to be
    compared with it on the twin.
    """

    def __init__(
        self, settings: "Settings",
        make_controller: "Callable[[Settings], Controller] | None" = None
    ) -> None:
        super().__init__((make_controller or Controller)(settings))
        self.confirmed_rate_ml_ha = settings.rate_ml_ha
        self._before: "Settings | None" = None  # the settings before the last change
        self.shown_us: int | None = None  # US units on the display, 0 or 1; None: as set

    def outputs_on(self) -> int:
        """Return whether outputs may be on."""
        return self.controller.interlock.outputs_on()

    def missing(self, wanted: int = interlock.APPLYING_PERMITS) -> list[str]:
        """Return in words what is missing before outputs may be on, a list of short lines."""
        return missing(self.controller.decided.permits, wanted)

    def armed(self) -> bool:
        """Return whether the master switch is on and was seen off: outputs may follow at once."""
        return self.controller.decided.permits & ARMED_AND_ON == ARMED_AND_ON

    def show_units(self, us: int) -> str:
        """Show US customary (1) or metric (0) units on the display; it is no change of settings."""
        problem = out_of_range(us, 0, 1)
        if not problem:
            self.shown_us = us
        return problem

    def set_rate(self, rate_ml_ha: int, remote: bool = False) -> str:
        """Change the application rate, also while applying; it is kept with the totals.

        No rate goes beyond the highest one of the settings. While the controller is armed, a
        remote one may also be at most a quarter above the rate that a person at the machine set
        or confirmed last, by arming. However many requests come, they do not add up.
        """
        highest = self.controller.settings.highest_rate_ml_ha
        if remote and self.armed():
            confirmed = self.confirmed_rate_ml_ha
            highest = min(highest, confirmed + confirmed // REMOTE_RAISE)
        problem = out_of_range(rate_ml_ha, row("rate_ml_ha")[LOW], highest)
        if not problem:
            if not remote:
                self.confirmed_rate_ml_ha = rate_ml_ha
            self.controller.request.rate_ml_ha = rate_ml_ha
            self.controller.settings.rate_ml_ha = rate_ml_ha  # the same rate under its other name
            if self._before is not None:
                self._before.rate_ml_ha = rate_ml_ha  # undo is about what came before
        return problem

    def change_settings(self, changes: dict, remote: bool = False) -> list[str]:
        """Change settings, a dict by name; return a list of problems, empty where all is taken.

        Refused as a whole, and while outputs may be on. The master switch must then be seen
        off, then on. The highest rate is not changed from afar, unless these are settings that a
        person at the machine has yet to take on, and so to look at.
        """
        controller = self.controller
        before = controller.settings
        taken_on = controller.request.settings_state == Request.TAKEN_ON
        highest = changes.get("highest_rate_ml_ha", before.highest_rate_ml_ha)
        if remote and taken_on and highest != before.highest_rate_ml_ha:
            return [ONLY_AT_MACHINE]
        settings, problems = build(changes, before)
        if settings is None:
            return problems
        if not controller.apply(settings):
            return [OUTPUTS_ON]
        self._before = before
        if settings.us_units != before.us_units:
            self.shown_us = None
        return []

    def take_on(self, confirmed_at_machine: bool = False) -> str:
        """Take the present settings on: a person at the machine has seen that they fit it.

        Only then may a controller apply that was never set up, or whose settings were lost. The
        master switch must then be seen off, then on.
        """
        if not confirmed_at_machine:
            return AT_MACHINE
        controller = self.controller
        if not controller.apply(controller.settings):
            return OUTPUTS_ON
        controller.request.settings_state = Request.TAKEN_ON
        return ""

    def undo(self, remote: bool = False) -> str:
        """Go back to the settings before the last change; undone twice, it is made again."""
        if self._before is None:
            return "nothing to undo"
        problems = self.change_settings(self._before.as_dict(), remote)
        return problems[0] if problems else ""

    def set_regulation(self, regulation: int | None) -> str:
        """Choose closed loop or fixed duty; fixed duty takes over the present duty."""
        if regulation not in (Request.CLOSED_LOOP, Request.FIXED_DUTY):
            return "no such regulation"
        request = self.controller.request
        if regulation == Request.FIXED_DUTY and request.regulation != Request.FIXED_DUTY:
            # the duty of a pump or the position of a valve: whatever the loop asks for now
            request.fixed_duty_u16 = max(self.controller.decided.demand_u16, 0)
        request.regulation = regulation
        return ""

    def set_fixed_duty(self, duty_u16: int, confirmed_at_machine: bool = False) -> str:
        """Set the duty that is used while regulation is fixed duty, 0 to DUTY_FULL."""
        problem = "" if confirmed_at_machine else AT_MACHINE
        problem = problem or out_of_range(duty_u16, 0, DUTY_FULL)
        if not problem:
            self.controller.request.fixed_duty_u16 = duty_u16
        return problem

    def enter_bench(self, confirmed_at_machine: bool = False) -> str:
        """Ask for the bench; it begins at the next tick if every permit is still there."""
        if not confirmed_at_machine:
            return AT_MACHINE
        lacking = self.missing(interlock.BENCH_PERMITS & ~interlock.BENCH_ASKED)
        if lacking:
            return lacking[0]
        self.controller.request.bench = 1
        return ""

    def leave_bench(self) -> str:
        """End the bench, and with it any procedure that drives."""
        self.controller.request.bench = 0
        return ""

    def set_bench_speed(self, speed_mm_s: int, confirmed_at_machine: bool = False) -> str:
        """Set the speed of a standing test, 0 to SPEED_MAX_MM_S."""
        problem = "" if confirmed_at_machine else AT_MACHINE
        if not problem and self.controller.interlock.state != interlock.BENCH:
            problem = NOT_BENCH
        problem = problem or out_of_range(speed_mm_s, 0, SPEED_MAX_MM_S)
        if not problem:
            self.controller.request.bench_speed_mm_s = speed_mm_s
        return problem

    def clear_totals(self) -> str:
        """Start a new job: every total at zero; the rate stays."""
        self.controller.totals = Totals()  # one store, so that no tick falls in the middle
        return ""
