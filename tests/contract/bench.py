"""What a contract check may ask of whatever is wired to a board. Default: nothing is wired."""

from tests.contract.contract import Skip


class Bench:
    """Base of all benches; board is the board under test."""

    CLOCK_ERROR_US = 0
    EDGE_ERROR_US = 2
    CLOCK_ERROR_PPM = 0  # between the clock of the pulses and that of the board
    DUTY_ERROR_PERMILLE = 10
    VALVE_ERROR_US = 20
    TICK_ERROR_US = 100
    SAFE_WITHIN_US = 20_000  # a period of the slowest PWM, twice

    def __init__(self, board):
        self.board = board
        self.missing = []  # inputs that no wire leads to

    def wait_us(self, us):
        """Let time pass."""
        raise NotImplementedError

    def disturb(self):
        """Do what disturbs a tick most, for some milliseconds: collect garbage."""
        raise Skip("nothing can disturb a tick here")

    def pulses(self, channel, hz, count, disturbed=False):
        """Send count pulses to an input, wait for their end; return how many were sent."""
        raise Skip("nothing is wired to the %s input" % channel)

    def read_twice(self, channel, hz):
        """Return two readings of the board's inputs taken while a steady train arrives.

        At least contract.EDGES_WATCHED edges lie between them.
        """
        raise Skip("nothing is wired to the %s input" % channel)

    def unwired(self, channel, count):
        """Three pulses gave this count. A bench whose wires may be missing takes note of it."""
        raise AssertionError("%s: 3 pulses sent, %d counted" % (channel, count))

    def driven(self):
        """Return the outputs that can be seen, by name: 0 for off, anything else for on."""
        raise Skip("no output can be seen")

    def switches(self):
        """Return the names of all switches in the order of their bits."""
        raise Skip("nobody can move the switches")

    def set_switch(self, name, on):
        """Open or close one."""
        raise Skip("nobody can move the switches")

    def supplies_mv(self):
        """Yield known supplies while the board has them."""
        raise Skip("the supply is not known")

    def duty_permille(self):
        """Measure the duty of the pump's output."""
        raise Skip("nothing is wired to the pump's output")

    def valve_pulse_us(self, record):
        """Write the record; return how long the output was on, and whether the other one was."""
        raise Skip("nothing is wired to the valve's outputs")

    def sections(self):
        """Return the section outputs as a mask."""
        raise Skip("nothing is wired to the section outputs")

    def with_heap_locked(self, board, inputs, record):
        """Run read, write, now_us and make_safe with the heap locked."""
        raise Skip("this interpreter cannot lock its heap")

    def starve_watchdog(self):
        """Start a tick that feeds nothing, and wait for the reset; put the new board in place."""
        raise Skip("the reset would end this program; the runner does it from outside")
