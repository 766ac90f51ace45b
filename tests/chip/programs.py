"""Programs for the emulated chip, in MicroPython: an application to drive, and what it costs."""

# What the interrupts of the emulated USB cost is no part of a tick; see emulated_chip.md.
QUIET = """
import machine, time
def quiet(call, *arguments):
    state = machine.disable_irq()
    try:
        start = time.ticks_us()
        call(*arguments)
        return time.ticks_diff(time.ticks_us(), start)
    finally:
        machine.enable_irq(state)
"""

APPLICATION = """
import boards, gc
from app.start_up import build
board = boards.chosen()
board.feed_watchdog = lambda: None
application = build(board)
gc.collect()
"""

# Eight sections, and every number that can be learned about a machine: what costs most.
MACHINE = """
LEARNED = {
    "curve_supply_mv": 13000, "curve_pressure_u16": 8000, "curve_gap_u16": 1500,
    "curve_share_ul_s": 400000, "meter_droop_ul_s": 4000, "liquid_density_g_l": 1280,
    "look_ahead_ms": 150, "meter_floor_ul_s": 0, "section_count": 8,
}
"""

# 3 m/s, implement down, and a meter far from what the pump's curve says.
DRIVING = MACHINE + """
from rate_control.interlock import STATE_NAMES
from rate_control.records import Request
from rate_control.settings import build as settings_of
MASTER, IMPLEMENT, ALL = 1, 2, 0x3FC
class Driving:
    # the board, with pulses of 390 Hz and 150 Hz and the switches as an operator moves them
    def __init__(self, board):
        self.board = board
        self.switches = 0
        self.now = 0
        self.write = board.write
        self.make_safe = board.make_safe
        self.feed_watchdog = board.feed_watchdog
        self.reset_cause = board.reset_cause
    def now_us(self):
        self.board.now_us()
        return self.now
    def read(self, inputs):
        self.board.read(inputs)
        self.now = (self.now + 50000) & (2**30 - 1)
        inputs.speed_count = self.now // 2564
        inputs.speed_edge_us = inputs.speed_count * 2564
        inputs.flow_count = self.now // 6667
        inputs.flow_edge_us = inputs.flow_count * 6667
        inputs.switches = self.switches
        inputs.supply_mv = 12600
driving = application.board = Driving(board)
controller = application.controller
def ticks(switches, count):
    driving.switches = switches
    for _ in range(count):
        # a poll would read the console, and with it this program
        application._unpolled_ticks = 0
        application.tick(0)
def drive(actuator):
    ticks(IMPLEMENT | ALL, 2)
    settings, problems = settings_of(dict(LEARNED, actuator=actuator))
    assert not problems, problems
    assert controller.apply(settings)
    controller.request.settings_state = Request.TAKEN_ON  # as if a person had taken them on
    ticks(IMPLEMENT | ALL, 6)
    ticks(MASTER | IMPLEMENT | ALL, 8)
    applies()
def applies():
    assert application._tick_error is None, application._tick_error
    assert STATE_NAMES[controller.decided.state] == "applying", controller.decided.faults
"""

# Prints rows of: name, mean and longest in microseconds.
TIMES = """
def nothing():
    pass
# what it takes to measure, and to make the pulses that a machine would send
apart = quiet(nothing)
made = quiet(driving.read, application.inputs) - quiet(board.read, application.inputs)
made += quiet(driving.now_us) - quiet(board.now_us)
# MicroPython remembers where it found a name; whatever runs between ticks may take its place
named = [(thing, name) for thing in (application, str) for name in dir(thing)]
def other_work():
    for thing, name in named:
        getattr(thing, name)
def timed(switches, count, spans):
    driving.switches = switches
    for _ in range(count):
        other_work()
        application._unpolled_ticks = 0
        spans.append(quiet(application.tick, 0) - apart - made)
def row(name, spans):
    print(name, sum(spans) // len(spans), max(spans), sep=";")
def times(name, actuator):
    gc.collect()
    gc.disable()  # quiet() takes memory for its call: no collection may fall into its span
    drive(actuator)
    spans = []
    timed(MASTER | IMPLEMENT | ALL >> 1 & ALL, 8, spans)
    row(name + ", applying", spans)
    applies()
    spans = []
    for off in range(1, 9):
        timed(MASTER | IMPLEMENT | ALL >> off & ALL, 1, spans)
    timed(MASTER, 3, spans)
    timed(MASTER | IMPLEMENT, 2, spans)
    for off in range(7, -1, -1):
        timed(MASTER | IMPLEMENT | ALL >> off & ALL, 1, spans)
    timed(MASTER | IMPLEMENT | ALL, 3, spans)
    row(name + ", headland", spans)
    applies()
    gc.enable()
times("PWM pump", 0)
times("in-line valve", 1)
times("bypass valve", 2)
row("board reads", [quiet(board.read, application.inputs) - apart])
row("board writes", [quiet(board.write, controller.outputs) - apart])
"""

# The bus only counts: a byte is 90 us on it, at 100 kHz with its acknowledgement, in which the
# processor waits and the tick may come.
DISPLAYS = """
from app.displays.hd44780 import Hd44780
from app.displays.ssd1306 import Ssd1306
from app.operator import Operator
class Bus:
    sent = 0
    def writeto(self, address, data):
        self.sent += 1 + len(data)
bus = Bus()
def drawings(name, display):
    bus.sent = 0
    driving.display = lambda: display
    draw = Operator(application).draw
    first = [quiet(draw) - apart]
    row(name + ", all of it drawn", first)
    row(name + ", all of it on the bus", [bus.sent * 90])
    drawn, after = [], []
    for _ in range(5):
        drawn.append(quiet(draw) - apart)
        application._unpolled_ticks = 0
        after.append(quiet(application.tick, 0) - apart - made)
    row(name + ", what changed drawn", drawn)
    row(name + ", tick after a drawing", after)
drawings("characters", Hd44780(bus, lambda ms: None))
drawings("dots", Ssd1306(bus))
"""

# The controller alone on a locked heap, with every kind of actuator, from power-up over applying
# to a lifted implement. Prints the state in which it applied, or where memory was asked for.
LOCKED = MACHINE + """
import micropython
from rate_control.controller import Controller
from rate_control.interlock import STATE_NAMES
from rate_control.records import Inputs
from rate_control.settings import build as settings_of
inputs = Inputs()
inputs.supply_mv = 12600
def step(controller, now):
    inputs.speed_count = now // 2564
    inputs.speed_edge_us = inputs.speed_count * 2564
    inputs.flow_count = now // 6667
    inputs.flow_edge_us = inputs.flow_count * 6667
    micropython.heap_lock()
    try:
        controller.step(inputs, now)
    finally:
        micropython.heap_unlock()
def locked(values):
    controller = Controller(settings_of(values)[0])
    now = 0
    for switches, ticks in ((0x3FE, 6), (0x3FF, 12), (0x1FF, 4), (0x001, 4)):
        inputs.switches = switches
        for _ in range(ticks):
            now += 50000
            try:
                step(controller, now)
            except MemoryError as error:
                return "MemoryError in tick %d" % (now // 50000)
        if switches == 0x1FF:
            state = STATE_NAMES[controller.decided.state]
    return state
for actuator in range(3):
    print(actuator, locked(dict(LEARNED, actuator=actuator)), sep=";")
print("defaults", locked({}), sep=";")
"""
