"""Taking settings on: a person at the machine says that they belong to it."""

from app.screens.base import answer
from app.screens.screen import CLOSE, Screen
from app.units_text import to_text, unit, with_unit

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.grid import Grid


class TakeOn(Screen):
    """Shows what would do the most harm if it were another machine's; push takes it on."""

    def push(self) -> Screen | str | None:
        """See Screen."""
        return answer(self.app, self.app.take_on(confirmed_at_machine=True)) or CLOSE

    def draw(self, grid: "Grid", age: int) -> None:
        """See Screen."""
        settings = self.app.controller.settings
        us = self.us()
        width_mm = self.app.controller.sections.total_width_mm
        grid.pair(0, "%d sections" % settings.section_count, with_unit("width_mm", width_mm, us))
        pulses = (("meter", "pulses_per_hl", settings.meter_pulses_hl),
                  ("speed", "pulses_per_km", settings.speed_pulses_km))
        for index, (name, quantity, value) in enumerate(pulses):
            label = unit(quantity, us).split("/")[1]
            grid.pair(1 + index, name, to_text(quantity, value, us) + " per " + label)
        grid.text(3, 0, "this machine's? push")
