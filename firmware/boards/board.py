"""The promises that every board keeps, real or simulated.

The firmware above knows a board only by these methods; boards.chosen() makes the one it runs on.
"""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any, Protocol

    from app.displays.display import Display
    from app.files import LogFiles, Slots
    from app.keys import RawKeys
    from app.mcp2515 import CanPort
    from app.sd_card import CardPort
    from rate_control.records import Inputs, Outputs

    class VoltageInput(Protocol):
        """Where a pressure sensor is wired to."""

        def terminal_mv(self) -> int:
            """Return the voltage at its terminal in mV."""


class Board:
    """Base of all boards; it says what each method promises.

    Promises beyond the methods: after reset every output is off before any other code runs;
    no pulse up to 10 kHz is lost on either input, whatever else runs; times are microseconds
    that wrap at 2**30, counts wrap at 2**30 too.
    """

    def now_us(self) -> int:
        """Return the time, 0..2**30 - 1."""
        raise NotImplementedError

    def read(self, inputs: "Inputs") -> None:
        """Fill a rate_control.records.Inputs: counts, times of the last edges, levels, supply.

        A level is 1 where the switch's contact is closed; what that means is a setting.
        """
        raise NotImplementedError

    def write(self, outputs: "Outputs") -> None:
        """Drive a rate_control.records.Outputs until the next call; a valve pulse ends itself."""
        raise NotImplementedError

    def make_safe(self) -> None:
        """Switch every output off now. It may be called at any time, from anywhere."""
        raise NotImplementedError

    def start_tick(self, callback: "Callable[[int], None]", period_us: int) -> None:
        """Call callback(0) every period_us, on time, even while garbage is collected."""
        raise NotImplementedError

    def feed_watchdog(self) -> None:
        """Tell the watchdog that one whole tick is done; without it the board resets."""
        raise NotImplementedError

    def reset_cause(self) -> str:
        """Return "power", "watchdog" or "soft"."""
        raise NotImplementedError

    def idle(self) -> None:
        """Wait a moment, 1 to 10 ms, for the next round of the loop; the tick goes on meanwhile."""
        raise NotImplementedError

    def release(self) -> None:
        """Stop the tick and the watchdog for good, with every output off."""
        raise NotImplementedError

    def files(self) -> "LogFiles":
        """Return where the store keeps its slots: an object with read(name), write(name, data)."""
        from app.files import Files
        return Files()

    def retained(self) -> "Slots | None":
        """Return the same over a memory that may be written at any time, or None (see store.py)."""

    def link_stream(self) -> "Any":
        """Return the stream of the link (see app/link.py), or None where there is none."""
        raise NotImplementedError

    def gnss_stream(self) -> "Any":
        """Return the stream of a GNSS receiver (see app/gnss.py), or None where there is none."""

    def can_port(self) -> "CanPort | None":
        """Return what leads to a CAN controller (see app/mcp2515.py), or None where none is."""

    def card_port(self) -> "CardPort | None":
        """Return what leads to an SD card (see app/sd_card.py), or None where none is."""

    def pressure_input(self) -> "VoltageInput | None":
        """Return the input of a pressure sensor, or None; terminal_mv() of it allocates nothing."""
        raise NotImplementedError

    def display(self) -> "Display | None":
        """Return an app.displays.display.Display, or None where none is fitted.

        It is made at the first call and may raise OSError where a fitted one does not answer.
        """
        raise NotImplementedError

    def read_keys(self, raw: "RawKeys") -> None:
        """Fill an app.keys.RawKeys: the quarter steps of the encoder, levels of push and back.

        Every quarter step is counted, however seldom this is called; + is clockwise. A level is
        1 while pressed and need not be debounced. A board without a front panel leaves it as is.
        """
        raise NotImplementedError

    def signal(self, lamp: int, buzzer: int) -> None:
        """Switch the lamp and the buzzer on (1) or off (0)."""
        raise NotImplementedError
