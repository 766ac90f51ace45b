"""Every state that debouncing, faults, permits, interlock and last gate can reach together.

A breadth-first search drives the real controller. Only what measures and what regulates is
stood in for: speed and flow are inputs, and the loop always commands a flow, so that nothing but
the permits keeps the outputs off. A witness that shares no code with the firmware rides along in
each state and judges every transition. The first path that breaks a promise is the shortest one.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

from host_sim.common.progress import Progress, progress
from host_sim.trials.trust.permit_stage import SETTINGS_AT, PermitStage
from host_sim.trials.trust.witness import (
    MOVING,
    NEITHER,
    SILENT,
    STANDING,
    Tick,
    Witness,
    World,
    see_apply,
    see_tick,
)
from rate_control.interlock import STATE_NAMES
from rate_control.records import Request

if TYPE_CHECKING:
    from host_sim.trials.trust.session import TrustPart

COMMAND = "python -m host_sim.trials.trust.states"
APPLY = "new settings are taken between two ticks"
TAKE_ON = "a person takes the settings on"
RESET = "the watchdog resets the controller"

SETTINGS_TOLD = {Request.TAKEN_ON: "taken on", Request.NOT_SET_UP: "not set up",
                 Request.LOST: "lost"}

TAKEN_ON = (Request.TAKEN_ON,)
WORK = World("work", debounce=0, start_delay=0, no_flow_delay=1, speeds=(MOVING, NEITHER),
             bench=(0,), saving=(0,), settings=TAKEN_ON)
LONGER = World("work, longer debouncing", debounce=3, start_delay=0, no_flow_delay=0,
               speeds=(MOVING,), bench=(0,), saving=(0,), settings=TAKEN_ON, section_apart=False)
PLAIN_BENCH = World("bench", debounce=0, start_delay=0, no_flow_delay=0,
                    speeds=(MOVING, STANDING), saving=(0,), settings=TAKEN_ON,
                    section_apart=False)
BENCH_DEBOUNCED = World("bench, debounced", debounce=1, start_delay=0, no_flow_delay=0,
                        speeds=(MOVING, STANDING, SILENT), saving=(0,), settings=TAKEN_ON,
                        section_apart=False)
STORE = World("bench, store and settings", debounce=0, start_delay=0, no_flow_delay=0,
              speeds=(MOVING, STANDING), section_apart=False)
DELAYED = World("work, with a start delay", debounce=1, start_delay=1, no_flow_delay=1,
                speeds=(MOVING,), bench=(0,), saving=(0,), settings=TAKEN_ON)
HEADLAND = World("headland, priming", debounce=0, start_delay=0, no_flow_delay=0,
                 speeds=(MOVING, STANDING), bench=(0,), saving=(0,), settings=TAKEN_ON,
                 prime=(0, 1))
SHORT = (PLAIN_BENCH, LONGER, HEADLAND)
ALL = (WORK, PLAIN_BENCH, LONGER, BENCH_DEBOUNCED, STORE, DELAYED, HEADLAND)


@dataclass(frozen=True)
class Found:
    """What a search of one world found. path is empty where no promise was broken."""

    world: World
    states: int
    transitions: int
    inputs: int
    with_outputs: int  # transitions that left an output on
    reached: frozenset[int]  # operating states
    wrong: str = ""
    path: tuple[str, ...] = ()


def explore(world: World, tell: Progress = lambda share: None) -> Found:
    """Visit every state that the permit stage can reach in a world, nearest first."""
    stage = PermitStage(world)
    ticks = every_tick(world)
    starts = [(stage.start(settings), Witness()) for settings in world.settings]
    keys: list[Any] = list(starts)
    came: list[tuple[int, Any]] = [(-1, None)] * len(starts)
    index = {key: number for number, key in enumerate(keys)}
    transitions = with_outputs = 0
    reached: set[int] = set()

    def found(wrong: str = "", path: tuple[str, ...] = ()) -> Found:
        return Found(world, len(keys), transitions, len(ticks), with_outputs,
                     frozenset(reached), wrong, path)

    at = 0
    while at < len(keys):
        if at % 1000 == 0:
            tell(at / len(keys))
        memory, witness = keys[at]
        settings = memory[SETTINGS_AT]
        for event in (APPLY, TAKE_ON, *ticks):
            if isinstance(event, Tick):
                if event.late and memory[0] is None:
                    continue  # the first tick has none before it to be late after
                after, state, on = stage.tick(memory, event)
                seen, wrong = see_tick(world, witness, event, settings, state, on)
                with_outputs += bool(on)
                reached.add(state)
            else:
                after, taken = stage.apply(memory, event == TAKE_ON)
                seen, wrong = see_apply(witness, taken)
            transitions += 1
            key = (after, seen)
            if key not in index:
                index[key] = len(keys)
                keys.append(key)
                came.append((at, event))
            if wrong:
                return found(wrong, _path(came, keys, at, event, stage))
        transitions += 1  # a reset, which leads back to the start from anywhere
        at += 1
    return found()


def every_tick(world: World) -> list[Tick]:
    """Every input of a tick that the world allows."""
    ticks = [Tick(*values) for values in product(
        (0, 1), (0, 1), (0, 1), world.late, world.no_flow, world.speeds, world.bench,
        world.saving, world.prime)]
    return [tick for tick in ticks if world.section_apart or tick.section == tick.implement]


def _path(came: list[tuple[int, Any]], keys: list[Any], at: int, last: Any, stage: PermitStage
          ) -> tuple[str, ...]:
    """The way to an event in words, from power-up on."""
    events = [last]
    while came[at][0] >= 0:
        events.append(came[at][1])
        at = came[at][0]
    memory = keys[at][0]
    lines = ["power-up with settings " + SETTINGS_TOLD[memory[SETTINGS_AT]]]
    for number, event in enumerate(reversed(events), 1):
        if isinstance(event, Tick):
            memory, state, on = stage.tick(memory, event)
            told = f"{STATE_NAMES[state]}, outputs {'on' if on else 'off'}"
            lines.append(f"{number}: {event.told()} -> {told}")
        else:
            memory, taken = stage.apply(memory, event == TAKE_ON)
            lines.append(f"{number}: {event} -> {'taken' if taken else 'refused'}")
    return tuple(lines)


def told(found: Found) -> str:
    """A search in a line, and the way to what broke a promise."""
    line = (f"{found.world.name}: {found.states:,} states, {found.transitions:,} transitions, "
            f"{found.inputs} inputs a tick; {found.with_outputs:,} transitions with an output on")
    if not found.wrong:
        return line + "; no promise broken"
    return "\n".join((line + f"; {found.wrong}:", *(f"  {step}" for step in found.path)))


def search(worlds: tuple[World, ...]) -> list[Found]:
    """Explore each world, with progress on a terminal."""
    results = []
    for world in worlds:
        with progress(f"states: {world.name}") as tell:
            results.append(explore(world, tell))
    return results


def trust_part(share: float) -> TrustPart:
    """What `make trust` adds: every world, or the short ones where a share is asked for."""
    from host_sim.trials.trust.session import TrustPart  # it asks for this module by name

    results = search(ALL if share >= 1.0 else SHORT)
    states = sum(found.states for found in results)
    transitions = sum(found.transitions for found in results)
    failed = tuple((COMMAND, found.wrong) for found in results if found.wrong)
    worlds = [{"name": found.world.name, "states": found.states,
               "transitions": found.transitions, "inputs": found.inputs} for found in results]
    figures = {"count": states, "transitions": transitions, "failed": len(failed),
               "worlds": worlds}
    line = (f"states   {states:,} in {len(results)} worlds: {transitions:,} transitions, "
            f"{len(failed)} broke a promise")
    return TrustPart(figures, line, failed)


def main(argv: list[str] | None = None) -> int:
    """Run one command line; returns the exit status: 1 where a promise was broken."""
    parser = argparse.ArgumentParser(prog=COMMAND, description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--short", action="store_true", help="explore the three smallest worlds")
    args = parser.parse_args(argv)
    results = search(SHORT if args.short else ALL)
    for found in results:
        print(told(found))
    return 1 if any(found.wrong for found in results) else 0


if __name__ == "__main__":
    sys.exit(main())
