"""The trial: the plot under way or next, what comes then, and what to choose."""

# these are constants, which a board has in their places
from app.plan_file import BY_KEY, NAME, RATE, TREATMENT
from app.screens.base import answer
from app.screens.screen import Screen
from app.trial import COMING, HELD, INSIDE
from app.units_text import to_text, with_unit
from rate_control.units import SWITCH_IMPLEMENT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.application import Application
    from app.grid import Grid


class TrialScreen(Screen):
    """Turning chooses an action, pushing does it; what is chosen first is harmless."""

    def __init__(self, app: "Application") -> None:
        super().__init__(app)
        self._trial: "Any" = app.trial
        self._index = 0

    def turn(self, notches: int) -> None:
        """See Screen."""
        most = len(self._trial.actions()) - 1
        self._index = min(max(self._index + notches, 0), most)

    def push(self) -> Screen | str | None:
        """See Screen."""
        trial = self._trial
        self.turn(0)
        action = trial.actions()[self._index]
        self._index = 0
        return answer(self.app, trial.act(action))

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        trial = self._trial
        us = self.us()
        plot = trial.plot
        if plot is None:
            grid.text(0, 0, "plan on the board")
            grid.text(1, 0, trial.why or "not begun")
        else:
            grid.pair(0, plot[NAME] + " " + plot[TREATMENT],
                      with_unit("rate_ml_ha", plot[RATE], us))
            grid.text(1, 0, self._doing(us))
            after = trial.after
            grid.text(2, 0, self._then(after, us))
        self.turn(0)
        count = trial.plan.count
        place = "%d of %d" % (trial.index + 1, count) if plot is not None else ""
        grid.pair(3, ">" + trial.actions()[self._index], place)

    def _then(self, after: tuple | None, us: int) -> str:
        room = self._trial.record.room()
        if room:
            return room
        if after is None:
            return "then the end"
        return "then %s %s" % (after[NAME], to_text("rate_ml_ha", after[RATE], us))

    def _doing(self, us: int) -> str:
        """Return what goes on, or what is waited for."""
        trial = self._trial
        if trial.state == HELD:
            return trial.why
        lacking = self.app.missing()
        if trial.state == INSIDE:
            if lacking:
                return lacking[0]
            return "in it: " + with_unit("distance_mm", trial.done_mm, us)
        if trial.state == COMING:
            left = max(trial.begin_mm - trial.way_mm, 0)
            return "begins in " + with_unit("distance_mm", left, us)
        if self.app.controller.measured.switches & SWITCH_IMPLEMENT and trial.plan.by != BY_KEY:
            return "lift first"
        ahead = trial.begin_mm
        if not ahead:
            return "lower at the plot"
        return "lower %s ahead" % with_unit("distance_mm", ahead, us)
