"""The menu: what can be opened from the work screen. A screen is loaded when it is opened."""

from app.screens.parts import List
from app.units_text import with_unit


class Menu(List):
    """The list of screens, with the rate on top. operator is the one that shows it."""

    def __init__(self, app, operator):
        super().__init__(app)
        self._operator = operator

    def count(self):
        """See List."""
        return len(ENTRIES)

    def line(self, index):
        """See List."""
        if index:
            return ENTRIES[index][0], ""
        rate_ml_ha = self.app.controller.request.rate_ml_ha
        return ENTRIES[0][0], with_unit("rate_ml_ha", rate_ml_ha, self.us())

    def chosen(self, index):
        """See List."""
        return ENTRIES[index][1](self.app, self._operator)


def _rate(app, _):
    from app.screens.edit import edit
    from rate_control.settings import LOW, row
    highest = app.controller.settings.highest_rate_ml_ha
    field = ("rate_ml_ha", row("rate_ml_ha")[LOW], highest)
    return edit(app, "rate", field, app.controller.request.rate_ml_ha, app.set_rate,
                "from the label of the product")


def _regulation(app, _):
    from app.screens.regulation import Regulation
    return Regulation(app)


def _bench(app, _):
    from app.screens.bench import ask
    return ask(app)


def _calibrate(app, _):
    from app.screens.calibrate import Calibrate
    return Calibrate(app)


def _set_up(app, _):
    from app.screens.set_up import SetUp
    return SetUp(app)


def _totals(app, _):
    from app.screens.totals import TotalsPages
    return TotalsPages(app)


def _faults(app, operator):
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
)
