"""ESP32 on a development board with a module of the WROOM-32 kind and two rows of 19 pins.

Sources: ESP32 series data sheet, section 3.3 (pins read at reset) and appendix A (inputs only,
functions); ESP32-WROOM-32 data sheet, table 3 (flash); hardware design guidelines on pins that
move at reset. Rows of the development board from memory: compare them with the print on yours.
The currents are those at which the data sheet's levels hold, 20 mA a pin by default; the sum
is a choice of this project, for the chip's data sheet gives 1200 mA for all of the chip.
"""

from __future__ import annotations

from host_sim.hardware.boards import BoardData

# Left row from the antenna on, 1 to 19, then the right row the same way, 20 to 38.
MODULE = (
    "3V3", "EN", 36, 39, 34, 35, 32, 33, 25, 26, 27, 14, 12, "GND", 13, 9, 10, 11, "5V",
    "GND", 23, 22, 1, 3, 21, "GND", 19, 18, 5, 17, 16, 4, 0, 2, 15, 8, 7, 6,
)  # fmt: skip
FLASH = "the module's flash"
CONSOLE = "the console"


def pins_of(name: str) -> tuple[int, ...]:
    """The module's pins that carry this name."""
    return tuple(place for place, what in enumerate(MODULE, 1) if what == name)


BOARD = BoardData(
    title="ESP32, module of the WROOM-32 kind",
    platform="esp32",
    choices=("with 4 MB flash", "with 8 MB flash", "with external antenna"),
    rows=19,
    same_way=True,
    holes={what: place for place, what in enumerate(MODULE, 1) if isinstance(what, int)},
    rails={name: pins_of(name) for name in ("GND", "3V3", "5V")},
    reach={
        "adc": frozenset({32, 33, 34, 35, 36, 39}),  # the converter that radio leaves alone
        # through the chip's matrix every pin; these are the ones that reach the port directly
        "spi clock": frozenset({18}),
        "spi out": frozenset({23}),
        "spi in": frozenset({19}),
    },
    pin_ma=20,
    total_ma=200,
    inputs_only=frozenset({34, 35, 36, 39}),
    taken={6: FLASH, 7: FLASH, 8: FLASH, 9: FLASH, 10: FLASH, 11: FLASH, 1: CONSOLE, 3: CONSOLE},
    reset_pull={0: "left alone", 12: "left alone", 2: "down", 5: "up", 15: "any"},
    restless=frozenset({1, 3, 5, 14, 15}),
)
