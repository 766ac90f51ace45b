"""Sections: which are switched on, and how wide that is."""

from rate_control.units import SWITCH_SECTION_SHIFT

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.settings import Settings


class Sections:
    """Turns switch levels into a section mask and its width."""

    def __init__(self, settings: "Settings") -> None:
        self.widths_mm = settings.widths_mm()
        self.all_mask = (1 << settings.section_count) - 1
        self.total_width_mm = sum(self.widths_mm)

    def switched_on(self, switches: int) -> int:
        """Return the mask of sections whose hand switches are on; section 0 is bit 0."""
        return switches >> SWITCH_SECTION_SHIFT & self.all_mask

    def width_mm(self, mask: int) -> int:
        """Return the width of the sections in mask."""
        width = 0
        bit = 1
        for section_width in self.widths_mm:
            if mask & bit:
                width += section_width
            bit <<= 1
        return width
