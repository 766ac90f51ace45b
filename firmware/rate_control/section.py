"""Sections: which are switched on, and how wide that is."""

from rate_control.units import SWITCH_SECTION_SHIFT


class Sections:
    """Turns switch levels into a section mask and its width."""

    def __init__(self, settings):
        self.widths_mm = settings.widths_mm()
        self.all_mask = (1 << settings.section_count) - 1
        self.total_width_mm = sum(self.widths_mm)

    def switched_on(self, switches):
        """Return the mask of sections whose hand switches are on; section 0 is bit 0."""
        return switches >> SWITCH_SECTION_SHIFT & self.all_mask

    def width_mm(self, mask):
        """Return the width of the sections in mask."""
        width = 0
        bit = 1
        for section_width in self.widths_mm:
            if mask & bit:
                width += section_width
            bit <<= 1
        return width
