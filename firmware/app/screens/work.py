"""The work screen: the applied rate, large; what is missing while nothing is applied."""

from app.grid import BIG_PITCH, COLUMNS
from app.screens.fault_words import draw_fault, short_words
from app.screens.screen import Screen, page
from app.snapshot import Snapshot
from app.units_text import short_text, to_text, unit, with_unit
from app.words import CHECK_RATE, COASTING, COASTING_WHY, KEPT, SEE_NOTES, sections
from rate_control import faults
from rate_control.interlock import APPLYING, FAULT, STATE_NAMES
from rate_control.records import Request

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.grid import Grid
    from app.operator import Operator

# what the encoder leafs through: name, quantity, field of Snapshot
READOUTS = (
    ("speed", "speed_mm_s", "speed_mm_s"),
    ("flow", "flow_ul_s", "flow_ul_s"),
    ("area", "area_m2", "area_m2"),
    ("volume", "volume_ml", "volume_ml"),
    ("duty", "duty_u16", "duty_u16"),
    ("supply", "supply_mv", "supply_mv"),
)
BIG_DIGITS = (4, 3)  # metric, US customary, whose unit is longer
APPLIED_DIGITS = 3  # more would only flicker
SMOOTHING = 4  # the shown rate goes a quarter of the way at each drawing


class Work(Screen):
    """The home screen: turning leafs through readouts, pushing opens the menu.

    operator is the one that shows it.
    """

    def __init__(self, app: "Application", operator: "Operator") -> None:
        super().__init__(app)
        self._operator = operator
        self._snapshot = Snapshot()
        self._readout = 0
        self._shown_ml_ha: int | None = None  # nothing to smooth

    def turn(self, notches: int) -> None:
        """See Screen."""
        self._readout = (self._readout + notches) % len(READOUTS)

    def push(self) -> Screen | str | None:
        """See Screen."""
        from app.screens.menu import Menu
        return Menu(self.app, self._operator)

    def back(self) -> Screen | str | None:
        """See Screen: this is home."""

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        snapshot = self._snapshot
        snapshot.fill(self.app.controller, self.app.ring)
        if snapshot.state == FAULT:
            draw_fault(grid, snapshot.faults & faults.BLOCKING, age)
            return
        state = STATE_NAMES[snapshot.state]
        if snapshot.state == APPLYING:
            self._draw_applied(grid, snapshot)
            if snapshot.regulation == Request.FIXED_DUTY:
                state = "fixed duty"
            elif snapshot.coasting:
                state = COASTING
        else:
            self._draw_asked(grid, snapshot)
        grid.text(2, 0, page(self._lines(snapshot), age))
        grid.pair(3, state, self._sections(snapshot))

    def _draw_asked(self, grid: "Grid", snapshot: Snapshot) -> None:
        """The rate that is set, while nothing is applied."""
        us = self.us()
        self._shown_ml_ha = None
        grid.right(0, unit("rate_ml_ha", us))
        grid.right(1, KEPT if self.app.rate_to_check else "set")
        grid.big(short_text("rate_ml_ha", snapshot.rate_ml_ha, us, BIG_DIGITS[us]))

    def _draw_applied(self, grid: "Grid", snapshot: Snapshot) -> None:
        """The applied rate, to the same place as the rate that is set."""
        us = self.us()
        asked = short_text("rate_ml_ha", snapshot.rate_ml_ha, us, APPLIED_DIGITS)
        if snapshot.coasting:
            self._shown_ml_ha = None
            number = "---"
        else:
            decimals = len(asked) - asked.find(".") - 1 if "." in asked else 0
            applied_ml_ha = self._smoothed(snapshot)
            number = short_text("rate_ml_ha", applied_ml_ha, us, BIG_DIGITS[us], decimals)
        grid.right(0, unit("rate_ml_ha", us))
        grid.big(number)
        room = COLUMNS - BIG_PITCH * len(number.replace(".", ""))
        exactly = to_text("rate_ml_ha", snapshot.rate_ml_ha, us)
        for text in ("of " + exactly, exactly, asked):
            if len(text) <= room:
                grid.right(1, text)
                break

    def _smoothed(self, snapshot: Snapshot) -> int:
        applied = snapshot.applied_ml_ha
        if self._shown_ml_ha is None:
            self._shown_ml_ha = applied
        self._shown_ml_ha += (applied - self._shown_ml_ha) // SMOOTHING
        return self._shown_ml_ha

    def _lines(self, snapshot: Snapshot) -> list[str]:
        """Return the texts that take turns below the rate."""
        warnings = [short_words(row) for row in faults.TABLE if row[0] & snapshot.faults]
        if snapshot.state != APPLYING:
            to_check = [CHECK_RATE] if self.app.rate_to_check else []
            if self.app.notes:
                to_check.append(SEE_NOTES)
            return self.app.missing() + to_check + warnings
        if snapshot.coasting:
            warnings.append(COASTING_WHY)
        return [self._readout_line(snapshot)] + warnings

    def _readout_line(self, snapshot: Snapshot) -> str:
        name, quantity, field = READOUTS[self._readout]
        value = with_unit(quantity, getattr(snapshot, field), self.us())
        return name + " " * (COLUMNS - len(name) - len(value)) + value

    def _sections(self, snapshot: Snapshot) -> str:
        """Return the sections that are open, or while nothing is, those that are switched on."""
        controller = self.app.controller
        mask = snapshot.section_mask
        if snapshot.state != APPLYING:
            mask = controller.sections.switched_on(snapshot.switches)
        return sections(mask, controller.settings.section_count)
