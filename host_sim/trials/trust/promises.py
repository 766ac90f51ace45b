"""The promises of docs/requirements.md as a watch that knows nothing of how they are kept.

It sits where the firmware meets its board: it sees the raw levels that the firmware read, what
it wrote, when it fed the watchdog and wrote to flash, and reasons from those alone. Of the
firmware's own findings it takes only that a fault which stops is active and which state it names.
"""

from __future__ import annotations

from typing import Any

from host_sim.twin.flashed import opening_contacts
from rate_control.faults import BLOCKING
from rate_control.interlock import APPLYING, BENCH, PRIMING
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Outputs
from rate_control.settings import Settings
from rate_control.units import (
    BY_GNSS,
    DUTY_FULL,
    SWITCH_IMPLEMENT,
    SWITCH_MASTER,
    SWITCH_SECTION_SHIFT,
    TICK_MS,
)

MOVING_TICKS = 3  # ticks in a row with a pulse: that is motion, or noise like it
KEPT = 20  # violations of one run that are kept


class Level:
    """A switch that counts as moved once it has been read alike for a whole delay."""

    def __init__(self, on_ticks: int, off_ticks: int) -> None:
        self._needed = {1: on_ticks + 1, 0: off_ticks + 1}
        self.on_run = self.off_run = 0

    def read(self, level: int) -> None:
        self.on_run = self.on_run + 1 if level else 0
        self.off_run = 0 if level else self.off_run + 1

    @property
    def surely_on(self) -> bool:
        return self.on_run >= self._needed[1]

    @property
    def surely_off(self) -> bool:
        return self.off_run >= self._needed[0]


class Promises:
    """Collects in `broken` every violation, with the tick in which it was seen."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._opening = opening_contacts(settings)
        self._debounce = settings.switch_debounce_ms // TICK_MS
        self._timeout_ticks = settings.speed_timeout_ms // TICK_MS + 2
        self.broken: list[str] = []
        self.tick = 0
        self.begin()

    def begin(self) -> None:
        """The program begins anew: nothing is known."""
        plain = self._debounce
        start_ms, stop_ms = (self._settings.implement_start_delay_ms,
                             self._settings.implement_stop_delay_ms)
        self._master = Level(plain, plain)
        self._implement = Level(plain + start_ms // TICK_MS, plain + stop_ms // TICK_MS)
        self._sections = [Level(plain, plain) for _ in range(self._settings.section_count)]
        self._down = False
        self._seen_off = self._armed = False
        self._was_bench = False
        self._speed_count: int | None = None
        self._silent = self._timeout_ticks + 1
        self._pulsed_run = 0
        self._written = False

    def _break(self, what: str) -> None:
        if len(self.broken) < KEPT:
            self.broken.append(f"tick {self.tick}: {what}")

    # What the board is asked, in the order of a tick.

    def read(self, inputs: Inputs) -> None:
        """The firmware has read its inputs."""
        self.tick += 1
        switches = inputs.switches ^ self._opening
        self._master.read(switches & SWITCH_MASTER)
        self._implement.read(switches & SWITCH_IMPLEMENT)
        for index, level in enumerate(self._sections):
            level.read(switches >> SWITCH_SECTION_SHIFT + index & 1)
        if self._master.surely_off:
            self._seen_off, self._armed = True, False
        elif self._seen_off and self._master.surely_on:
            self._armed = True
        if self._implement.surely_on:
            self._down = True
        elif self._implement.surely_off:
            self._down = False
        count = inputs.speed_count
        pulses = 0 if self._speed_count is None else (count - self._speed_count) & LIMIT
        self._speed_count = count
        self._silent = 0 if pulses else self._silent + 1
        self._pulsed_run = self._pulsed_run + 1 if pulses else 0
        self._written = False

    def write(self, outputs: Outputs, controller: Any) -> None:
        """The firmware has written its outputs."""
        self._in_range(outputs)
        self._small(controller, outputs)
        state, faults = controller.decided.state, controller.decided.faults
        on = outputs_on(outputs)
        if self._written:
            self._break("outputs written twice in a tick")
        self._written = True
        if faults & BLOCKING or (self._was_bench and state != BENCH):
            self._seen_off = self._armed = False
            if self._master.surely_off:
                self._seen_off = True
        self._was_bench = state == BENCH
        if not on:
            return
        if faults & BLOCKING:
            self._break("outputs on with a fault that stops")
        if not self._armed:
            self._break("outputs on without master off, then on")
        if state == BENCH:
            if self._pulsed_run > MOVING_TICKS:
                self._break("bench in motion")
        elif state == APPLYING:
            if not self._down:
                self._break("outputs on with the implement up")
            if self._silent > self._timeout_ticks and controller.settings.speed_source != BY_GNSS:
                self._break("outputs on without a sign of motion")
        elif state == PRIMING:
            if outputs.section_mask:
                self._break("a section on while priming")
            if self._silent > self._timeout_ticks and controller.settings.speed_source != BY_GNSS:
                self._break("priming without a sign of motion")
        else:
            self._break(f"outputs on in state {state}")
        for index, level in enumerate(self._sections):
            if outputs.section_mask >> index & 1 and level.surely_off:
                self._break(f"section {index + 1} on, its switch off")

    def fed(self) -> None:
        """The firmware has fed the watchdog."""
        if not self._written:
            self._break("watchdog fed without a whole step")
        self._written = False

    def flash_written(self, on: bool) -> None:
        """The firmware writes to flash; `on` is whether an output is on."""
        if on:
            self._break("flash written while outputs are on")

    def _in_range(self, outputs: Outputs) -> None:
        if not 0 <= outputs.duty_u16 <= DUTY_FULL:
            self._break(f"duty {outputs.duty_u16}")
        if not -TICK_MS <= outputs.valve_pulse_ms <= TICK_MS:
            self._break(f"valve pulse {outputs.valve_pulse_ms} ms")
        if outputs.section_mask >> self._settings.section_count:
            self._break(f"section mask {outputs.section_mask}")

    def _small(self, controller: Any, outputs: Outputs) -> None:
        """No value of a tick is beyond a small int."""
        values = [*vars(controller.measured).values(), *vars(controller.decided).values(),
                  *vars(outputs).values(), *controller.trace]
        if max(values) > LIMIT or min(values) < -LIMIT - 1:
            self._break("a value beyond a small int")


def outputs_on(outputs: Outputs) -> bool:
    """Whether any output is driven."""
    return bool(outputs.duty_u16 or outputs.valve_pulse_ms or outputs.section_mask)
