"""The real controller, taken out of one remembered state into the next.

Only what measures and what regulates is stood in for: speed and flow are inputs, and the loop
always commands a flow, so that nothing but the permits keeps the outputs off.
"""

from __future__ import annotations

from typing import Any

from host_sim.trials.trust.witness import (
    DRIVEN,
    MOVING,
    OPEN,
    SILENT,
    STANDING,
    Tick,
    World,
)
from rate_control.controller import Controller
from rate_control.faults import FLOW_MISSING, SPEED_LOST, TICK_LATE
from rate_control.records import Decided, Inputs, Measured, Outputs, Request
from rate_control.settings import Settings
from rate_control.units import (
    SWITCH_IMPLEMENT,
    SWITCH_MASTER,
    SWITCH_SECTION_SHIFT,
    TICK_MS,
    TICK_US,
)

LATE_US = 4 * TICK_US
BENCH_TICKS = 2  # after which a bench times out here: a short time keeps the states few
DUTY = 1000
SETTINGS_AT = 15  # where the memory holds the state of the settings

# What each object keeps from one tick to the next; what the settings fix, or nothing in the
# permit stage reads; what is filled anew in every tick before it is read, and so is left as the
# tick before left it, whichever state that belonged to. A test compares them with the objects.
REMEMBERED = {
    "controller": ("_last_us", "_bench_ticks"),
    "interlock": ("state", "locked", "_off_for", "_permits", "_state"),
    "debounce": ("stable", "_waited", "_calm"),
    "faults": ("active", "_held", "_waited", "_off_for"),
    "request": ("bench", "settings_state"),
    "decided": ("state", "section_mask", "width_mm"),
}
FIXED = {
    "controller": ("request", "measured", "decided", "outputs", "totals", "trace", "interlock",
                   "procedure", "settings", "sections", "curve", "loop", "_debounce", "_speed",
                   "_flow", "_plausibility", "_faults", "_bench_limit_ticks"),
    "interlock": ("off_ticks",),
    "debounce": ("_on_ticks", "_off_ticks", "_width", "_opening"),
    "faults": ("_delays",),
    "request": ("rate_ml_ha", "regulation", "fixed_duty_u16", "bench_speed_mm_s",
                "program_failed", "hold_mask"),  # a held section is one that is switched off
    "decided": ("expected_ul_s", "trim_q20", "coasting"),
}
FILLED = {
    "controller": (), "interlock": (), "debounce": (), "faults": (),
    "request": ("saving", "prime_u16"),
    "decided": ("permits", "faults", "rate_ml_ha", "target_ul_s", "command_ul_s", "demand_u16",
                "source", "saturated"),
}


class _Speed:
    """Says of the speed what the tick says."""

    def __init__(self) -> None:
        self.said = ""

    def update(self, inputs: Inputs, now_us: int, measured: Measured) -> None:
        measured.moving = int(self.said == MOVING)
        measured.standing = int(self.said in (STANDING, SILENT))


class _Plausibility:
    """Raises the conditions that the tick brings."""

    def __init__(self) -> None:
        self.mask = 0

    def conditions(self, measured: Measured, decided: Decided, tick_ok: bool) -> int:
        return self.mask if tick_ok else self.mask | TICK_LATE


class _Eager:
    """Flow meter, pump curve and loop of a controller that always wants to drive."""

    def update(self, *records: Any) -> None:
        records[-1].command_ul_s = DUTY

    def rest(self) -> None:
        """Go on wanting."""

    def follow(self, target_ul_s: int, command_ul_s: int) -> None:
        """Follow nothing."""

    def demand_u16(self, command_ul_s: int, width_mm: int, supply_mv: int) -> int:
        return DUTY

    def drive(self, decided: Decided, outputs: Outputs) -> None:
        outputs.duty_u16 = DUTY


class PermitStage:
    """Runs single ticks of a controller from any state that was remembered."""

    def __init__(self, world: World) -> None:
        settings = Settings()
        settings.section_count = 1
        settings.switch_debounce_ms = world.debounce * TICK_MS
        settings.implement_start_delay_ms = world.start_delay * TICK_MS
        settings.implement_stop_delay_ms = 0
        settings.flow_missing_ms = world.no_flow_delay * TICK_MS
        self.settings = settings
        self._inputs = Inputs()
        self._speed = _Speed()
        self._plausibility = _Plausibility()
        self.controller = Controller(settings)

    def start(self, settings_state: int) -> tuple[Any, ...]:
        """The memory of a controller that has just started with settings of this state."""
        self.controller = Controller(self.settings)
        self.controller.request.settings_state = settings_state
        self._stand_in()
        return self.memory()

    def _stand_in(self) -> None:
        controller: Any = self.controller
        controller._speed = self._speed
        controller._plausibility = self._plausibility
        controller._flow = controller.curve = controller.loop = _Eager()
        controller._account = lambda now_us, measured, decided: None
        controller._bench_limit_ticks = BENCH_TICKS

    def memory(self) -> tuple[Any, ...]:
        """Everything that the controller takes from one tick into the next, as a tuple."""
        controller = self.controller
        interlock, debounce, faults = controller.interlock, controller._debounce, controller._faults
        request, decided = controller.request, controller.decided
        return (controller._last_us, controller._bench_ticks,
                interlock.state, interlock.locked, interlock._off_for, interlock._permits,
                interlock._state,
                debounce.stable, tuple(debounce._waited), debounce._calm,
                faults.active, faults._held, faults._off_for, tuple(faults._waited.values()),
                request.bench, request.settings_state,
                decided.state, decided.section_mask, decided.width_mm)

    def restore(self, memory: tuple[Any, ...]) -> None:
        """Put the controller into a state that was remembered."""
        controller = self.controller
        interlock, debounce, faults = controller.interlock, controller._debounce, controller._faults
        request, decided = controller.request, controller.decided
        (controller._last_us, controller._bench_ticks,
         interlock.state, interlock.locked, interlock._off_for, interlock._permits,
         interlock._state,
         debounce.stable, debounce._waited[:], debounce._calm,
         faults.active, faults._held, faults._off_for, waited,
         request.bench, request.settings_state,
         decided.state, decided.section_mask, decided.width_mm) = memory
        for bit, ticks in zip(faults._waited, waited, strict=True):
            faults._waited[bit] = ticks

    def tick(self, memory: tuple[Any, ...], tick: Tick) -> tuple[tuple[Any, ...], int, int]:
        """One tick out of a state: the memory after it, the operating state, the outputs on.

        Those are DRIVEN, a duty or a valve's pulse, and OPEN, a section.

        The outputs go in as if everything was on: the last gate has to make them safe itself.
        """
        self.restore(memory)
        controller = self.controller
        self._inputs.switches = (SWITCH_MASTER * tick.master | SWITCH_IMPLEMENT * tick.implement
                                 | tick.section << SWITCH_SECTION_SHIFT)
        self._speed.said = tick.speed
        self._plausibility.mask = (FLOW_MISSING * tick.no_flow
                                   | (SPEED_LOST if tick.speed == SILENT else 0))
        controller.request.bench = tick.bench
        controller.request.saving = tick.saving
        controller.request.prime_u16 = DUTY if tick.prime else -1
        outputs = controller.outputs
        outputs.duty_u16 = outputs.valve_pulse_ms = DUTY
        outputs.section_mask = 1
        controller.step(self._inputs, LATE_US if tick.late else TICK_US)
        controller._last_us = 0  # the next tick counts its time from here
        on = (DRIVEN if outputs.duty_u16 or outputs.valve_pulse_ms else 0) | (
            OPEN if outputs.section_mask else 0)
        return self.memory(), controller.decided.state, on

    def apply(self, memory: tuple[Any, ...], take_on: bool) -> tuple[tuple[Any, ...], bool]:
        """New settings between two ticks, or a person takes them on; whether they were taken."""
        self.restore(memory)
        controller = self.controller
        taken = controller.apply(self.settings)
        if taken:
            self._stand_in()
            if take_on:
                controller.request.settings_state = Request.TAKEN_ON
        return self.memory(), bool(taken)
