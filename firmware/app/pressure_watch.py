"""The pressure sensor at work: what it says, with the flow, of outlets, filter and pump.

It is loaded where the board holds pressure.bin, which `python -m host_sim pressure` makes of a
machine file. Looked at are means of a second while the controller applies with the same sections
and the meter can be read; what is said lasted for LASTING of them. Little endian:

    "PRES", version, kind of the sensor, its range in Pa, flow in uL/s of all outlets together when
    they are new and with water, the pressure across them then, and the pressure that their check
    valves take, in Pa; the pressure of priming in Pa and its time in s (see priming.py), 0 and 0
    for none; CRC-16 of all before
"""

import struct

from app.link_frame import crc16
from app.parts import PRESSURE_FILE
from app.pressure import (
    BROKEN,
    CURRENT,
    NO_SIGNAL,
    NOTHING,
    PLUGGED,
    PLUGGED_PERMILLE,
    PRESSURE_MAX_PA,
    UNKNOWN,
    VOLTS,
    WORN,
    WORN_PERMILLE,
    drop_pa,
    outlet_permille,
    pressure_pa,
)
from app.trace_more import widen
from app.weak_supply import WeakSupply
from rate_control.interlock import APPLYING
from rate_control.intmath import isqrt, muldiv
from rate_control.ranges import out_of_range
from rate_control.units import FLOW_MAX_UL_S, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.files import LogFiles
    from app.priming import Priming
    from boards.board import VoltageInput
    from rate_control.controller import Controller

MAGIC = b"PRES"
VERSION = 2
PRIME_MAX_S = 120
HEAD = "<4sBBIIIIIH"
HEAD_BYTES = 28
SIZE = HEAD_BYTES + 2
# name, lowest and highest of what the head holds from the third number on
RANGES = (
    ("kind", VOLTS, CURRENT),
    ("range", 10000, PRESSURE_MAX_PA),
    ("flow of new outlets", 1000, FLOW_MAX_UL_S),
    ("pressure of new outlets", 1000, PRESSURE_MAX_PA),
    ("check valves", 0, PRESSURE_MAX_PA),
    ("priming", 0, PRESSURE_MAX_PA),
    ("time of priming", 0, PRIME_MAX_S),
)
NOT_USED = "pressure: %s: not used"
NO_INPUT = "this board has no input for it"

NAMES = ("pressure_pa", "outlet_permille", "pressure_says")
SAYS = (  # by what it says, NOTHING first
    "",
    "outlets pass less than new ones: plugged, or a valve shut",
    "outlets pass more than new ones: worn, or a leak",
    "the filter is clogged: the more flow, the more it takes",
    "the pump is weak: it takes more duty at any flow",
    "the pump needs more duty: clogged filter or weak pump",
    "pressure sensor: no signal, look at its cable",
)

WINDOW_TICKS = 1000 // TICK_MS
SETTLE_TICKS = 1000 // TICK_MS  # after sections have changed
LASTING = 5  # windows in a row
RAMP = 16  # the halves of a window differ by less than one part in so many: the speed is even
POLL_MS = 200


def fit(application: "Application", files: "LogFiles") -> None:
    """Give an application its pressure sensor, or a note that says why there is none."""
    data = files.read(PRESSURE_FILE, 0, SIZE + 1)
    problem = problem_of(data)
    sensor = None if problem else application.board.pressure_input()
    if sensor is None:
        application.notes.append(NOT_USED % (problem or NO_INPUT))
        return
    watch = PressureWatch(application, sensor, data)
    application.parts.append(watch)
    application.jobs.add("pressure", POLL_MS, watch.poll)


def problem_of(data: bytes) -> str:
    """Return what is wrong with a file for a sensor, "" for nothing."""
    if data[:4] != MAGIC or len(data) < 6:
        return "no file for a sensor"
    if data[4] != VERSION:
        return "of another version"
    if len(data) != SIZE:
        return "damaged"
    head = struct.unpack_from(HEAD, data)
    if crc16(data, HEAD_BYTES) != struct.unpack_from("<H", data, HEAD_BYTES)[0]:
        return "damaged"
    for value, row in zip(head[2:], RANGES):
        problem = out_of_range(value, row[1], row[2])
        if problem:
            return "%s %s" % (row[0], problem)
    if head[7] and not head[3] <= 10 * head[7] <= 8 * head[3]:
        return "priming must be 10 to 80 % of the range"
    return ""


class PressureWatch:
    """A sensor with a sound file.

    pressure is what it read last, in Pa, or BROKEN; permille what the outlets passed in the last
    window, of what new ones pass, or UNKNOWN.
    """

    def __init__(self, application: "Application", sensor: "VoltageInput", data: bytes) -> None:
        head = struct.unpack_from(HEAD, data)
        self._kind, self._range_pa, self._new_ul_s, self._new_pa, self._check_pa = head[2:7]
        self._prime: "Priming | None" = None
        if head[7]:
            from app.priming import Priming
            self._prime = Priming(head[7], head[8])
        self._application = application
        self._sensor = sensor
        self._column = widen(application.ring, NAMES)
        self._weak = WeakSupply()
        self.pressure = 0
        self.permille = UNKNOWN
        self._says = NOTHING
        self._next = NOTHING  # what the windows say, and for how many in a row
        self._windows = 0
        self._mask = 0
        self._ticks = -SETTLE_TICKS
        self._sum_ul_s = self._half_ul_s = self._sum_pa = self._sum_u16 = 0
        self._gave_up = ""
        self._lost_ticks = 0
        self._whole = 0  # a window waits for the poll

    def tick(self, controller: "Controller", line: list[int]) -> None:
        """Read the sensor and follow the present window. It allocates nothing."""
        pressure = pressure_pa(self._sensor.terminal_mv(), self._kind, self._range_pa)
        self.pressure = pressure
        self._lost_ticks = self._lost_ticks + 1 if pressure == BROKEN else 0
        if self._prime is not None:
            self._prime.tick(controller, pressure)
        decided = controller.decided
        measured = controller.measured
        mask = decided.section_mask
        steady = decided.state == APPLYING and measured.flow_readable and not decided.coasting
        if not steady or pressure == BROKEN or mask != self._mask:
            self._mask = mask
            self._restart(-SETTLE_TICKS)
        elif not self._whole:
            self._ticks += 1
            if self._ticks > 0:
                self._sum_ul_s += measured.flow_ul_s
                self._sum_pa += pressure
                self._sum_u16 += decided.demand_u16
            if self._ticks == WINDOW_TICKS // 2:
                self._half_ul_s = self._sum_ul_s
            if self._ticks >= WINDOW_TICKS:
                self._whole = 1
        column = self._column
        line[column] = pressure
        line[column + 1] = self.permille if self._ticks >= 0 or self._whole else UNKNOWN
        line[column + 2] = self._says

    def _restart(self, ticks: int) -> None:
        """Begin a window, after so many ticks below zero."""
        self._ticks = ticks
        self._sum_ul_s = self._sum_pa = self._sum_u16 = 0
        self._whole = 0

    def poll(self) -> None:
        """Look at a whole window, and tell what has lasted."""
        if self._prime is not None:
            self._look_at_priming(self._prime)
        if self._lost_ticks >= WINDOW_TICKS:
            self._tell(NO_SIGNAL)
        elif self._says == NO_SIGNAL:
            self._tell(NOTHING)
        if not self._whole:
            return
        controller = self._application.controller
        total = self._sum_ul_s
        even = abs(2 * self._half_ul_s - total) * RAMP < total
        flow = total // WINDOW_TICKS
        pressure = self._sum_pa // WINDOW_TICKS
        demand = self._sum_u16 // WINDOW_TICKS
        self._restart(0)
        if not even:
            return
        self.permille = self._of_new(flow, pressure)
        says = self._verdict()
        if says == NOTHING:
            says = self._weak.look(controller, flow, demand)
        if self.permille == UNKNOWN:
            return  # too little pressure to say anything new
        self._windows = self._windows + 1 if says == self._next else 1
        self._next = says
        if self._windows >= LASTING:
            self._tell(says)

    def _look_at_priming(self, prime: "Priming") -> None:
        """Keep its bound up to date, and tell once why it has given up."""
        controller = self._application.controller
        prime.reckon(controller, self._new_ul_s, self._new_pa, self._check_pa)
        if prime.problem != self._gave_up:
            self._gave_up = prime.problem
            self._note(prime.problem)

    def _of_new(self, flow_ul_s: int, pressure: int) -> int:
        """Return the flow over that of new outlets in the liquid of the settings, or UNKNOWN."""
        controller = self._application.controller
        density = controller.settings.liquid_density_g_l  # the heavier, the slower
        new_ul_s = muldiv(self._new_ul_s, 1000, isqrt(1000 * density))
        return outlet_permille(
            flow_ul_s, drop_pa(pressure, self._check_pa, self._range_pa),
            controller.decided.width_mm, controller.sections.total_width_mm, new_ul_s, self._new_pa)

    def _verdict(self) -> int:
        permille = self.permille
        if permille == UNKNOWN:
            return NOTHING
        if permille > WORN_PERMILLE:
            return WORN
        return PLUGGED if permille < PLUGGED_PERMILLE else NOTHING

    def _tell(self, says: int) -> None:
        """Say it as a note when it begins."""
        if says != self._says:
            self._says = says
            self._note(SAYS[says])

    def _note(self, text: str) -> None:
        """Note what a person has to look at; once, until they have, however often it comes."""
        notes = self._application.notes
        if text and text not in notes:
            notes.append(text)
