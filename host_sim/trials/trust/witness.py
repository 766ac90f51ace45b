"""The witness of the search over states: what the promises say, counted from raw levels alone.

It shares no code with the firmware. It counts in how many ticks in a row the master read off
since the last thing that locks, follows each switch by its own run of samples, and says what is
wrong with a tick.
"""

from __future__ import annotations

from typing import NamedTuple

from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, PRIMING
from rate_control.records import Request

PROOF_LEAST = 3  # samples in a row; two bad ones come by chance
MAY_BE_ON = APPLYING, BENCH, PRIMING
DRIVEN, OPEN = 1, 2  # outputs that are on: a pump or valve is driven, a section is open
FOR_NOTHING, FOR_BENCH, FOR_WORK = range(3)
MOVING, STANDING, NEITHER, SILENT = SPEEDS = (
    "the machine moves", "the machine stands", "the speed says neither",
    "the speed fell silent")


class Tick(NamedTuple):
    """What comes in with one tick. Flags are 0 or 1."""

    master: int
    implement: int
    section: int
    late: int
    no_flow: int  # the condition of a blocking fault
    speed: str
    bench: int  # asked for
    saving: int
    prime: int = 0  # a pressure sensor asks for it

    def told(self) -> str:
        """The tick in words."""
        words = ["master " + ("on" if self.master else "off"),
                 "implement " + ("down" if self.implement else "up"),
                 "section " + ("on" if self.section else "off"), self.speed]
        words += [word for flag, word in (
            (self.late, "the tick is late"), (self.no_flow, "the meter shows no flow"),
            (self.bench, "the bench is asked for"), (self.saving, "the store is written"),
            (self.prime, "priming is asked for")) if flag]
        return ", ".join(words)


class World(NamedTuple):
    """How long things take, in ticks, and which inputs vary in this search."""

    name: str
    debounce: int
    start_delay: int  # of the implement, on top
    no_flow_delay: int
    late: tuple[int, ...] = (0, 1)
    no_flow: tuple[int, ...] = (0, 1)
    speeds: tuple[str, ...] = SPEEDS
    bench: tuple[int, ...] = (0, 1)
    saving: tuple[int, ...] = (0, 1)
    prime: tuple[int, ...] = (0,)
    settings: tuple[int, ...] = (Request.TAKEN_ON, Request.NOT_SET_UP, Request.LOST)
    section_apart: bool = True  # the section switch moves by itself, not with the implement

    @property
    def proof(self) -> int:
        """Samples in a row that prove the master off."""
        return max(self.debounce + 1, PROOF_LEAST)


class Witness(NamedTuple):
    """What has been seen so far, at power-up nothing."""

    proved: int = FOR_NOTHING  # what the master was off for, since the last thing that locks
    off_since: int = 0  # samples off in a row, since then
    off_for: int = 0  # samples off in a row
    master: int = 0  # believed level
    master_run: int = 0  # samples in a row that say otherwise
    implement: int = 0
    implement_run: int = 0
    section: int = 0
    section_run: int = 0
    no_flow_for: int = 0
    blocked: int = 0
    state: int = PARKED


def _follow(level: int, run: int, raw: int, on_ticks: int, off_ticks: int) -> tuple[int, int]:
    if raw == level:
        return level, 0
    if run >= (on_ticks if raw else off_ticks):
        return raw, 0
    return level, run + 1


def see_apply(before: Witness, taken: bool) -> tuple[Witness, str]:
    """New settings were given between two ticks, and taken or refused."""
    if not taken:
        return before, "" if before.state in MAY_BE_ON else "new settings are refused"
    if before.state in MAY_BE_ON:
        return before, "new settings are taken while outputs may be on"
    return Witness(off_for=before.off_for, blocked=before.blocked, state=before.state), ""


def see_tick(world: World, before: Witness, tick: Tick, settings: int, state: int,
             outputs_on: int) -> tuple[Witness, str]:
    """The witness after a tick that led to this state, and what is wrong with it ("": nothing)."""
    (proved, off_since, off_for, master, master_run, implement, implement_run, section,
     section_run, no_flow_for, blocked, state_before) = before
    on_ticks = max(world.debounce, 1)
    master, master_run = _follow(master, master_run, tick.master, on_ticks, world.debounce)
    implement, implement_run = _follow(implement, implement_run, tick.implement,
                                       max(world.debounce + world.start_delay, 1), world.debounce)
    section, section_run = _follow(section, section_run, tick.section, on_ticks, world.debounce)
    off_since = 0 if tick.master else min(off_since + 1, world.proof)
    off_for = 0 if tick.master else min(off_for + 1, PROOF_LEAST)
    if off_since >= world.proof:
        proved = FOR_WORK
    no_flow_for = min(no_flow_for + 1, world.no_flow_delay + 1) if tick.no_flow else 0
    fault = tick.late or no_flow_for > world.no_flow_delay
    wrong = ""
    if fault and state != FAULT:
        wrong = "a blocking fault does not lead to the state fault"
    elif blocked and state != FAULT and off_for < PROOF_LEAST:
        wrong = "a blocking fault is left though the master was not off"
    elif state_before == BENCH and state == APPLYING:
        wrong = "the bench turns into work"
    elif outputs_on:
        wrong = _wrong_when_on(tick, settings, state, bool(fault or blocked), proved,
                               (master, implement, section))
        if state == PRIMING and outputs_on & OPEN:
            wrong = "a section is open while priming"
    blocked = 1 if fault or (blocked and state == FAULT) else 0
    if blocked or (state_before == BENCH and state != BENCH and master):
        proved = FOR_NOTHING
        off_since = 0
    elif state == BENCH:
        proved = min(proved, FOR_BENCH)
    return Witness(proved, off_since, off_for, master, master_run, implement, implement_run,
                   section, section_run, no_flow_for, blocked, state), wrong


def _wrong_when_on(tick: Tick, settings: int, state: int, fault: bool, proved: int,
                   believed: tuple[int, int, int]) -> str:
    master, implement, section = believed
    missing = [
        (state not in MAY_BE_ON, "in a state where nothing may move"),
        (proved == FOR_NOTHING, "without the master proved off since the last lock"),
        (not master, "with the master off"),
        (not section, "with no section on"),
        (fault, "during a blocking fault"),
        (settings == Request.LOST, "with the settings lost"),
        (tick.saving, "while the store is written"),
    ]
    if state == APPLYING:
        missing += [(proved != FOR_WORK, "without the master proved off since the bench"),
                    (not implement, "with the implement up"),
                    (tick.speed != MOVING, "without moving"),
                    (settings != Request.TAKEN_ON, "with settings that nobody took on")]
    elif state == PRIMING:
        missing += [(proved != FOR_WORK, "without the master proved off since the bench"),
                    (implement, "for priming with the implement down"),
                    (tick.speed != MOVING, "for priming without moving"),
                    (not tick.prime, "for priming that nobody asks for"),
                    (settings != Request.TAKEN_ON, "with settings that nobody took on")]
    elif state == BENCH:
        missing += [(not tick.bench, "with no bench asked for"),
                    (tick.speed != STANDING, "on the bench without standing still")]
    for is_missing, words in missing:
        if is_missing:
            return "outputs are on " + words
    return ""
