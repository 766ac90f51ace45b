"""Faults: break one thing at a time on a steady drive, and see what the controller says.

The answer to "what would I notice, how soon, and what went on the ground meanwhile?" The truth
comes from the simulated machine; what the controller says is all that a person would have.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from host_sim.common import units
from host_sim.plant.units import ML_M3
from host_sim.runs.record import RunRecord
from host_sim.twin.disturbances import CALM
from host_sim.twin.hands import Event
from host_sim.twin.scenario import DEMO, Scenario, load_scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from rate_control import faults
from rate_control.interlock import APPLYING, STATE_NAMES
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT, TICK_MS

BREAK_S, END_S = 30.0, 70.0
SETTLED_S = 20.0  # after the break: what has not shown by then is steady
SPEED_M_S = 2.5
HEADLAND_S = 32.0, 41.0
SECOND_TICKS = 1000 // TICK_MS
CHATTER_S = 0.15  # off, and as long on
SECOND = 2 << SWITCH_SECTION_SHIFT


@dataclass(frozen=True)
class Fault:
    """What breaks, and how a person finds it."""

    name: str
    what: str
    find: str
    faults: dict[str, float]
    orifices: dict[int, float]
    valves: dict[int, str] = field(default_factory=dict)
    over_s: float = 0.0  # within which the amounts come; at once where it is 0
    headland: bool = False  # the implement is up for a while after it
    chatters: int = 0  # mask of hand switches that go off and on from then on
    goes_off: int = 0  # mask of those that the person switches off as it breaks
    stalled: bool | None = None
    gnss_hz: float = 0.0  # reports a second of a receiver beside the speed sensor


def _fault(name: str, what: str, find: str, stalled: bool | None = None,
           orifices: dict[int, float] | None = None, valves: dict[int, str] | None = None,
           over_s: float = 0.0, headland: bool = False, chatters: int = 0, goes_off: int = 0,
           gnss_hz: float = 0.0, **broken: float) -> Fault:
    return Fault(name, what, find, broken, orifices or {}, valves or {}, over_s, headland,
                 chatters, goes_off, stalled, gnss_hz)


FAULTS = (
    _fault("stuck_meter", "the rotor of the flow meter sticks",
           "bench: liquid leaves the outlets, the meter shows none; clean the rotor",
           meter_stalled=True),
    _fault("dead_pump", "the pump loses its drive",
           "bench at a fixed duty: no sound, no current; fuse, relay, plug", pump_dead=True),
    _fault("silent_speed", "the ground-speed sensor falls silent",
           "turn the wheel by hand and watch the speed; gap, cable, plug", speed_lost=True),
    _fault("slip", "the wheel of the speed sensor slips by 20 %",
           "drive a course; nothing on the machine can tell, but a GNSS receiver", slip_share=0.2),
    _fault("slip_witnessed", "the same, with a GNSS receiver as witness",
           "which of the two is right, a course tells", gnss_hz=5.0, slip_share=0.2),
    _fault("low_battery", "the supply drops by 2 V",
           "measure at the pump's plug while it runs; charging, cable", supply_drop_v=2.0),
    _fault("flat_battery", "the supply drops by 6 V",
           "measure at the pump's plug while it runs; charging, cable", supply_drop_v=6.0),
    _fault("air", "200 mL of air gets into the line",
           "the rate swings after each change; bleed the line, check the suction side",
           air_m3=200e-6),
    _fault("blocked_section", "every outlet of section 2 is blocked",
           "catch the outlets; filters of that section, its valve", orifices={1: 0.0}),
    _fault("half_blocked_section", "half of the outlets of section 2 are blocked",
           "catch the outlets: the meter cannot see which outlet the liquid leaves by",
           orifices={1: 0.5}),
    _fault("worn_section", "the outlets of section 2 are worn by 20 %",
           "catch the outlets: the meter cannot see which outlet the liquid leaves by",
           orifices={1: 1.2}),
    _fault("bouncing_meter", "one in five of the flow meter's pulses comes twice",
           "bench: the meter counts more than a jug holds; filter at the input, gap of the sensor",
           meter_bounce_share=0.2),
    _fault("losing_meter", "one in five of the flow meter's pulses is lost",
           "bench: the meter counts less than a jug holds; gap of the sensor, its plug",
           meter_missed_share=0.2),
    _fault("bouncing_speed", "one in five of the speed sensor's pulses comes twice",
           "drive a course; gap of the sensor, filter at the input", speed_bounce_share=0.2),
    _fault("interference", "interference of 200 pulses a second gets into the meter's line",
           "the meter counts while nothing flows; screen, earth, the pump's cable beside it",
           meter_noise_hz=200.0),
    _fault("strong_interference", "interference of 2000 pulses a second gets into the meter's line",
           "the display names it while nothing flows; screen, earth, the pump's cable beside it",
           meter_noise_hz=2000.0),
    _fault("eccentric_wheel", "the wheel of the speed sensor is out of centre by 3 %",
           "the speed swings once a turn at a steady drive; bearing, rim, tyre",
           eccentric_share=0.03),
    _fault("slip_bursts", "the wheel slips by 5 to 15 % in bursts, six a minute",
           "tracks of the wheel; a free wheel or a receiver does not slip", slip_bursts_min=6.0),
    _fault("uneasy_supply", "another consumer takes 1.5 V now and then, with 0.15 V of noise",
           "measure at the controller's plug while the other consumer runs; a cable of its own",
           supply_sag_v=1.5, supply_noise_v=0.15),
    _fault("cranking", "the starter pulls the supply down",
           "nothing: start the engine before the controller", cranking=True),
    _fault("clogging_filter", "the filter clogs within 20 s, to 2 bar at 10 L/min",
           "the duty rises from day to day; clean the filter", over_s=20.0, filter_pa=2e5),
    _fault("plugging_section", "the outlets of section 2 plug within 20 s, to a quarter",
           "catch the outlets; filters of that section", over_s=20.0, orifices={1: 0.25}),
    _fault("warming_liquid", "the liquid warms within 20 s, to 0.6 of its viscosity",
           "nothing: the loop makes it good", over_s=20.0, viscosity_factor=0.6),
    _fault("short_suction", "the suction gives 4 L/min at most and the pump cavitates",
           "the pump rattles; strainer, suction hose, air at the tank's outlet",
           suction_m3_s=4e-3 / 60),
    _fault("valve_stuck_shut", "the valve of section 2 sticks shut",
           "catch the outlets; its plug, its coil", valves={1: "stuck shut"}),
    _fault("valve_stays_open", "the valve of section 2 stays open as it is switched off",
           "switch it on the bench and watch its outlets; its plug, its coil, dirt in it",
           goes_off=SECOND, valves={1: "stuck open"}),
    _fault("implement_chatters", "the implement switch chatters",
           "move its cable and its lever by hand; plug, water, bracket",
           chatters=SWITCH_IMPLEMENT),
    _fault("section_chatters", "the switch of section 2 chatters",
           "move its cable by hand; plug, contact", chatters=SECOND),
    _fault("valve_slow", "the valve of section 2 takes ten times as long; a headland follows",
           "switch it on the bench and listen; dirt in it, its supply", headland=True,
           valves={1: "slow"}),
    _fault("leak_down", "the line leaks back past the pump within 10 s; a headland follows",
           "the pressure falls while all is shut; valves of the pump", headland=True,
           leak_down_s=10.0),
    _fault("headland", "nothing; a headland follows, to compare the two above with", "",
           headland=True),
    _fault("hung_program", "the program hangs", "report it", stalled=True),
)


@dataclass(frozen=True)
class FaultOutcome:
    """What came of a fault. Errors are in percent of the wanted rate, steady and at worst."""

    fault: Fault
    shown: tuple[str, ...]  # names of faults and warnings, in the order they came
    after_s: float | None  # from the break to the first of them, or to leaving `applying`
    state: str  # at the end
    whole_pct: float
    section_pct: float
    wrong_ml: float  # too much or too little until the end or the stop


def run_faults(base: Scenario) -> Iterator[FaultOutcome]:
    """Break everything in turn on the machine of a scenario, at a steady speed."""
    for fault in FAULTS:
        record = Twin(_scenario(base, fault)).run()
        yield judge(fault, record)


def _scenario(base: Scenario, fault: Fault) -> Scenario:
    start = Event("master on, implement down", at_s=1.0, on=SWITCH_MASTER | SWITCH_IMPLEMENT)
    broken = Event(fault.what, at_s=BREAK_S, faults=fault.faults, orifices=fault.orifices,
                   valves=fault.valves, over_s=fault.over_s, stalled=fault.stalled)
    events = [start, broken]
    if fault.headland:
        events += [Event("implement up", at_s=HEADLAND_S[0], off=SWITCH_IMPLEMENT),
                   Event("implement down", at_s=HEADLAND_S[1], on=SWITCH_IMPLEMENT)]
    if fault.goes_off:
        events.append(Event("switched off", at_s=BREAK_S, off=fault.goes_off))
    if fault.chatters:
        for at_s in np.arange(BREAK_S, END_S, 2 * CHATTER_S):
            events += [Event("off", at_s=float(at_s), off=fault.chatters),
                       Event("on", at_s=float(at_s) + CHATTER_S, on=fault.chatters)]
    trace = SpeedTrace("steady", (0.0, END_S), (SPEED_M_S, SPEED_M_S))
    machine = base.machine.override(gnss={"hz": fault.gnss_hz})
    return replace(base, machine=machine, speed_trace=trace, events=events, field=CALM)


def judge(fault: Fault, record: RunRecord) -> FaultOutcome:
    """What the controller showed, and what the ground got, from the record of its drive."""
    time_s = record["time_s"]
    broken = time_s > BREAK_S
    applying = record["state"] == APPLYING
    shown, after_s = _shown(record, broken)
    lifted = record["hand_switches"].astype(int) & SWITCH_IMPLEMENT == 0
    stopped = time_s[broken & ~applying & ~lifted & ~_just_lowered(lifted)]
    if stopped.size and (after_s is None or stopped[0] - BREAK_S < after_s):
        after_s = float(stopped[0] - BREAK_S)
    errors = _errors_pct(fault, record)
    steady = broken & applying & (time_s > BREAK_S + SETTLED_S)
    whole = float(errors[:, 0][steady].mean()) if steady.any() else float("nan")
    sections = errors[:, 1:][steady].mean(axis=0) if steady.any() else np.array([np.nan])
    return FaultOutcome(
        fault, shown, after_s, STATE_NAMES[int(record["state"][-1])], whole,
        float(sections[np.argmax(np.abs(sections))]), _wrong_ml(fault, record, broken & applying))


def _just_lowered(lifted: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Ticks within a second after the implement came down: its switch is debounced."""
    recent = np.convolve(lifted, np.ones(SECOND_TICKS))[: len(lifted)]
    return recent > 0


def _shown(record: RunRecord, broken: NDArray[np.bool_]) -> tuple[tuple[str, ...], float | None]:
    """Names of the faults that came after the break, and how soon the first did."""
    masks = record["faults"].astype(int)
    names: list[str] = []
    first_s = None
    for index in np.flatnonzero(broken):
        for name in faults.names(masks[index] & ~masks[index - 1]):
            if name not in names:
                names.append(name)
            if first_s is None:
                first_s = float(record["time_s"][index] - BREAK_S)
    return tuple(names), first_s


def _whole_ml(record: RunRecord) -> NDArray[np.float64]:
    """Volume that each section is due in each tick while it is on."""
    widths = np.array(record.about["section_width_m"])
    metres = np.diff(record["true_distance_m"], prepend=record["true_distance_m"][0])
    return np.outer(record["wanted_ml_ha"] * metres / 1e4, widths)


def _wanted_ml(fault: Fault, record: RunRecord) -> NDArray[np.float64]:
    """Volume wanted from each section in each tick: none of one that was switched off."""
    wanted = _whole_ml(record)
    off = [bool(fault.goes_off >> SWITCH_SECTION_SHIFT + section & 1)
           for section in range(wanted.shape[1])]
    wanted[np.outer(record["time_s"] > BREAK_S, off)] = 0.0
    return wanted


def _given_ml(record: RunRecord) -> NDArray[np.float64]:
    return np.diff(record.section_ml, axis=0, prepend=record.section_ml[:1])


def _errors_pct(fault: Fault, record: RunRecord) -> NDArray[np.float64]:
    """Error of the whole boom, then of each section, a row a tick."""
    wanted, wrong = _wanted_ml(fault, record), _given_ml(record) - _wanted_ml(fault, record)
    wrong = np.column_stack([wrong.sum(axis=1), wrong])
    due = np.column_stack([wanted.sum(axis=1), _whole_ml(record)])
    return 100.0 * wrong / np.maximum(due, 1e-9)


def _wrong_ml(fault: Fault, record: RunRecord, where: NDArray[np.bool_]) -> float:
    wrong = np.abs(_given_ml(record) - _wanted_ml(fault, record)).sum(axis=1)
    return float(wrong[where].sum())


HEADINGS = ("what breaks", "what is shown", "after", "then", "rate", "worst section", "wrong")


def cells(outcome: FaultOutcome, us: bool = False) -> tuple[str, ...]:
    """One row of the table, a text for each of HEADINGS, in metric or in US units."""
    after = "-" if outcome.after_s is None else f"{outcome.after_s:.1f} s"
    return (outcome.fault.what, ", ".join(outcome.shown) or "nothing", after, outcome.state,
            _percent(outcome.whole_pct), _percent(outcome.section_pct),
            units.text("catch_ul", outcome.wrong_ml * ML_M3, us))


def _percent(value: float) -> str:
    return "stopped" if np.isnan(value) else f"{value:+.1f} %"


def as_json(outcome: FaultOutcome) -> dict[str, Any]:
    """The outcome for a file."""
    def number(value: float) -> float | None:
        return None if np.isnan(value) else value

    return {"fault": outcome.fault.name, "what": outcome.fault.what, "find": outcome.fault.find,
            "shown": list(outcome.shown), "after_s": outcome.after_s, "state": outcome.state,
            "rate_error_pct": number(outcome.whole_pct),
            "worst_section_error_pct": number(outcome.section_pct),
            "wrong_ml": outcome.wrong_ml}


PAGE_HEAD = f"""\
# Faults

Made by `make docs` from `host_sim/trials/faults.py`; do not edit it here. The same table:
`python -m host_sim faults`.

The plot bar of the demo drives at {SPEED_M_S:g} m/s; after {BREAK_S:g} s one thing breaks. The
table says what the controller shows, how soon, and what state it is in {END_S - BREAK_S:g} s
later. *Rate* is the true error of the whole boom once it is steady, *worst section* that of the
section that is most off, *wrong* the liquid that went where it should not, or did not go where it
should, until then or until the outputs dropped; after a headland it counts from where the
controller is permitted to apply again. More to break: [disturbances](disturbances.md). What to do
about each fault and warning: [find a fault](../how_to/find_a_fault.md).

"""


def page() -> str:
    """The reference page, made by breaking everything in turn on the demo's machine."""
    outcomes = list(run_faults(load_scenario(DEMO)))
    lines = ["| " + " | ".join(HEADINGS) + " |", "|" + "---|" * len(HEADINGS)]
    lines += ["| " + " | ".join(cells(outcome)) + " |" for outcome in outcomes]
    found = [f"- When {outcome.fault.what}: {outcome.fault.find}."
             for outcome in outcomes if outcome.fault.find]
    return PAGE_HEAD + "\n".join(lines) + "\n\n## How to find it\n\n" + "\n".join(found) + "\n"
