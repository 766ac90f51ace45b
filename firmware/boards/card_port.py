"""An SD card on the SPI bus of the section registers, which the tick uses too.

A sector takes some five milliseconds, too long to hold the tick up. So it passes in short pieces,
with interrupts held off for one piece at a time, and a tick that comes in between takes the card's
select away: see let_go(), and SectionPort.read(), which is what a tick begins with. Whoever had
selected the card sees by `held` that it is gone, and begins anew.
"""

from machine import disable_irq, enable_irq

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from machine import SPI, Pin

    from boards.section_port import SectionPort


class SharedCardPort:
    """See app.sd_card.CardPort; select is an output pin, low while the card is meant."""

    def __init__(self, spi: "SPI", select: "Pin", sections: "SectionPort") -> None:
        self.held = 0
        self._spi = spi
        self._select = select
        self._sections = sections
        self._ones = bytearray((0xFF, 0xFF))
        self._scrap = bytearray(2)
        sections.guest = self

    def speed(self, hertz: int) -> None:
        """Choose the clock of the lines, which the section registers have too."""
        state = disable_irq()
        try:
            self._spi.init(baudrate=hertz)
        finally:
            enable_irq(state)

    def select(self) -> None:
        """Select the card."""
        state = disable_irq()
        self.held = 1
        self._select.value(0)
        enable_irq(state)

    def exchange(self, out: bytearray | memoryview, back: bytearray | memoryview) -> None:
        """Exchange some bytes with the card, if it is still held."""
        state = disable_irq()
        try:
            if self.held:
                self._spi.write_readinto(out, back)
        finally:
            enable_irq(state)

    def release(self) -> None:
        """Let go of the card, give it 16 clocks, and leave the bus as the tick wants it."""
        state = disable_irq()
        try:
            self.let_go()
            self._spi.write_readinto(self._ones, self._scrap)
        finally:
            self._sections.restore()
            enable_irq(state)

    def let_go(self) -> None:
        """Take the card's select away; called by the tick, it allocates nothing."""
        self.held = 0
        self._select.value(1)
