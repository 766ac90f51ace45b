"""Improves the pump curve while the machine applies, for one that was only sized.

It is loaded where the setting curve_learning asks for it. In the tick it compares what the meter
shows with the flow that the curve promised, and keeps for each point of the curve by how much they
differ. Only what is sure counts: all sections open for SETTLED_TICKS, the meter believed and even,
the machine not at its limit, and no fault but that it is off its curve.

What was found is taken at a stop, with the master switch off and no trial of plots under way, as
new settings: the way that the result of a procedure goes. No flow of the curve moves further from
the first one than an eighth down or a quarter up. Where it lies below the first one the pump is
given more by itself, and the trim may give so much less on top: a meter that loses pulses gets no
more from both together than from the trim alone. The first curve is kept for undo(), which turns
learning off as well. A curve that comes from elsewhere, as from the bench, is a new first one.
"""

from app import slots
from app.operations import OUTPUTS_ON
from rate_control.faults import OFF_CURVE
from rate_control.interlock import APPLYING, MASTER
from rate_control.intmath import muldiv
from rate_control.pump_loop import TRIM_MOST_Q20
from rate_control.records import Decided
from rate_control.units import CURVE_POINTS, ONE_Q12, ONE_Q20, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.files import Slots
    from rate_control.controller import Controller

DOCUMENT = "curve"
FLOWS = "curve_flow_ul_s"
LEARNS = "curve_learning"
FIRST, BEFORE, LEARNED = "first", "before", "learned"
IS_CURVE = [int] * CURVE_POINTS
POLL_MS = 500
SETTLED_TICKS = 5000 // TICK_MS  # air in the line gives liquid back for so long
UNEVEN_TICKS = 1000 // TICK_MS  # to wait after a flow that jumps, as lost or double pulses do
ERROR_MOST_Q12 = ONE_Q12 * 3 // 8  # no curve is that wrong
SHARES = 16  # a tick is shared between the two points around its flow
LEAST = 100 * SHARES  # until a point has something to say
MOST = 600 * SHARES  # of what counts: the older is forgotten
DOUBT = 30 * SHARES  # in favour of the present curve
WORTH_Q12 = ONE_Q12 // 64  # a smaller change is not worth a write to the flash
UNDO = "undo learning"
ONLY_PUMP = "curve learning: only with a PWM pump; a valve follows the meter without"
NOTHING = "nothing learned to undo"
UNDONE = "the first pump curve is back, learns: off"


def fit(application: "Application", files: "Slots | None") -> None:
    """Let an application learn its curve; there must be a place to keep the first one.

    With learning off it still bounds the trim by a curve that was learned before.
    """
    settings = application.controller.settings
    if settings.actuator != PWM_PUMP:
        if settings.curve_learning:
            application.notes.append(ONLY_PUMP)
    elif files is not None:
        application.learning = learning = CurveLearning(application, files)
        application.parts.append(learning)
        application.jobs.add("learning", POLL_MS, learning.poll)


class CurveLearning:
    """Watches settled ticks, and changes the curve at a stop. first is [] until it is changed."""

    def __init__(self, application: "Application", files: "Slots") -> None:
        self._application = application
        self._files = files
        self._error_q12 = [0] * CURVE_POINTS  # of the present curve: what the meter shows beyond
        self._weight = [0] * CURVE_POINTS
        self._settled_ticks = 0
        self._command_ul_s = 0  # averages
        self._flow_ul_s = 0
        self._trim_most_q20 = TRIM_MOST_Q20
        self._flows: list[int] = []
        self.first: list[int] = []
        self._follow_present()

    def tick(self, controller: "Controller", line: list[int]) -> None:
        """Learn from this tick. It allocates nothing."""
        controller.loop.trim_most_q20 = self._trim_most_q20  # type: ignore[union-attr]  # a pump's
        decided = controller.decided
        if (decided.state != APPLYING or decided.coasting or decided.saturated
                or decided.source != Decided.BY_LOOP or decided.faults & ~OFF_CURVE
                or decided.width_mm != controller.sections.total_width_mm):
            self._settled_ticks = 0
            return
        flow = controller.measured.flow_ul_s
        command = decided.command_ul_s
        if not self._settled_ticks:
            self._flow_ul_s = flow
            self._command_ul_s = command
        else:
            self._flow_ul_s += (flow - self._flow_ul_s) >> 4
            self._command_ul_s += (command - self._command_ul_s) >> 4
        mean = self._flow_ul_s
        if abs(flow - mean) > mean >> 3:
            self._settled_ticks = min(self._settled_ticks, SETTLED_TICKS - UNEVEN_TICKS)
        elif self._settled_ticks < SETTLED_TICKS:
            self._settled_ticks += 1
        elif abs(command - self._command_ul_s) <= command >> 4:
            self._learn(mean, self._command_ul_s)

    def _learn(self, flow_ul_s: int, command_ul_s: int) -> None:
        """Take what was measured where the curve promised command_ul_s."""
        flows = self._flows
        low = 0
        while low < CURVE_POINTS - 1 and command_ul_s >= flows[low + 1]:
            low += 1
        if low == CURVE_POINTS - 1 or command_ul_s <= flows[low]:
            return
        error_q12 = muldiv(flow_ul_s - command_ul_s, ONE_Q12, command_ul_s)
        if not -ERROR_MOST_Q12 <= error_q12 <= ERROR_MOST_Q12:
            return
        above = muldiv(command_ul_s - flows[low], SHARES, flows[low + 1] - flows[low])
        self._teach(low, SHARES - above, error_q12)
        self._teach(low + 1, above, error_q12)

    def _teach(self, point: int, share: int, error_q12: int) -> None:
        """Move the mean of a point. It is kept in 64ths, or small steps would be lost."""
        weight = self._weight[point] + share
        if weight > MOST:
            weight = MOST
        self._weight[point] = weight
        kept = self._error_q12[point]
        self._error_q12[point] = kept + ((error_q12 << 6) - kept) * share // (weight + DOUBT)

    def poll(self) -> None:
        """Take what was learned, where the machine is at a stop with the master switch off."""
        application = self._application
        controller = application.controller
        present = controller.settings.curve_flow_ul_s
        if present != self._flows:  # by a person, a procedure or the link
            self._follow_present()
        if not controller.settings.curve_learning:
            self._follow(present)  # what is seen while it is off does not count later
            return
        if controller.measured.switches & MASTER or application.running_procedure() is not None:
            return
        if application.trial is not None and application.trial.on:
            return  # its plots are to be treated by one and the same machine
        learned = self._learned()
        worth = [abs(new - old) * ONE_Q12 >= old * WORTH_Q12 > 0
                 for new, old in zip(learned, present)]
        if True in worth:
            self._take(learned)

    def undo(self) -> str:
        """Go back to the first curve and stay there; return in words whether it was done."""
        if not self.first or self.first == self._flows:
            return NOTHING
        if self._application.outputs_on():
            return OUTPUTS_ON
        problems = self._application.change_settings({FLOWS: self.first, LEARNS: 0})
        if problems:
            return problems[0]
        self._follow(self.first)
        return UNDONE

    def _take(self, learned: list[int]) -> None:
        """Keep the first curve, then take the new one; the application keeps it with the rest."""
        application = self._application
        first = self.first or list(self._flows)
        document = {FIRST: first, BEFORE: self._flows, LEARNED: learned}
        store = application.store
        if store is None or store.at_rest(slots.save, self._files, DOCUMENT, document):
            return  # asked again at the next poll
        if not application.change_settings({FLOWS: learned}):
            self.first = first
        self._follow(application.controller.settings.curve_flow_ul_s)

    def line(self) -> tuple[str, str]:
        """Return its line of a menu: how far the curve has come from the first one, at most."""
        most = 0
        for flow, first in zip(self._flows, self.first):
            percent = (flow - first) * 200 // first + 1 >> 1 if first else 0
            if abs(percent) > abs(most):
                most = percent
        return UNDO, "%+d %%" % most if most else ""

    def _follow_present(self) -> None:
        """Begin on the curve of the settings; its first one is known if it was learned here."""
        present = self._application.controller.settings.curve_flow_ul_s
        document = slots.load(self._files, DOCUMENT)[0] or {}
        known = present in [document.get(name) for name in (FIRST, BEFORE, LEARNED)]
        first = document.get(FIRST)
        if not known or type(first) is not list or [type(flow) for flow in first] != IS_CURVE:
            first = []  # of another curve, or written by another firmware
        self.first = first
        self._follow(present)

    def _follow(self, flows: list[int]) -> None:
        """Begin to learn on this curve."""
        self._flows = list(flows)
        for point in range(CURVE_POINTS):
            self._error_q12[point] = self._weight[point] = 0
        whole = most = ONE_Q20 + TRIM_MOST_Q20
        for flow, first in zip(flows, self.first):
            if flow < first:
                most = min(most, muldiv(whole, flow, first))
        self._trim_most_q20 = most - ONE_Q20

    def _learned(self) -> list[int]:
        """Return the flows of a better curve; a point not seen goes with the nearest that was."""
        seen = [point for point in range(CURVE_POINTS) if self._weight[point] >= LEAST]
        flows = list(self._flows)
        first = self.first or self._flows
        for point in range(CURVE_POINTS if seen else 0):
            nearest = min(seen, key=lambda other: abs(other - point))
            error_q12 = self._error_q12[nearest] >> 6
            flow = flows[point] + muldiv(error_q12, flows[point], ONE_Q12)
            base = first[point]
            flow = min(max(flow, base - (base >> 3)), base + (base >> 2))
            if point:
                flow = max(flow, flows[point - 1] + ((base - first[point - 1]) >> 2) + 1)
            flows[point] = flow
        return flows
