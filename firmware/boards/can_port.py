"""A CAN controller on the SPI bus of the section registers, which the tick uses too.

The registers take in whatever passes on the bus and show it when they are latched. So after every
exchange their own byte is shifted out again: the tick finds the bus as it left it. And the tick
must not come in between, so interrupts wait for an exchange, of 14 bytes at most: at 1 MHz about a
quarter of a millisecond with the calls, reckoned and not measured. Pulses are counted meanwhile.
"""

from machine import disable_irq, enable_irq

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from machine import SPI, Pin

    from boards.section_port import SectionPort


class SharedCanPort:
    """See app.mcp2515.CanPort; select is an output pin, low while the chip is meant."""

    def __init__(self, spi: "SPI", select: "Pin", sections: "SectionPort", mhz: int) -> None:
        self.mhz = mhz
        self._spi = spi
        self._select = select
        self._sections = sections

    def exchange(self, out: bytearray, back: bytearray) -> None:
        """Exchange some bytes with the chip, as many as both have."""
        state = disable_irq()
        try:
            self._select.value(0)
            self._spi.write_readinto(out, back)
        finally:
            self._select.value(1)
            self._sections.restore()
            enable_irq(state)
