"""Priming on the twin: the first metre after a headland, and everything that must end it."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from app.priming import BEYOND, FLOW, NO_PRESSURE, REST_TICKS
from app.run_log import lines as run_log_lines
from app.store import TOTALS_SLOTS
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.machine_file.pressure_file import pressure_bytes
from host_sim.machine_file.twin_spec import spec_of
from host_sim.runs.record import RunRecord
from host_sim.runs.summary import summarise
from host_sim.twin.hands import Event
from host_sim.twin.scenario import SCENARIO_DIR, Scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from rate_control.interlock import APPLYING, PRIMING, READY
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, TICK_MS

PLOT_BAR = (SCENARIO_DIR / "plot_bar.machine.toml").read_text(encoding="utf-8")
PRIME_BAR = 1.2
SENSOR = '\n[pressure]\nsignal = "0.5 to 4.5 V"\nrange = "4 bar"\n'
PRIMES = f'prime = "{PRIME_BAR} bar"\nprime_time = "8 s"\n'
LIFTED_S, DOWN_S, END_S = 20.0, 30.0, 42.0
REST_S = REST_TICKS * TICK_MS / 1000
BEGUN_S = LIFTED_S + REST_S + 0.2  # a switch is debounced, and believed a tick later
MASTER_ON = Event("on", at_s=1.0, on=SWITCH_MASTER)
UP = Event("up", at_s=LIFTED_S, off=SWITCH_IMPLEMENT)


def machine(table: str = SENSOR + PRIMES) -> MachineFile:
    return load_machine(SCENARIO_DIR / "plot_bar.machine.toml", PLOT_BAR + table)


def driven(table: str = SENSOR + PRIMES, *events: Event, down_s: float = DOWN_S,
           stop_s: float = 100.0, reading: Callable[[], int] | None = None,
           file: bytes = b"", hands: Sequence[Event] = ()) -> tuple[RunRecord, Twin]:
    """Work, a headland, work again at 3 m/s; it stops at stop_s. reading is the sensor's, in mV.

    file is another one for the board than the table's; hands are others than these.
    """
    bar = machine(table)
    hands = hands or [Event("rate", at_s=0.5, rate_ml_ha=95000), MASTER_ON,
             Event("down", at_s=2.0, on=SWITCH_IMPLEMENT), UP,
             Event("down", at_s=down_s, on=SWITCH_IMPLEMENT), *events]
    times, speeds = [0.0, 3.0, 5.0], [0.0, 0.0, 3.0]
    if stop_s < END_S:
        times, speeds = [*times, stop_s - 1.0, stop_s], [*speeds, 3.0, 0.0]
    scenario = Scenario("priming", spec_of(bar), bar.settings,
                        SpeedTrace("even", (*times, END_S), (*speeds, speeds[-1]), ""), 1,
                        sorted(hands, key=lambda event: event.when),
                        pressure=file or pressure_bytes(bar))
    twin = Twin(scenario)
    if reading:
        twin.board.fittings.pressure.terminal_mv = reading
    return twin.run(), twin


def states(record: RunRecord, after_s: float = BEGUN_S) -> list[int]:
    """The states, one after the other, from a moment in the headland on."""
    codes = record["state"][record["time_s"] > after_s].astype(int)
    return codes[np.flatnonzero(np.diff(codes, prepend=-1))].tolist()


def primed(record: RunRecord) -> Any:
    return record["state"] == PRIMING


def test_the_line_is_held_at_its_pressure_with_every_section_shut() -> None:
    """In a line that holds what it had, and in one that leaks down within a second."""
    for leaking in ((), (Event("leak", at_s=1.0, faults={"leak_down_s": 1.0}),)):
        record, _ = driven(SENSOR + PRIMES, *leaking)
        assert states(record) == [PRIMING, APPLYING]
        when = primed(record)
        assert not record["section_mask"][when].any()
        late = record["true_pressure_bar"][when & (record["time_s"] > BEGUN_S + 3.0)]
        assert late.min() > 0.9 * PRIME_BAR and late.max() < 1.2 * PRIME_BAR


def first_metres_pct(record: RunRecord) -> float:
    """Liquid that is missing on the first two metres after the headland, in percent."""
    at_work = record["time_s"] >= DOWN_S
    way_m = record["true_distance_m"][at_work] - record["true_distance_m"][at_work][0]
    first = way_m <= 2.0
    volume_ml = sum(column[at_work][first][-1] - column[at_work][first][0]
                    for name, column in record.columns.items() if name.startswith("true_section_"))
    wanted_ml = 95000 * 3.5 * way_m[first][-1] / 1e4
    return float(100 * (1 - volume_ml / wanted_ml))


def test_the_first_metres_get_more_of_their_rate_with_it() -> None:
    """After a headland in which the line leaks down, as on any machine that is not new."""
    leaking = Event("leak", at_s=1.0, faults={"leak_down_s": 1.0})
    without, _ = driven(SENSOR, leaking)
    with_it, _ = driven(SENSOR + PRIMES, leaking)
    assert primed(with_it).any() and not primed(without).any()
    assert abs(first_metres_pct(with_it)) < 0.6 * abs(first_metres_pct(without))


def test_it_ends_after_its_time_until_the_implement_was_down() -> None:
    record, _ = driven(down_s=37.0)
    assert states(record) == [PRIMING, READY, APPLYING]
    assert primed(record).sum() * 0.05 == pytest.approx(8.0, abs=0.2)


@pytest.mark.parametrize("events", [
    (Event("off", at_s=26.0, off=SWITCH_MASTER),),
    (Event("cut", at_s=26.0, faults={"pressure_cut": True}),),
    (Event("sections", at_s=26.0, off=0b111 << 2),),
])
def test_it_ends_at_once_with_any_permit_that_is_lost(events: tuple[Event, ...]) -> None:
    record, _ = driven(SENSOR + PRIMES, *events)
    when = record["time_s"][primed(record)]
    assert when.min() < BEGUN_S + 0.2 and when.max() < 26.4
    off = (record["time_s"] > 26.4) & (record["time_s"] < DOWN_S)
    assert not record["duty_u16"][off].any()


def test_it_ends_when_the_machine_stands() -> None:
    record, _ = driven(stop_s=26.0, down_s=41.0)
    assert primed(record).any() and record["time_s"][primed(record)].max() < 27.5


def test_it_never_begins_without_the_master_proved_off_and_on() -> None:
    """Power comes back in the headland, the master is on: it has to be seen off first."""
    record, _ = driven(SENSOR + PRIMES, Event("cut", at_s=26.0, power_cut=True))
    assert record["time_s"][primed(record)].max() <= 26.1


@pytest.mark.parametrize(("faults", "problem"), [
    ({"pump_dead": True}, NO_PRESSURE), ({"leak_m3_s": 6e-5}, FLOW)])
def test_it_gives_up_on_a_line_that_does_not_hold(faults: dict[str, Any], problem: str) -> None:
    record, twin = driven(SENSOR + PRIMES, Event("broken", at_s=LIFTED_S - 0.5, faults=faults),
                          down_s=41.0)
    when = record["time_s"][primed(record)]
    assert BEGUN_S < when.max() < BEGUN_S + 6.0
    assert problem in twin.application.notes


def test_a_sensor_that_reads_too_little_does_not_let_the_pump_run_away() -> None:
    """Behind a shut cock it reads nothing: the duty is bounded, and it gives up."""
    record, twin = driven(reading=lambda: 500)
    when = primed(record)
    pressure = record["true_pressure_bar"][when & (record["time_s"] > BEGUN_S + 1.0)]
    assert PRIME_BAR < pressure.max() < 2.1 * PRIME_BAR
    assert record["time_s"][when].max() < BEGUN_S + 6.0
    assert NO_PRESSURE in twin.application.notes


@pytest.mark.parametrize("reads_bar", [0.92, 1.0, 1.1])
def test_a_sensor_that_stands_still_a_little_too_low_does_not_either(reads_bar: float) -> None:
    """The pump gets all it may and the reading never comes: it gives up long before its time."""
    record, twin = driven(SENSOR + PRIMES.replace("8 s", "120 s"), down_s=41.0,
                          reading=lambda: round(500 + 1000 * reads_bar))
    assert record["time_s"][primed(record)].max() < BEGUN_S + 12.0
    assert NO_PRESSURE in twin.application.notes


def test_the_file_of_a_machine_with_more_pressure_primes_nothing() -> None:
    """Its pump would be driven to its full duty: the curve here never gets to such a pressure."""
    bar = machine(SENSOR + PRIMES)
    other = replace(bar, pressure=replace(bar.pressure, range_pa=4_000_000, prime_pa=3_000_000))
    record, twin = driven(file=pressure_bytes(other))
    assert not primed(record).any()
    assert twin.application.notes == [BEYOND]


def test_runs_and_totals_are_kept_in_every_headland() -> None:
    """Nothing is written while the pump may be on; before it is, there is time to."""
    hands, at_s = [Event("rate", at_s=0.5, rate_ml_ha=95000), MASTER_ON], 2.0
    for _ in range(3):
        hands += [Event("down", at_s=at_s, on=SWITCH_IMPLEMENT),
                  Event("up", at_s=at_s + 6.0, off=SWITCH_IMPLEMENT)]
        at_s += 12.0
    hands.append(Event("down", at_s=at_s, on=SWITCH_IMPLEMENT))  # before the time is used up
    record, twin = driven(hands=hands)
    assert states(record, 0.0).count(PRIMING) == 3
    assert READY not in states(record, 9.0)[1::3]
    files = twin.board.files()
    kept = [json.loads(body) for _, body in run_log_lines(files.read("runs.0"))]
    assert [run["run"] for run in kept] == [0, 1, 2]
    assert any(files.read(name) for name in TOTALS_SLOTS)


def test_an_implement_switch_that_chatters_starts_no_pump() -> None:
    """It is down for a moment in every one and a half seconds, so nobody knows where it is."""
    hands = [Event("rate", at_s=0.5, rate_ml_ha=95000), MASTER_ON]
    for tick in range(24):
        hands += [Event("down", at_s=6.0 + 1.5 * tick, on=SWITCH_IMPLEMENT),
                  Event("up", at_s=6.3 + 1.5 * tick, off=SWITCH_IMPLEMENT)]
    record, _ = driven(hands=hands)
    assert primed(record)[record["time_s"] < 6.0].any()
    assert not primed(record)[record["time_s"] > 6.3].any()


def test_what_it_says_in_every_headland_is_noted_once() -> None:
    again = (Event("up", at_s=24.0, off=SWITCH_IMPLEMENT),
             Event("down", at_s=31.0, on=SWITCH_IMPLEMENT),
             Event("up", at_s=34.0, off=SWITCH_IMPLEMENT))
    record, twin = driven(SENSOR + PRIMES, *again, down_s=22.5, reading=lambda: 500)
    assert states(record, 0.0).count(PRIMING) > 1
    assert twin.application.notes.count(NO_PRESSURE) == 1


def test_a_pressure_too_high_is_no_reason_to_drive_the_pump() -> None:
    record, _ = driven(reading=lambda: 4000)  # 3.5 bar
    assert primed(record).any() and not record["duty_u16"][primed(record)][1:].any()


def test_a_pressure_that_jumps_up_takes_the_duty_away_at_once() -> None:
    """It read nothing for a second, so the pump presses; then 3.5 bar."""
    ticks = iter(range(10**6))
    record, _ = driven(reading=lambda: 500 if next(ticks) * 0.05 < BEGUN_S + 1.2 else 4000)
    duty, time_s = record["duty_u16"], record["time_s"]
    assert duty[primed(record) & (time_s < BEGUN_S + 1.2)].max() > 0
    assert not duty[primed(record) & (time_s > BEGUN_S + 1.35)].any()


def test_each_headland_has_its_time() -> None:
    again = (Event("up", at_s=35.0, off=SWITCH_IMPLEMENT),
             Event("down", at_s=40.0, on=SWITCH_IMPLEMENT))
    record, _ = driven(SENSOR + PRIMES, *again, down_s=33.0)
    assert states(record) == [PRIMING, READY, APPLYING, READY, PRIMING, APPLYING]


def test_without_the_key_nothing_primes_and_the_run_is_the_same() -> None:
    record, _ = driven(SENSOR)
    assert not primed(record).any() and "pressure" in summarise(record)
