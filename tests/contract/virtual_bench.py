"""A bench around the virtual board of the twin; its pulse inputs are driven by hand."""

from boards.board import Board
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.machine import Machine
from host_sim.twin.clock import VirtualClock
from host_sim.twin.virtual_board import VirtualBoard
from tests.contract.bench import Bench
from tests.contract.contract import EDGES_WATCHED, Skip, reading

SECTIONS = 8
STEP_US = 5000


class VirtualBench(Bench):
    """Stands still, so no pulse comes but those that are asked for."""

    VALVE_ERROR_US = 0
    TICK_ERROR_US = 0
    DUTY_ERROR_PERMILLE = 1

    def __init__(self):
        self._clock = VirtualClock()
        self._machine = Machine(machine_spec("electric_m"), 1, self._clock.total_us)
        self._boots = []
        super().__init__(VirtualBoard(self._clock, self._machine, self._boots.append))
        assert isinstance(self.board, Board)

    def wait_us(self, us):
        while us > 0:
            step = min(us, STEP_US)
            self.board.advance(step, 0.0)
            us -= step

    def disturb(self):
        self.wait_us(STEP_US)  # the twin's firmware takes no time; there is nothing to disturb

    def pulses(self, channel, hz, count, disturbed=False):
        sensor = self._machine.speed_sensor if channel == "speed" else self._machine.flow_meter
        sensor.advance(count, self._clock.total_us, count / hz)
        self.wait_us(count * 1_000_000 // hz)
        return count

    def read_twice(self, channel, hz):
        readings = []
        for _ in range(2):
            self.pulses(channel, hz, EDGES_WATCHED + 1)
            readings.append(reading(self))
        return readings

    def driven(self):
        actuation = self.board.actuation
        return {
            "pump": actuation.duty,
            "valve": actuation.valve_pulse_ms,
            "sections": actuation.section_mask,
        }

    def switches(self):
        return ["master", "implement", *(f"section {n + 1}" for n in range(SECTIONS))]

    def set_switch(self, name, on):
        bit = 1 << self.switches().index(name)
        self.board.switches = self.board.switches & ~bit | (bit if on else 0)

    def supplies_mv(self):
        raise Skip("the simulated supply is not measured over a divider")

    def duty_permille(self):
        return round(self.board.actuation.duty * 1000)

    def valve_pulse_us(self, record):
        self.board.write(record)
        given_ms = self.board.actuation.valve_pulse_ms
        self.wait_us(50_000)
        assert self.board.actuation.valve_pulse_ms == 0, "the pulse has not ended"
        return abs(given_ms) * 1000, given_ms * record.valve_pulse_ms < 0

    def sections(self):
        return self.board.actuation.section_mask

    def starve_watchdog(self):
        boots = len(self._boots)
        self.board.start_tick(lambda _: None, 50_000)
        self.board.feed_watchdog()
        self.wait_us(2_000_000)
        assert len(self._boots) == boots + 1, "no reset within 2 s"
