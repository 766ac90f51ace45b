"""The bench rig's plant against the twin's on the same inputs: the same machine, every kind."""

import importlib
import json
import random
import sys
import types

import numpy as np
import pytest

from bench_rig import plant, pumps
from bench_rig.course import RigCourse
from bench_rig.plant import Plant
from bench_rig.program import RigProgram
from bench_rig.rig import FLOW, SPEED, STEP_US, Rig, Train
from host_sim.board.rig_numbers import rig_numbers
from host_sim.build.interpreters import MICROPYTHON_32, run_on
from host_sim.build.tick_cost import TickMeter
from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.spec import BYPASS_VALVE

TICK_US = 50_000
SUBSTEP_S = 0.005
TICKS = 500
# Of the highest flow that is reached, at any tick: the friction of hoses, which the rig takes at
# one flow. The most that was seen is 0.2 %.
TOLERANCE = 0.005
VOLUME_TOLERANCE = 0.005
TURNS_MAX = 850  # of the reference loop, for a step with eight sections; a tick takes 322 to 547
GARBAGE_MAX = 7000  # bytes of a step, the valve on its way
SINGLE_TOLERANCE = 1e-3  # floats of 24 bits, as on a board, against those of 53


def orders(spec, seed=3):
    """Duty, valve pulse and sections of each tick: steps, bursts and short pulses."""
    chance = random.Random(seed)
    every = (1 << spec.sections.count) - 1
    more = -1 if spec.actuator == BYPASS_VALVE else 1
    duty, mask = 0.0, every
    for tick in range(TICKS):
        if tick % 40 == 0:
            duty = chance.choice((0.0, 0.3, 0.5, 0.7, 0.9, 1.0))
            mask = chance.randrange(1, every + 1)
        pulse_ms = 0
        if spec.valve and tick % 40 < 6:
            pulse_ms = 50 * more * (1 if tick // 40 % 3 else -1)
        elif spec.valve and tick % 40 == 20:
            pulse_ms = chance.choice((-1, 1)) * chance.randrange(10, 50)
        yield duty, pulse_ms, mask


def live(played, duty, pulse_ms, mask):
    """Let the rig's plant live for a tick."""
    played.drive(duty, mask)
    left_ms = abs(pulse_ms)
    for _ in range(round(TICK_US * 1e-6 / SUBSTEP_S)):
        valve = getattr(played.pump, "valve", None)
        if valve:
            on_ms = min(left_ms, 5)
            left_ms -= on_ms
            valve.turn((pulse_ms > 0) - (pulse_ms < 0), on_ms * 1e-3, left_ms > 0)
        played.step(SUBSTEP_S)


def lived(kind, numbers=None):
    """(flow of the twin, of the rig) by tick, both machines, pulses of the rig."""
    spec = machine_spec(kind)
    machine, played = Machine(spec), Plant(numbers or rig_numbers(spec))
    flows, pulses = [], 0.0
    for tick, (duty, pulse_ms, mask) in enumerate(orders(spec), start=1):
        machine.advance(tick * TICK_US, Actuation(duty, pulse_ms, mask), 2.0)
        live(played, duty, pulse_ms, mask)
        pulses += float(played.take_pulses())
        flows.append((machine.flow_m3_s, float(played.flow_m3_s)))
    return np.array(flows), machine, played, pulses


@pytest.mark.parametrize("kind", KINDS)
def test_flow_volume_and_pulses_are_the_twin_s(kind):
    flows, machine, played, pulses = lived(kind)
    most = flows[:, 0].max()
    assert most > 0
    assert np.abs(flows[:, 0] - flows[:, 1]).max() < TOLERANCE * most
    assert pulses == pytest.approx(machine.flow_meter.count, rel=VOLUME_TOLERANCE, abs=1)
    for own_ul, true_ml in zip(played.section_ul(), machine.section_volume_ml, strict=True):
        assert own_ul / 1e3 == pytest.approx(true_ml, rel=VOLUME_TOLERANCE, abs=5)
    if machine.valve_position is not None:
        assert played.pump.valve.ball == pytest.approx(machine.valve_position, abs=0.002)
    assert 1e3 * played.supply_v == pytest.approx(machine.supply_mv, abs=100)


def singles(value):
    """Numbers of 24 bits in place of all floats."""
    if isinstance(value, dict):
        return {name: singles(part) for name, part in value.items()}
    if isinstance(value, list):
        return [singles(part) for part in value]
    return np.float32(value) if isinstance(value, float) else value


@pytest.mark.parametrize("kind", ["hydraulic", "bypass_centrifugal"])
def test_floats_of_a_board_do(kind, monkeypatch):
    for module in (plant, pumps):
        for name in ("sqrt", "exp"):
            monkeypatch.setattr(module, name, getattr(np, name))
    flows, _, exact, pulses = lived(kind)
    short, _, played, short_pulses = lived(kind, singles(rig_numbers(machine_spec(kind))))
    assert isinstance(played.pressure_pa, np.float32)  # nothing on the way made it a double
    most = flows[:, 1].max()
    assert np.abs(flows[:, 1] - short[:, 1]).max() < SINGLE_TOLERANCE * most
    assert short_pulses == pytest.approx(pulses, rel=SINGLE_TOLERANCE)
    for own, other in zip(played.section_ul(), exact.section_ul(), strict=True):
        assert own == pytest.approx(other, rel=SINGLE_TOLERANCE, abs=2000)


def test_a_step_with_eight_sections_costs_no_more_than_it_may(record_property):
    """Counted as a tick is (test_tick_cost.py), with floats of 53 bits in hardware: a board without
    a floating-point unit takes longer.
    """
    meter = TickMeter("firmware")
    for kind in ("electric_m", "bypass_pd"):
        eight = machine_spec(kind, sections={"orifice_count": (2,) * 8, "hose_m": (1.0,)})
        numbers = json.dumps(rig_numbers(eight))
        few, many = (run_on(MICROPYTHON_32, "tests/vm/rig_cost.py", count, numbers)
                     for count in ("20", "40"))
        turns = (many.fuel - few.fuel) / 20 / meter.reference
        record_property("summary", f"a step of the bench rig, eight sections, {kind:12} "
                                   f"{turns:5.1f} turns of the reference loop, "
                                   f"{few.stdout.strip()} B of garbage")
        assert turns <= TURNS_MAX and int(few.stdout) <= GARBAGE_MAX


def test_a_train_gives_each_whole_number_at_its_moment():
    train = Train()
    assert train.grow(0.4) == []
    assert train.grow(1.0) == [pytest.approx(0.6)]
    assert train.grow(2.0) == [pytest.approx(0.3), pytest.approx(0.8)]
    assert train.grow(0.0) == []


def test_a_course_follows_its_knots():
    course = RigCourse([[0, 2.0], [5, 2.0], [5.000001, 2.0], [5.05, 1.5], [8, 1.5]],
                    [[0, 4], [1.0, 5], [2.0, 7]])
    speeds = [course.speed_m_s(time_s) for time_s in (0, 3, 5.0, 5.025, 5.05, 9)]
    assert speeds == pytest.approx([2.0, 2.0, 2.0, 1.75, 1.5, 1.5], abs=0.001)
    assert [course.closed(time_s) for time_s in (0, 0.99, 1.0, 5)] == [4, 4, 5, 7]


class Port:
    """Pins that nobody holds."""

    def __init__(self):
        self.sent = {SPEED: 0, FLOW: 0}
        self.rests = 0

    def read(self, drive):
        drive.duty, drive.section_mask = 0.8, 0b111

    def pulses(self, channel, moments):
        assert all(0 <= moment <= STEP_US for moment in moments)
        self.sent[channel] += len(moments)

    def switches(self, closed):
        self.closed = closed

    def supply(self, volts):
        assert 10 < volts < 14

    def rest(self):
        self.rests += 1


TASK = {"speed": [[0, 2.0], [10, 2.0]], "switches": [[0, 3]]}


def test_a_run_tells_what_is_true():
    port = Port()
    rig = Rig(port, TASK | {"plant": rig_numbers(machine_spec("electric_m"))})
    rows = [row for row in (rig.step() for _ in range(1000)) if row]
    assert rig.over and len(rows) == 200
    time_ms, way_um, speed_mm_s, flow_ul_s, pressure_pa, closed, duty_ppm, mask, *volumes = rows[-1]
    # the first step goes from rest to 2 m/s: 10 mm less than all of the way
    assert (time_ms, way_um, speed_mm_s, closed, duty_ppm, mask) == (
        10_000, 19_990_000, 2000, 3, 800_000, 7)
    assert flow_ul_s > 100_000 and pressure_pa > 50_000
    assert sum(volumes) == pytest.approx(10 * flow_ul_s, rel=0.05)
    assert port.sent[SPEED] == pytest.approx(20 * 130, abs=2)
    assert port.sent[FLOW] == pytest.approx(sum(volumes) * 450e-6, rel=0.05)


class Host:
    """The rig's end of a line: lines that come, and what was told; `takes` bytes at a time."""

    def __init__(self, takes=10_000):
        self.coming = []
        self.told = b""
        self.takes = takes

    def read(self, limit):
        return self.coming.pop(0) if self.coming else None

    def write(self, data):
        self.told += bytes(data[: self.takes])
        return min(len(data), self.takes)


def program(takes=10_000):
    port, host = Port(), Host(takes)
    return RigProgram(port, host), port, host


@pytest.mark.parametrize(("line", "said"), [
    (b"what\n", b"no request"),
    (b"[1]\n", b"no request"),
    (b'{"do": "fly"}\n', b"no such request: fly"),
    (b'{"do": "start"}\n', b"nothing is loaded"),
    (b'{"do": "load", "plant": {}}\n', b"load: KeyError"),
    (b'{"do": "load", "plant": 1, "speed": [], "switches": []}\n', b"load: TypeError"),
    (b"x" * 20_000, b"longer than"),
])
def test_what_the_rig_cannot_do_is_said_and_it_lives_on(line, said):
    rig, _, host = program()
    host.coming = [line, b"\n", b'{"do": "hello"}\n']
    for _ in range(3):
        rig.poll()
    assert said in host.told
    assert host.told.endswith(b'{"rig": 1, "step_us": 10000}\n')
    assert not rig.running


def test_a_run_ends_at_rest_and_a_host_that_does_not_read_loses_rows():
    for takes, lost in ((10_000, False), (0, True)):
        rig, port, host = program(takes)
        rig._load(TASK | {"plant": rig_numbers(machine_spec("electric_m"))})
        rig._start()
        for _ in range(1000):  # 10 s
            rig.step(7)
        assert not rig.running
        assert port.rests == 3  # at the start, at the load, at the end
        host.takes = 100_000
        for _ in range(3):
            rig.poll()
        end = host.told.splitlines()[-1]
        assert b'"over": 10000' in end and b'"late_us": 7' in end
        assert (b'"lost": 0' not in end) == lost


def test_a_valve_s_drive_is_shared_out_over_the_parts_of_a_step():
    """6 ms at the end of a step that goes on, 7 ms from the beginning of one that ends."""
    task = TASK | {"plant": rig_numbers(machine_spec("inline_pd"))}
    rig = Rig(Port(), task)
    turned = []
    rig._valve.turn = lambda direction, on, goes_on: turned.append((round(on, 4), bool(goes_on)))
    for us, goes_on in ((6000, 1), (10_000, 1), (7000, 0), (3000, 0)):
        rig.drive.valve_us, rig.drive.valve_goes_on, rig.drive.valve_direction = us, goes_on, 1
        for part in range(2):
            rig._turn_valve(part)
    assert turned == [(0.001, True), (0.005, True), (0.005, True), (0.005, True),
                      (0.005, True), (0.002, False), (0.003, False), (0.0, False)]


class Board:
    """The modules of the rig's main.py: time that passes, a port, a line that ends in Ctrl-C."""

    def __init__(self, lines, reads):
        self.now_us = 0
        self.lines = list(lines)
        self.reads = reads
        self.told = b""
        self.port = Port()

    def ticks_us(self):
        self.now_us += 400
        return self.now_us

    def read(self, limit):
        self.reads -= 1
        if self.reads == 400:
            self.now_us += 35_000  # the collector of garbage, or a flash write
        if not self.reads:
            raise KeyboardInterrupt
        return self.lines.pop(0) if self.lines else None

    def write(self, data):
        self.told += bytes(data)
        return len(data)


def test_main_steps_on_time_catches_up_and_ends_at_rest(monkeypatch):
    """main.py as the board runs it; only time, pins and console are others."""
    task = {"do": "load"} | TASK | {"plant": rig_numbers(machine_spec("electric_m"))}
    whole = json.dumps(task).encode() + b'\n{"do": "start"}\n'
    pieces = [whole[start : start + 256] for start in range(0, len(whole), 256)]
    board = Board(pieces, 1000)
    fakes = {
        "time": types.SimpleNamespace(ticks_us=board.ticks_us, ticks_add=lambda a, b: a + b,
                                      ticks_diff=lambda a, b: a - b),
        "bench_rig.rp2_port": types.SimpleNamespace(Rp2Port=lambda: board.port),
        "boards.console_port": types.SimpleNamespace(ConsolePort=lambda: board),
    }
    for name, module in fakes.items():
        monkeypatch.setitem(sys.modules, name, module)
    monkeypatch.delitem(sys.modules, "bench_rig.main", raising=False)
    run = importlib.import_module("bench_rig.main").run
    with pytest.raises(KeyboardInterrupt):
        run()
    monkeypatch.delitem(sys.modules, "bench_rig.main")
    rows = [json.loads(line) for line in board.told.splitlines() if line.startswith(b"[")]
    ran_us = board.now_us - 400 * len(pieces)
    # a row for every 50 ms of time that has passed: what was late is made up for
    assert len(rows) == pytest.approx(ran_us / 50_000, abs=1)
    assert [row[0] for row in rows] == [50 * (index + 1) for index in range(len(rows))]
    assert board.port.rests == 3  # at the start, at the load, at the end
