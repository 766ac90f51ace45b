"""Section valves and section switches through two shift registers on one SPI bus.

Eight outputs (74HCT595) and eight inputs (74HC165) need five pins instead of sixteen, and the
output enable of the 74HCT595 is one pin that switches all sections off, whatever the rest does:
its pull-up keeps them off through reset, and its outputs, then open, are pulled down.

One latch pin serves both: its low level loads the inputs, its rising edge shows the outputs.
"""

from rate_control.units import MAX_SECTIONS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from machine import SPI, Pin

    from boards.card_port import SharedCardPort

SECTIONS = 8  # of one 74HCT595 and one 74HC165


def problem(sections: int = MAX_SECTIONS) -> str:
    """Return why this port cannot drive so many sections, one line; "" where it can.

    The bits of further ones would be lost without a word: their valves would stay shut while
    their flow is reckoned with. The build asks, and main.py before it starts anything.
    """
    if sections <= SECTIONS:
        return ""
    return ("rate_control/units.py: MAX_SECTIONS is %d, but boards/section_port.py drives %d "
            "sections" % (sections, SECTIONS))


class SectionPort:
    """spi has write_readinto(out, in); latch and off are output pins.

    guest, where there is one, may be in the middle of a transfer when a tick begins.
    """

    guest: "SharedCardPort | None" = None

    def __init__(self, spi: "SPI", latch: "Pin", off: "Pin") -> None:
        self._spi = spi
        self._latch = latch
        self._off = off
        self._out = bytearray(1)
        self._in = bytearray(1)
        self.off()
        latch.value(1)
        self.read()

    def read(self) -> int:
        """Return the section switches, one bit each, 1 for closed (closed pulls an input low).

        This shows what was shifted out last, takes the inputs in and shifts the outputs out again.
        """
        if self.guest is not None:
            self.guest.let_go()
            self.restore()
        latch = self._latch
        latch.value(0)
        latch.value(1)
        self._spi.write_readinto(self._out, self._in)
        return self._in[0] ^ 0xFF

    def write(self, mask: int) -> None:
        """Open the sections in mask, shut the others; repeated in every tick against upsets."""
        self._out[0] = mask
        self._spi.write_readinto(self._out, self._in)
        latch = self._latch
        latch.value(0)
        latch.value(1)
        self._off.value(0 if mask else 1)

    def restore(self) -> None:
        """Shift the outputs out again: another chip on the bus has moved what is shown next."""
        self._spi.write_readinto(self._out, self._in)

    def off(self) -> None:
        """Shut all sections now. The pin does it; the byte follows, so that none comes back."""
        self._off.value(1)
        self._out[0] = 0
