"""The rig: a machine on a course, between the pins that the controller drives and those it reads.

A step takes what the controller drives now, lets the machine live through the STEP_US that follow,
and hands its pulses of that time to the pins, each with its moment.
"""

from bench_rig.course import RigCourse
from bench_rig.plant import Plant

STEP_US = 10_000
SUBSTEP_US = 5_000
ROW_STEPS = 5  # a row of truth for each tick of the controller
SPEED, FLOW = 0, 1  # channels of pulses


class Train:
    """A growing phase, and the moments at which it passes whole numbers."""

    def __init__(self):
        self._whole = 0
        self._phase = 0.0

    def grow(self, units):
        """Grow evenly by so many units; return the edges' shares of the way, 0 to 1, a list."""
        phase = self._phase + units
        edges = []
        for edge in range(1, int(phase) + 1):
            edges.append(min(max((edge - self._phase) / units, 0.0), 1.0))
        self._phase = phase - int(phase)
        return edges


class Rig:
    """One run. `task` is what the host sent: plant, speed, switches (see program.py).

    port has read(drive), pulses(channel, moments), switches(closed) and supply(volts).
    """

    def __init__(self, port, task):
        self.plant = Plant(task["plant"])
        self.course = RigCourse(task["speed"], task["switches"])
        self.time_us = 0
        self.drive = Drive()
        self._port = port
        self._ground = task["plant"]["ground"]
        self._valve = getattr(self.plant.pump, "valve", None)
        self._trains = (Train(), Train())
        self._speed = 0.0
        self._way_mm = 0  # whole ones
        self._way_rest_mm = 0.0
        self._steps = 0

    @property
    def over(self):
        """Whether the course has come to its end."""
        return self.time_us >= self.course.end_s * 1e6

    def step(self):
        """Live through one step; return a row of truth where one is due, else None."""
        port, plant, drive = self._port, self.plant, self.drive
        closed = self.course.closed(self.time_us * 1e-6)
        port.switches(closed)
        port.read(drive)
        plant.drive(drive.duty, drive.section_mask)
        for part in range(STEP_US // SUBSTEP_US):
            if self._valve:
                self._turn_valve(part)
            plant.step(SUBSTEP_US * 1e-6)
        self.time_us += STEP_US
        self._travel()
        self._send(FLOW, plant.take_pulses())
        port.supply(plant.supply_v)
        self._steps += 1
        return self._row(closed) if self._steps % ROW_STEPS == 0 else None

    def _travel(self):
        ground, first = self._ground, self._speed
        self._speed = last = self.course.speed_m_s(self.time_us * 1e-6)
        rest = self._way_rest_mm + 0.5 * (first + last) * STEP_US * 1e-3
        self._way_mm += int(rest)
        self._way_rest_mm = rest - int(rest)
        sensed = [v if v >= ground["blank_m_s"] else 0.0 for v in (first, last)]
        self._send(SPEED, 0.5 * sum(sensed) * ground["pulses_per_m"] * STEP_US * 1e-6)

    def _send(self, channel, units):
        moments = [int(share * STEP_US) for share in self._trains[channel].grow(units)]
        self._port.pulses(channel, moments)

    def _turn_valve(self, part):
        """Give the valve its part of what was driven: the end of a pulse that goes on, else the
        beginning of the step.
        """
        drive = self.drive
        begin_us = part * SUBSTEP_US
        start_us = STEP_US - drive.valve_us if drive.valve_goes_on else 0
        on_us = min(begin_us + SUBSTEP_US, start_us + drive.valve_us) - max(begin_us, start_us)
        last = part + 1 == STEP_US // SUBSTEP_US
        goes_on = drive.valve_goes_on if last else start_us + drive.valve_us > begin_us + SUBSTEP_US
        self._valve.turn(drive.valve_direction, max(on_us, 0) * 1e-6, goes_on)

    def _row(self, closed):
        """What is true now: milliseconds, um of the way, mm/s, uL/s, Pa, contacts, duty in ppm,
        sections, uL of each; whole numbers.
        """
        plant, drive = self.plant, self.drive
        way_um = self._way_mm * 1000 + int(self._way_rest_mm * 1000)
        row = [self.time_us // 1000, way_um, int(self._speed * 1e3), int(plant.flow_m3_s * 1e9),
               int(plant.pressure_pa), closed, int(drive.duty * 1e6), drive.section_mask]
        return row + plant.section_ul()


class Drive:
    """What the controller drives: the port fills it.

    `duty` 0 to 1; `valve_us` how long of the last step a valve output was on, `valve_direction` +1
    where that opens, `valve_goes_on` whether it still is.
    """

    def __init__(self):
        self.duty = 0.0
        self.section_mask = 0
        self.valve_us = 0
        self.valve_direction = 0
        self.valve_goes_on = 0
