"""Run the application's tick with the heap locked and every part that settings ask for at work.

Prints a line for each day: its ticks under the lock, and what of it was seen. For MicroPython: an
allocation under the lock is a MemoryError, which the application takes for a failure of the tick.
"""

import micropython

from app import parts
from app.plan_file import BY_WAY, PLAN_FILE
from app.store import Store
from app.zones import problem_of
from rate_control.units import BY_BOTH, BY_GNSS
from tests.shared.panel_rig import DOWN, MASTER, SECTIONS, PanelRig
from tests.shared.test_curve_learning import Rig, Seen
from tests.shared.test_nmea_position import gga, rmc
from tests.shared.test_position import LATITUDE_E4, LONGITUDE_E4, MM_NORTH_E7, _angle
from tests.shared.test_pressure_watch import Terminal, pressure_file
from tests.shared.test_trial import Drawer, plan_of
from tests.shared.test_zones import zone_file

LANE_TICKS = 200
LEARN_TICKS = 1000
RADAR = 4  # ticks from one report of the receiver to the next
ASKED = {"speed_source": BY_BOTH, "speed_turn_pulses": 260, "hold_lead_ms": [200, 100]}


class Day:
    """A machine that drives north and back again over the same ground, with a receiver."""

    def __init__(self, position_use, files):
        self.rig = rig = PanelRig(Store(files))
        rig.app.controller.request.settings_state = 0
        asked = dict(ASKED, position_use=position_use)
        assert rig.app.change_settings(asked) == []
        rig.board.pressure_input = Terminal
        parts.fit(rig.app, files)
        self.north_mm = 0
        self.ticks_locked = self.ticks_held = 0
        self.locked_tick = rig.app.tick
        rig.board.callback = self.tick

    def tick(self, _):
        """What the board's timer calls."""
        micropython.heap_lock()
        try:
            self.locked_tick(0)
        finally:
            micropython.heap_unlock()
        self.ticks_locked += 1
        request = self.rig.app.controller.request
        self.ticks_held += 1 if request.hold_mask else 0

    def lane(self, down, course):
        """Drive a lane; the receiver tells place, course and speed, 6 % less than the wheel."""
        rig = self.rig
        board = rig.board
        board.switches = SECTIONS | MASTER | (DOWN if down else 0)
        board.speed_pulses, board.flow_pulses = 18, 1  # what suits 60 L/ha
        for tick in range(LANE_TICKS):
            self.north_mm += 130 if course == b"0.00" else -130
            if tick % RADAR == 0:
                self.report(course)
            rig.ticks(1)

    def report(self, course):
        """Let the receiver speak."""
        rig = self.rig
        now_us = rig.board.now_us()
        rig.app.inputs.report(BY_GNSS, now_us, 2600, 1)
        latitude_e7 = LATITUDE_E4 * 1000 + self.north_mm / MM_NORTH_E7
        place = b"%s,N,%s,W" % (_angle(latitude_e7, 2), _angle(-LONGITUDE_E4 * 1000, 3))
        position = rig.app.position
        position.reader.feed(gga(place, b"4"))
        position.reader.feed(rmc(place, course=course))
        position.follow(now_us)

    def line(self, name, seen):
        """Tell of it, once it is sure that nothing went wrong."""
        assert self.rig.app.failure == "" and self.rig.board.safe == 0, self.rig.app.failure
        print(name, self.ticks_locked, seen)


def covered_ground():
    """Zones set the rate, and what is covered on the way there is held on the way back."""
    files = Drawer()
    files.write("zones.bin", zone_file())
    assert problem_of(files.read("zones.bin")) == ""
    day = Day(2, files)
    assert len(day.rig.app.parts) == 2, day.rig.app.notes
    day.rig.arm()
    day.lane(1, b"0.00")
    day.ticks_held = 0
    day.lane(1, b"180.00")
    day.line("covered", day.ticks_held)


def plots():
    """A trial with its plots, places in its record."""
    files = Drawer()
    files.write(PLAN_FILE, plan_of(((1, 50000, 1000, 5000, "101", "A"),
                                    (1, 60000, 9000, 5000, "102", "B")), BY_WAY))
    day = Day(1, files)
    trial = day.rig.app.trial
    day.rig.arm()
    day.lane(0, b"0.00")
    assert trial.act("begin") == ""
    day.lane(1, b"0.00")
    whole = [line["plot"] for line in files.lines() if line["how"] == "way" and "begin" in line]
    assert whole == ["101", "102"] and trial.why == "finished", files.lines()
    day.lane(0, b"0.00")
    day.line("trial", len(files.lines()))


def learning():
    """Learning at work, from the first tick to a curve that has changed."""
    rig = Rig()
    seen = Seen(rig.flows()[4] + 1, 10)
    tick = rig.learning.tick
    line = []
    for _ in range(LEARN_TICKS):
        micropython.heap_lock()
        try:
            tick(seen, line)
        finally:
            micropython.heap_unlock()
    rig.learning.poll()
    moved = sum([new != old for new, old in zip(rig.flows(), rig.before)])
    print("learning", LEARN_TICKS, moved)


def pressure():
    """A pressure sensor is read in every tick, its windows looked at."""
    files = Drawer()
    files.write("pressure.bin", pressure_file())
    day = Day(0, files)
    watch = day.rig.app.parts[0]
    day.rig.arm()
    for _ in range(2 * LANE_TICKS):
        board = day.rig.board
        board.switches = SECTIONS | MASTER | DOWN
        board.speed_pulses, board.flow_pulses = 18, 1
        day.rig.ticks(1)
    assert watch.pressure == 200000, watch.pressure
    day.line("pressure", watch.permille)


class Greedy:
    """A part that makes a list in the tick."""

    def tick(self, controller, line):
        """See Application."""
        self.made = [controller]


def greedy():
    """Make sure that a part that allocates is found out."""
    day = Day(1, Drawer())
    day.rig.app.parts.append(Greedy())
    day.rig.ticks(2)
    assert "MemoryError" in day.rig.app.failure, "an allocation under the lock went unnoticed"


greedy()
covered_ground()
plots()
learning()
pressure()
