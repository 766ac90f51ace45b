"""A procedure while it runs, in the hands of a person or driving the pump by itself."""

from app.grid import COLUMNS, wrapped
from app.quantity_text import show
from app.screens.base import ENTRY_TICKS, answer
from app.screens.edit import edit
from app.screens.screen import CLOSE, Screen, page
from rate_control.interlock import BENCH
from rate_control.procedures import DONE, RUNNING, STATE_NAMES
from rate_control.procedures.procedure import COMPLETE, ENTER

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from app.application import Application
    from app.grid import Grid
    from rate_control.procedures.procedure import Procedure

STOP = "stop"
NOT_BEGUN = "the bench did not begin"


class RunScreen(Screen):
    """A procedure in the hands of a person: turning chooses an action, pushing does it.

    Back leaves it running, so that the bench or the field can be seen to meanwhile.
    """

    def __init__(self, app: "Application") -> None:
        super().__init__(app)
        self._index = 0

    def _actions(self) -> tuple[str, ...]:
        """Return what can be done now; a procedure that has ended can do nothing."""
        procedure = self.app.running_procedure()
        return (STOP,) if procedure is None else procedure.accepts() + (STOP,)

    def turn(self, notches: int) -> None:
        """See Screen."""
        self._index = min(max(self._index + notches, 0), len(self._actions()) - 1)

    def push(self) -> Screen | str | None:
        """See Screen."""
        procedure = self.app.running_procedure()
        if procedure is None:
            return self._finished()
        self.turn(0)  # there may be fewer than before
        action = self._actions()[self._index]
        self._index = 0
        if action == STOP:
            return answer(self.app, self.app.stop_procedure())
        if action == ENTER:
            name, quantity, low, high = procedure.entry()
            return edit(self.app, name, (quantity, low, high), procedure.suggestion(),
                        lambda value: self.app.act(ENTER, value))
        problem = self.app.act(action)
        more = procedure.needs_more() if problem and action == COMPLETE else None
        if more:
            words, value, quantity = more
            problem = "%s %s" % (words, show(quantity, value, self.us()))
        return answer(self.app, problem)

    def _finished(self) -> Screen | str | None:
        """Return what follows once nothing runs any more."""
        from app.screens.result import ResultScreen
        procedure = self.app.controller.procedure
        if procedure is not None and procedure.state == DONE:
            return ResultScreen(self.app, procedure)
        return CLOSE

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        procedure = self.app.controller.procedure
        if procedure is None:
            grid.text(0, 0, "nothing is running")
        elif procedure.state != RUNNING:
            grid.text(0, 0, STATE_NAMES[procedure.state])
            grid.lines(1, wrapped(procedure.reason)[:2])
            grid.text(3, 0, "push: go on")
        else:
            grid.lines(0, wrapped(procedure.prompt())[:2])
            self._draw_running(grid, procedure, age)

    def _draw_running(self, grid: "Grid", procedure: "Procedure", age: int) -> None:
        us = self.us()
        facts = [name + " " + show(quantity, value, us)
                 for name, value, quantity in procedure.facts()]
        grid.text(2, 0, page([line for line in facts if len(line) <= COLUMNS], age))
        self.turn(0)
        actions = self._actions()
        grid.pair(3, ">" + actions[self._index].replace("_", " "),
                  "%d of %d" % (self._index + 1, len(actions)))


class DrivenScreen(RunScreen):
    """A procedure that drives the pump on the bench: any way out of the screen ends both."""

    REPLACES = 1

    def __init__(self, app: "Application", name: str, values: dict) -> None:
        """The bench has just been asked for; the procedure begins as soon as it is there."""
        super().__init__(app)
        self._name = name
        self._values = values
        self._asked_at = app.ring.count
        self._procedure: "Procedure | None" = None  # not begun
        self._problem = ""

    def _on(self) -> bool:
        return self.app.controller.interlock.state == BENCH

    def update(self) -> None:
        """See Screen."""
        if self._procedure is None:
            if not self._problem and self.app.ring.behind(self._asked_at) > ENTRY_TICKS:
                self._begin()
        elif self._on() and self.app.running_procedure() is None:
            self.app.leave_bench()

    def _begin(self) -> None:
        if not self._on():
            self._problem = NOT_BEGUN
            return
        self._problem = self.app.begin_procedure(self._name, self._values,
                                                 confirmed_at_machine=True)
        if not self._problem:
            self._procedure = self.app.controller.procedure

    def push(self) -> Screen | str | None:
        """See Screen."""
        if self._problem:
            return CLOSE
        if self._procedure is None:
            return None
        return None if self.app.running_procedure() is not None else self._finished()

    def closed(self) -> None:
        """See Screen."""
        self.app.stop_procedure()
        self.app.leave_bench()

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        if self._problem:
            grid.lines(0, wrapped(self._problem))
        elif self._procedure is None:
            grid.text(0, 0, "one moment")
        else:
            super().draw(grid, age)

    def _draw_running(self, grid: "Grid", procedure: "Any", age: int) -> None:
        grid.pair(2, "done", "%d %%" % (procedure.progress_permille() // 10))
        grid.text(3, 0, "back: stop")
