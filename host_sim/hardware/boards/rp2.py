"""RP2040 and RP2350 on a board of the Pico shape.

Sources: RP2040 data sheet (functions of each pin: section 1.4.3; PWM slices: 4.5.2; currents:
5.2.3, 50 mA for all pins together, at 4 mA a pin as MicroPython leaves them); data sheet of the
Raspberry Pi Pico, section 2.1, for the pins of the module.
"""

from __future__ import annotations

from host_sim.hardware.boards import BoardData

# GPIO by the pins 1 to 40 of the module; the words are no GPIOs.
MODULE = (
    0, 1, "GND", 2, 3, 4, 5, "GND", 6, 7, 8, 9, "GND", 10, 11, 12, 13, "GND", 14, 15,
    16, 17, "GND", 18, 19, 20, 21, "GND", 22, "RUN", 26, 27, "GND", 28, "ADC_VREF", "3V3",
    "3V3_EN", "GND", "5V", "VBUS",
)  # fmt: skip
SLICES = 8


def pins_of(name: str) -> tuple[int, ...]:
    """The module's pins that carry this name."""
    return tuple(place for place, what in enumerate(MODULE, 1) if what == name)


def every(first: int, step: int) -> frozenset[int]:
    """GPIOs from this one on; the functions of a pin repeat along the chip."""
    return frozenset(range(first, 30, step))


BOARD = BoardData(
    title="RP2040 and RP2350, boards of the Pico shape",
    platform="rp2",
    choices=("Pico", "Pico W", "Pico 2"),
    rows=20,
    same_way=False,
    holes={what: place for place, what in enumerate(MODULE, 1) if isinstance(what, int)},
    rails={name: pins_of(name) for name in ("GND", "3V3", "5V")},
    reach={
        "adc": frozenset({26, 27, 28}),
        # the firmware names the first block of each kind
        "spi in": frozenset({0, 4, 16, 20}),
        "spi clock": frozenset({2, 6, 18, 22}),
        "spi out": frozenset({3, 7, 19, 23}),
        "i2c data": frozenset({0, 4, 8, 12, 16, 20, 24, 28}),
        "i2c clock": frozenset({1, 5, 9, 13, 17, 21, 25, 29}),
        "uart out": frozenset({0, 12, 16, 28}),
        "uart in": frozenset({1, 13, 17, 29}),
    },
    pin_ma=4,
    total_ma=50,
    shared_pwm=tuple(
        tuple(gpio for gpio in range(30) if gpio >> 1 & 7 == number) for number in range(SLICES)
    ),
    taken={23: "the module's regulator", 24: "VBUS or wireless", 25: "LED or wireless",
           29: "VSYS or wireless"},
    state_machines=8,
)  # fmt: skip
