"""What a procedure found: each proposal beside the present value, then every fact."""

from app.grid import wrapped
from app.quantity_text import in_words, of_setting, show
from app.screens.base import answer
from app.screens.screen import CLOSE, Screen
from rate_control.procedures.keeping import changes
from rate_control.settings import row

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.grid import Grid
    from rate_control.procedures.procedure import Procedure


class ResultScreen(Screen):
    """Turning leafs through, pushing keeps the proposal, back leaves the settings as they are."""

    REPLACES = 1

    def __init__(self, app: "Application", procedure: "Procedure") -> None:
        super().__init__(app)
        self._index = 0
        self._proposal = procedure.proposal()
        self._changes = changes(app.controller.settings, self._proposal)
        self._facts = procedure.facts()

    def _count(self) -> int:
        return len(self._changes) + len(self._facts)

    def turn(self, notches: int) -> None:
        """See Screen."""
        self._index = min(max(self._index + notches, 0), max(self._count() - 1, 0))

    def push(self) -> Screen | str | None:
        """See Screen."""
        return answer(self.app, self.app.keep_proposal() if self._proposal else "") or CLOSE

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        if self._index < len(self._changes):
            self._draw_change(grid, self._changes[self._index])
        elif self._facts:
            name, value, quantity = self._facts[self._index - len(self._changes)]
            grid.lines(0, wrapped(name)[:2])
            grid.text(2, 0, show(quantity, value, self.us()))
        grid.text(3, 0, "push: keep  back: no" if self._proposal else "push: close")

    def _draw_change(self, grid: "Grid", change: tuple) -> None:
        name, old, new, difference_permille = change
        quantity = of_setting(row(name))
        grid.text(0, 0, in_words(name))
        us = self.us()
        if isinstance(new, list):
            grid.text(1, 0, "from " + show(quantity, new[0], us))
            grid.text(2, 0, "to " + show(quantity, new[-1], us))
            return
        grid.text(1, 0, "now " + show(quantity, old, us))
        grid.text(2, 0, "new " + show(quantity, new, us))
        if difference_permille:
            text = show("share_permille", difference_permille, us)
            grid.right(0, text if difference_permille < 0 else "+" + text)
