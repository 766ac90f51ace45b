"""The test sequence: what happens, when, and what is looked at afterwards.

After ISO 5682-3:1996 (test method for volume/hectare adjustment systems), clauses 4 to 6, read
in its Russian adoption GOST ISO 5682-3-2004: start condition 2 m/s and 300 L/ha; nozzle lines on
at 2, 1.5 and 2.5 m/s; sections off one by one to one and on again; speed 1.5, 2, 2.5, 2, 1.5
m/s; resetting 100-200-300-400 and 500-400-300-200 L/ha, seven times. The standard gives a method
and no limits. What is ours: how long each stage lasts, the changes of speed a second time as a
vehicle makes them, and rates scaled to the machine (see `unit_rate_l_ha`).

It is driven in two parts. Times, peaks and volumes are taken from `changes`, on even ground, so
that what is seen is the machine and not the noise of its speed sensor; the spread of the rates
from `repeats`, on uneven ground.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from host_sim.common.errors import InputError
from host_sim.plant.spec import MachineSpec
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.speed_trace import SpeedTrace
from rate_control.settings import Settings, build
from rate_control.units import (
    RATE_MAX_ML_HA,
    SWITCH_IMPLEMENT,
    SWITCH_MASTER,
    SWITCH_SECTION_SHIFT,
)

START_M_S = 2.0
SPEEDS_M_S = (1.5, 2.0, 2.5, 2.0, 1.5)
START_HUNDREDS = 3  # 300 L/ha
RISING, FALLING = (1, 2, 3, 4), (5, 4, 3, 2)  # hundreds of L/ha
REPEATS = 7
STAGE_S = 8.0
STEP_S = 0.05  # no vehicle changes its speed in a tick; the sharpest test there is
VEHICLE_M_S2 = 1.0
HEADROOM = 0.95  # of the highest flow, for the highest rate
RATE_STEP_L_HA = 5

STARTING, OFF, ON = "lines on", "sections off", "sections on"
STEPS, RAMPS = "speed steps", "speed at 1 m/s2"
UP, DOWN = "rate up", "rate down"
PARTS = (STARTING, OFF, ON, STEPS, RAMPS, UP, DOWN)


@dataclass(frozen=True)
class Stage:
    """From a change to the next. `changed_s` is when the change is complete."""

    part: str
    start_s: float
    changed_s: float
    end_s: float
    level: str = ""  # the rate, where it is reset: repeats of one level are compared


@dataclass
class Sequence:
    """Stages in order, and what a drive of them needs."""

    unit_l_ha: int
    stages: list[Stage] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    speed: list[tuple[float, float]] = field(default_factory=list)
    now_s: float = 0.0

    @property
    def start_rate_ml_ha(self) -> int:
        """The rate of the start condition."""
        return 1000 * self.unit_l_ha * START_HUNDREDS

    def scenario(self, title: str, machine: MachineSpec, settings: Settings, seed: int) -> Scenario:
        """The drive of this sequence. Raises InputError where the machine is too small for it.

        Nothing is applied, so the highest rate of the owner, which may be lower, says nothing.
        """
        if not self.start_rate_ml_ha:
            raise InputError(f"{title}: the highest flow is too small for the sequence: over this "
                             f"width it gives less than {RATE_STEP_L_HA * max(FALLING)} L/ha at "
                             f"{3.6 * START_M_S:g} km/h")
        times_s, speeds = zip(*self.speed, strict=True)
        started, problems = build({"rate_ml_ha": self.start_rate_ml_ha,
                                   "highest_rate_ml_ha": RATE_MAX_ML_HA}, settings)
        assert started is not None, problems
        trace = SpeedTrace(title, times_s, speeds)
        return Scenario(title, machine, started, trace, seed, self.events)


def unit_rate_l_ha(settings: Settings) -> int:
    """What stands for 100 L/ha.

    It is 100 where the highest flow allows 500 L/ha at 2 m/s; otherwise all rates are scaled
    down together, in steps of 5 L/ha. The standard lets a machine that cannot begin its series
    at 100 or 500 L/ha begin at 150 or 450; one that is smaller still has to be scaled.
    """
    width_m = settings.total_width_mm() / 1e3
    flow_m3_s = HEADROOM * settings.curve_flow_ul_s[-1] * 1e-9
    most_l_ha = flow_m3_s / (START_M_S * width_m) * 1e7
    return min(100, int(most_l_ha / max(FALLING)) // RATE_STEP_L_HA * RATE_STEP_L_HA)


def changes(settings: Settings) -> Sequence:
    """Every kind of change once."""
    return _ended(_resetting(_changes_at_one_rate(settings), 1))


def short_changes(settings: Settings) -> Sequence:
    """Every kind of change but that of the rate: what happens in the field all the time."""
    return _ended(_changes_at_one_rate(settings))


def _changes_at_one_rate(settings: Settings) -> Sequence:
    sequence = _started(settings)
    _lines_on(sequence)
    _sections(sequence, settings.section_count)
    _speeds(sequence, STEPS, STEP_S)
    _speeds(sequence, RAMPS, abs(SPEEDS_M_S[1] - SPEEDS_M_S[0]) / VEHICLE_M_S2)
    return sequence


def repeats(settings: Settings, count: int = REPEATS) -> Sequence:
    """Both series of rates, again and again."""
    sequence = _started(settings)
    sequence.events.append(Event("lines on", at_s=sequence.now_s, on=SWITCH_IMPLEMENT))
    sequence.now_s += STAGE_S
    return _ended(_resetting(sequence, count))


def _started(settings: Settings) -> Sequence:
    sequence = Sequence(unit_rate_l_ha(settings))
    sequence.speed.append((0.0, START_M_S))
    sequence.events.append(Event("master on", at_s=1.0, on=SWITCH_MASTER))
    sequence.now_s = 3.0
    return sequence


def _ended(sequence: Sequence) -> Sequence:
    sequence.speed.append((sequence.now_s, START_M_S))
    return sequence


def _lines_on(sequence: Sequence) -> None:
    """Switch on at each of three speeds, with the lines off in between."""
    for speed_m_s in (START_M_S, 1.5, 2.5, START_M_S):
        _go(sequence, speed_m_s, STEP_S)
        sequence.now_s += 2.0
        sequence.events.append(Event("lines on", at_s=sequence.now_s, on=SWITCH_IMPLEMENT,
                                     rate_ml_ha=sequence.start_rate_ml_ha))
        _stage(sequence, STARTING)
        sequence.events.append(Event("lines off", at_s=sequence.now_s, off=SWITCH_IMPLEMENT))
    sequence.events.pop()  # the last start is the start condition of what follows


def _sections(sequence: Sequence, count: int) -> None:
    for section in range(count - 1, 0, -1):
        bit = 1 << SWITCH_SECTION_SHIFT + section
        sequence.events.append(Event("section off", at_s=sequence.now_s, off=bit))
        _stage(sequence, OFF)
    for section in range(1, count):
        bit = 1 << SWITCH_SECTION_SHIFT + section
        sequence.events.append(Event("section on", at_s=sequence.now_s, on=bit))
        _stage(sequence, ON)


def _speeds(sequence: Sequence, part: str, takes_s: float) -> None:
    for speed_m_s in SPEEDS_M_S:
        _go(sequence, speed_m_s, takes_s)
        _stage(sequence, part, takes_s)
    _go(sequence, START_M_S, takes_s)
    _stage(sequence, part, takes_s)


def _resetting(sequence: Sequence, count: int) -> Sequence:
    for _ in range(count):
        for part, hundreds in ((UP, RISING), (DOWN, FALLING)):
            for hundred in hundreds:
                rate_ml_ha = 1000 * sequence.unit_l_ha * hundred
                sequence.events.append(
                    Event("rate", at_s=sequence.now_s, rate_ml_ha=rate_ml_ha))
                _stage(sequence, part, level=f"{part} {rate_ml_ha // 1000}")
    return sequence


def _go(sequence: Sequence, speed_m_s: float, takes_s: float) -> None:
    """Change the speed from now on, in `takes_s`."""
    sequence.speed.append((sequence.now_s + 1e-6, sequence.speed[-1][1]))
    sequence.speed.append((sequence.now_s + takes_s, speed_m_s))


def _stage(sequence: Sequence, part: str, takes_s: float = 0.0, level: str = "") -> None:
    start_s = sequence.now_s
    sequence.now_s = start_s + STAGE_S
    sequence.stages.append(Stage(part, start_s, start_s + takes_s, sequence.now_s, level))
