"""The input of a pressure sensor, where the board has a pin for one; loaded where a part asks."""

from machine import ADC

# Voltage at the terminal that gives a full reading: 3300 mV x (10 k + 18 k) / 18 k
FULL_MV = 5133


class PressureInput:
    """A pin of the converter behind the divider of 10 k and 18 k."""

    def __init__(self, pin: int) -> None:
        self._adc = ADC(pin)

    def terminal_mv(self) -> int:
        """Return the voltage at the terminal in mV; 12 bits, so that it stays a small int."""
        return (self._adc.read_u16() >> 4) * FULL_MV // 4095
