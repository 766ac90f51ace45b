"""Calibrate: the procedures of the catalogue, their parameters, their run and their result."""

from app.quantity_text import in_words, show
from app.screens.base import CAUTION, Confirm, List
from app.screens.edit import edit
from app.screens.run import DrivenScreen, RunScreen
from rate_control.procedures import catalogue
from rate_control.procedures.catalogue import CATALOGUE, NAME, P_NAME, P_QUANTITY, PARAMS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.screens.screen import Screen


class Calibrate(List):
    """The procedures; one that is running comes first."""

    TITLE = "calibrate"

    def _running(self) -> int:
        return 1 if self.app.running_procedure() is not None else 0

    def count(self) -> int:
        """See List."""
        return len(CATALOGUE) + self._running()

    def line(self, index: int) -> tuple[str, str]:
        """See List."""
        index -= self._running()
        if index < 0:
            return "go on: " + in_words(self.app.running_procedure().NAME), ""
        entry: tuple = CATALOGUE[index]
        return in_words(entry[NAME]), ""

    def chosen(self, index: int) -> "Screen | str | list[str] | None":
        """See List."""
        index -= self._running()
        if index < 0:
            return RunScreen(self.app)
        return Parameters(self.app, CATALOGUE[index])


class Parameters(List):
    """What a procedure must know, and its start."""

    def __init__(self, app: "Application", entry: tuple, values: dict | None = None) -> None:
        super().__init__(app)
        self.TITLE = in_words(entry[NAME])
        self._entry = entry
        self._values = catalogue.defaults(entry[NAME])
        self._values.update(values or {})

    def count(self) -> int:
        """See List."""
        return 1 + len(self._entry[PARAMS])

    def line(self, index: int) -> tuple[str, str]:
        """See List."""
        if not index:
            return "start", ""
        param = self._entry[PARAMS][index - 1]
        value = show(param[P_QUANTITY], self._values[param[P_NAME]], self.us())
        return in_words(param[P_NAME]), value

    def chosen(self, index: int) -> "Screen | str | list[str] | None":
        """See List."""
        if not index:
            return self._start()
        param = self._entry[PARAMS][index - 1]
        name = param[P_NAME]

        def accept(value: int) -> str:
            self._values[name] = value
            return ""

        field = (param[P_QUANTITY], param[catalogue.P_LOW], param[catalogue.P_HIGH])
        return edit(self.app, in_words(name), field, self._values[name], accept,
                    param[catalogue.P_MEANING])

    def _start(self) -> "Screen | str | None":
        if self.app.running_procedure() is not None:
            return "another procedure is running"
        if not self._entry[catalogue.NEEDS_BENCH]:
            return self.app.begin_procedure(self._entry[NAME], self._values) or RunScreen(self.app)

        def act() -> "Screen | str | None":
            problem = self.app.enter_bench(confirmed_at_machine=True)
            return problem or DrivenScreen(self.app, self._entry[NAME], self._values)

        return Confirm(self.app, CAUTION, act)


def asked(app: "Application") -> "Screen":
    """Return the screen for the procedure that was asked for from elsewhere."""
    name, values = app.asked  # type: ignore[misc]  # it is called where there is one
    return Parameters(app, catalogue.row(name), values)
