"""Totals of the job, one large number a page."""

from app.screens.base import Confirm
from app.screens.screen import CLOSE, Screen
from app.units_text import short_text, unit

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.grid import Grid
    from rate_control.totals import Totals

BIG_DIGITS = 5
CLEARED_QUESTION = "new job: set all totals to zero?"


# name, quantity, value out of rate_control.totals.Totals
MACHINE: tuple[tuple, ...] = (
    ("area", "area_m2", lambda totals: totals.area.whole),
    ("volume", "volume_ml", lambda totals: totals.volume.thousandths()),
    ("mean rate", "rate_ml_ha", lambda totals: mean_rate_ml_ha(totals)),
    ("distance", "distance_m", lambda totals: totals.distance.whole),
    ("time applying", "minutes", lambda totals: totals.time.whole // 60),
    ("volume on bench", "volume_ml", lambda totals: totals.bench_volume.thousandths()),
)
SECTION: tuple[tuple, ...] = (
    ("area", "area_m2", lambda totals, index: totals.section_area[index].whole),
    ("volume", "volume_ml", lambda totals, index: totals.section_volume[index].whole),
)


def mean_rate_ml_ha(totals: "Totals") -> int:
    """Return volume over area, 0 where there is no area yet."""
    return totals.volume.thousandths() * 10000 // totals.area.whole if totals.area.whole else 0


class TotalsPages(Screen):
    """Turning leafs through, pushing asks whether to start a new job."""

    def __init__(self, app: "Application") -> None:
        super().__init__(app)
        self._index = 0

    def _count(self) -> int:
        return len(MACHINE) + len(SECTION) * self.app.controller.settings.section_count

    def turn(self, notches: int) -> None:
        """See Screen."""
        self._index = min(max(self._index + notches, 0), self._count() - 1)

    def push(self) -> Screen | str | None:
        """See Screen."""
        return Confirm(self.app, CLEARED_QUESTION, lambda: self.app.clear_totals() or CLOSE)

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        totals = self.app.controller.totals
        self.turn(0)  # there may be fewer sections than before
        if self._index < len(MACHINE):
            name, quantity, take = MACHINE[self._index]
            value = take(totals)
        else:
            section, kind = divmod(self._index - len(MACHINE), len(SECTION))
            name, quantity, take = SECTION[kind]
            name = "section %d %s" % (section + 1, name)
            value = take(totals, section)
        us = self.us()
        plain = quantity == "minutes"
        grid.big(str(value) if plain else short_text(quantity, value, us, BIG_DIGITS))
        grid.pair(2, quantity if plain else unit(quantity, us),
                  "%d of %d" % (self._index + 1, self._count()))
        grid.text(3, 0, name)
