"""The menu: what can be opened from the work screen. A screen is loaded when it is opened."""

from app.screens.base import List
from app.units_text import with_unit

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.operator import Operator
    from app.screens.screen import Screen


class Menu(List):
    """The list of screens, with the rate on top. operator is the one that shows it."""

    def __init__(self, app: "Application", operator: "Operator") -> None:
        super().__init__(app)
        self._operator = operator

    def count(self) -> int:
        """See List."""
        return len(ENTRIES)

    def line(self, index: int) -> tuple[str, str]:
        """See List."""
        if index:
            return ENTRIES[index][0], ""
        rate_ml_ha = self.app.controller.request.rate_ml_ha
        return ENTRIES[0][0], with_unit("rate_ml_ha", rate_ml_ha, self.us())

    def chosen(self, index: int) -> "Screen | str | list[str] | None":
        """See List."""
        return ENTRIES[index][1](self.app, self._operator)


def _rate(app: "Application", _: "Operator") -> "Screen":
    from app.screens.edit import edit
    from rate_control.settings import LOW, row
    highest = app.controller.settings.highest_rate_ml_ha
    field = ("rate_ml_ha", row("rate_ml_ha")[LOW], highest)
    return edit(app, "rate", field, app.controller.request.rate_ml_ha, app.set_rate,
                "from the label of the product")


def _regulation(app: "Application", _: "Operator") -> "Screen":
    from app.screens.regulation import Regulation
    return Regulation(app)


def _bench(app: "Application", _: "Operator") -> "Screen":
    from app.screens.bench import ask
    return ask(app)


def _calibrate(app: "Application", _: "Operator") -> "Screen":
    from app.screens.calibrate import Calibrate
    return Calibrate(app)


def _set_up(app: "Application", _: "Operator") -> "Screen":
    from app.screens.set_up import SetUp
    return SetUp(app)


def _totals(app: "Application", _: "Operator") -> "Screen":
    from app.screens.totals import TotalsPages
    return TotalsPages(app)


def _faults(app: "Application", operator: "Operator") -> "Screen":
    from app.screens.faults import FaultsScreen
    return FaultsScreen(app, operator.memory)


ENTRIES = (
    ("rate", _rate),
    ("regulation", _regulation),
    ("bench", _bench),
    ("calibrate", _calibrate),
    ("set up", _set_up),
    ("totals", _totals),
    ("faults", _faults),
    ("trial", lambda app, _: app.trial and app.trial.screen()),  # nothing without a plan
)
