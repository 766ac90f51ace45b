"""A machine that does anything at random: the inputs of any number of ticks, from one seed.

It gives the same sequence on every interpreter and allocates nothing, so that it can run
under micropython.heap_lock() together with the controller.
"""

from rate_control.intmath import LIMIT, muldiv, wrapped_add
from rate_control.records import Inputs
from rate_control.settings import COUNT, HIGH, LOW, NAME, TABLE, row
from rate_control.units import (
    BY_GNSS,
    DUTY_FULL,
    RATE_MAX_ML_HA,
    SPEED_MAX_MM_S,
    SWITCH_IMPLEMENT,
    SWITCH_MASTER,
    SWITCH_SECTION_SHIFT,
    WIDTH_MAX_MM,
)

START_US = LIMIT - 3000000  # three seconds before the clock wraps
SUPPLY_MAX_MV = 32000
ALL_SECTIONS = 255
SECOND = 2 << SWITCH_SECTION_SHIFT
PASS_M = 300  # of a machine at 8 m/s in a phase, nearly
HERTZ_MAX = 12000  # beyond the 10 kHz that the core takes for real
USUAL_SPEED_M_S = 8
STOP_TICKS = 240  # from driving to the bench
REARM_TICKS = 12  # longer than the longest debouncing

# What goes wrong in a phase: one kind at a time, since a late tick ends all other trouble.
TROUBLES = 8
SENSORS_LIE = 0
CONTACTS_BOUNCE = 1
TICKS_ARE_LATE = 2
FLOW_FOLLOWS_BADLY = 3  # an eighth more or less than what is wanted, as the second section goes
STEADY_TROUBLES = (3, 4, 5)  # what is learned takes long, so it is tried more often


class Random:
    """A linear congruential generator of full period whose products stay small ints.

    The constants are the last row of the table in W. H. Press and others, Numerical Recipes in
    C, 2nd ed. (1992), section 7.1, "Quick and Dirty Generators" (cited from memory; that the
    period is full follows from the Hull-Dobell theorem and is tested).
    """

    MODULUS = 714025

    def __init__(self, seed):
        self.state = seed % self.MODULUS

    def next(self):
        """Return the next number, 0..MODULUS - 1."""
        self.state = (self.state * 1366 + 150889) % self.MODULUS
        return self.state

    def below(self, limit):
        """Return a number 0..limit - 1, for limit 1..1024."""
        return self.next() * limit // self.MODULUS

    def up_to(self, limit):
        """Return a number 0..limit, for limit 0..2**30 - 1."""
        number = self.below(1024) << 20 | self.below(1024) << 10 | self.below(1024)
        return number if limit == LIMIT else number % (limit + 1)

    def one_in(self, count):
        """Return whether an event happens that does so once in count times."""
        return self.below(count) == 0


class PulseInput:
    """One pulse sensor: a count and the time of the last edge, both wrapping at 2**30."""

    def __init__(self, random, usual_hertz):
        self.random = random
        self.usual_hertz = min(max(usual_hertz, 1), HERTZ_MAX)
        self.count = random.up_to(LIMIT)
        self.edge_us = START_US
        self.hertz = 0
        self.thousandths = 0  # of a pulse that is not complete yet

    def advance(self, dt_ms, now_us):
        """Let dt_ms pass at the present frequency."""
        self.thousandths += self.hertz * dt_ms
        pulses = self.thousandths // 1000
        self.thousandths %= 1000
        if pulses:
            self.count = wrapped_add(self.count, pulses)
            self.edge_us = wrapped_add(now_us, -(self.thousandths * 1000 // self.hertz))

    def corrupt(self):
        """Leave a count or an edge time that no sensor could give."""
        if self.random.one_in(2):
            self.count = self.random.up_to(LIMIT)
        else:
            self.edge_us = self.random.up_to(LIMIT)

    def change_frequency(self):
        """Choose a frequency: none, crawling, faster than any sensor, or most often a usual one."""
        kind = self.random.below(12)
        if kind < 3:
            self.hertz = 0
        elif kind == 3:
            self.hertz = 1 + self.random.below(5)
        elif kind == 4:
            self.hertz = self.random.up_to(HERTZ_MAX)
        else:
            self.hertz = 1 + self.random.up_to(self.usual_hertz)


class GnssInput:
    """A receiver that reports the speed of the pulses, or now and then anything, or no fix."""

    def __init__(self, random, speed, pulses_km):
        self.random = random
        self.speed = speed
        self.pulses_km = pulses_km

    def advance(self, inputs, now_us, lies):
        """Perhaps report."""
        random = self.random
        if not random.one_in(4):
            return
        if lies:
            inputs.report(BY_GNSS, random.up_to(LIMIT), random.up_to(LIMIT), random.below(2))
        else:
            speed_mm_s = muldiv(self.speed.hertz, 1000000, self.pulses_km)
            inputs.report(BY_GNSS, now_us, speed_mm_s, 1)


class RandomMachine:
    """Call advance() before each tick; then inputs and now_us are what the board saw."""

    def __init__(self, seed, settings):
        self.random = Random(seed)
        self.inputs = Inputs()
        self.now_us = START_US
        self.speed = PulseInput(self.random, settings.speed_pulses_km * USUAL_SPEED_M_S // 1000)
        usual_ml_s = settings.curve_flow_ul_s[-1] // 1000
        self.flow = PulseInput(self.random, settings.meter_pulses_hl // 1000 * usual_ml_s // 100)
        self.gnss = GnssInput(Random(seed + 1), self.speed, settings.speed_pulses_km)
        self._gnss_fitted = settings.speed_source or seed & 1
        self._pulses_hl = settings.meter_pulses_hl
        self._trouble = TROUBLES
        self._phase_ticks = 0
        self._rearm_ticks = 0
        self._stop_ticks = 0  # until the bench is asked for

    def advance(self, request, target_ul_s=0):
        """Go on by about one tick; from time to time change what the operator asks for.

        target_ul_s is what the controller wants; in some phases the flow follows it, badly.
        """
        if self._phase_ticks == 0:
            self._begin_phase(request)
        self._phase_ticks -= 1
        if self._stop_ticks:
            self._stop(request)
        if self._rearm_ticks:
            self._rearm_ticks -= 1
            if not self._rearm_ticks:
                self.inputs.switches |= SWITCH_MASTER
        if self._trouble == FLOW_FOLLOWS_BADLY:
            eighths = 9
            self.inputs.switches |= SECOND
            if self._phase_ticks & 256:
                eighths = 7
                self.inputs.switches &= ~SECOND
            wanted_hz = muldiv(target_ul_s, self._pulses_hl // 100, 1000000)
            self.flow.hertz = min(wanted_hz * eighths // 8, HERTZ_MAX)
        dt_ms = self._pass_time()
        self.speed.advance(dt_ms, self.now_us)
        self.flow.advance(dt_ms, self.now_us)
        if self._gnss_fitted:
            self.gnss.advance(self.inputs, self.now_us, self._trouble == SENSORS_LIE)
        if self.random.one_in(4):
            self._disturb()
        self._fill_inputs()

    def _begin_phase(self, request):
        random = self.random
        self._phase_ticks = 20 + random.below(300)
        self._trouble = random.below(TROUBLES)
        if self._trouble in STEADY_TROUBLES:
            self._trouble = FLOW_FOLLOWS_BADLY
        self.speed.change_frequency()
        self.flow.change_frequency()
        self._throw_switches()
        request.rate_ml_ha = random.up_to(RATE_MAX_ML_HA)
        request.regulation = 1 if random.one_in(4) else 0
        request.fixed_duty_u16 = random.up_to(DUTY_FULL)
        request.prime_u16 = request.fixed_duty_u16 if request.rate_ml_ha & 1 else -1
        self._stop_ticks = 0
        if random.one_in(4):
            self._stop_ticks = STOP_TICKS
            self._phase_ticks = 2 * STOP_TICKS
            self._trouble = TROUBLES
            self._rearm_ticks = REARM_TICKS
            self.inputs.switches = ALL_SECTIONS << SWITCH_SECTION_SHIFT
            self.speed.hertz = self.speed.usual_hertz // 32 + 1
            self.flow.hertz = 0
        request.bench_speed_mm_s = random.up_to(SPEED_MAX_MM_S)
        request.saving = 1 if random.one_in(16) else 0
        request.program_failed = 1 if random.one_in(16) else 0
        if self._trouble == FLOW_FOLLOWS_BADLY:
            self._work_steadily(request)

    def _work_steadily(self, request):
        """Let nothing else go wrong for a while, so that a slow reaction can be seen."""
        self._phase_ticks = 800
        self._rearm_ticks = REARM_TICKS
        self.inputs.switches = ALL_SECTIONS << SWITCH_SECTION_SHIFT | SWITCH_IMPLEMENT
        self.speed.hertz = self.speed.usual_hertz
        request.rate_ml_ha //= 64
        request.regulation = 0
        self._stop_ticks = 0
        request.bench = request.saving = request.program_failed = 0

    def _stop(self, request):
        """Creep, stand for longer than most sensors need, then let the bench run without flow."""
        self._stop_ticks -= 1
        if self._stop_ticks == STOP_TICKS - 40:
            self.speed.hertz = 0
        elif self._stop_ticks == 4:
            request.bench = 1
        elif not self._stop_ticks:
            request.regulation = 0
            request.bench_speed_mm_s = SPEED_MAX_MM_S

    def _throw_switches(self):
        """Sections in any combination; the implement mostly down; the master mostly on.

        Half the time the master comes on after a pause, as a fault or a lock asks for.
        """
        switches = self.random.up_to(ALL_SECTIONS) << SWITCH_SECTION_SHIFT
        if not self.random.one_in(4):
            switches |= SWITCH_IMPLEMENT
        self._rearm_ticks = 0
        if self.random.one_in(2):
            self._rearm_ticks = REARM_TICKS
        elif not self.random.one_in(4):
            switches |= SWITCH_MASTER
        self.inputs.switches = switches

    def _pass_time(self):
        """Move the clock by a tick that is mostly on time; returns the milliseconds."""
        dt_ms = 48 + self.random.below(5)
        if self._trouble == TICKS_ARE_LATE and self.random.one_in(16):
            dt_ms = self.random.below(600)
        self.now_us = wrapped_add(self.now_us, dt_ms * 1000)
        return dt_ms

    def _disturb(self):
        """A sensor lies, or a contact bounces and the supply jumps."""
        if self._trouble == SENSORS_LIE:
            if self.random.one_in(2):
                self.speed.corrupt()
            else:
                self.flow.corrupt()
        elif self._trouble == CONTACTS_BOUNCE:
            self.inputs.switches ^= 1 << self.random.below(10)
            self.inputs.supply_mv = self.random.up_to(SUPPLY_MAX_MV)

    def _fill_inputs(self):
        inputs = self.inputs
        inputs.speed_count = self.speed.count
        inputs.speed_edge_us = self.speed.edge_us
        inputs.flow_count = self.flow.count
        inputs.flow_edge_us = self.flow.edge_us


def random_settings(random):
    """Return a dict of permitted settings, each at a limit or anywhere between.

    It allocates: call it between runs.
    """
    values = {}
    for entry in TABLE:
        numbers = [_between(random, entry[LOW], entry[HIGH]) for _ in range(entry[COUNT])]
        values[entry[NAME]] = numbers[0] if entry[COUNT] == 1 else numbers
    if random.one_in(2):
        values["longest_pass_m"] %= PASS_M
    _make_consistent(values)
    return values


def _between(random, low, high):
    choice = random.below(4)
    if choice == 0:
        return low
    if choice == 1:
        return high
    return low + random.up_to(high - low)


def _make_consistent(values):
    """Meet the conditions between settings: rising curves, a width that fits, a low floor."""
    for name in ("curve_flow_ul_s", "curve_duty_u16"):
        values[name] = _rising(sorted(values[name]), row(name)[HIGH])
    share_mm = WIDTH_MAX_MM // values["section_count"]
    values["section_width_mm"] = [min(width, share_mm) for width in values["section_width_mm"]]
    values["rate_ml_ha"] = min(values["rate_ml_ha"], values["highest_rate_ml_ha"])
    values["meter_floor_ul_s"] = min(values["meter_floor_ul_s"], values["curve_flow_ul_s"][-1] - 1)


def _rising(points, high):
    """Move sorted points apart so that each is above the one before and none above high."""
    for index in range(1, len(points)):
        points[index] = max(points[index], points[index - 1] + 1)
    for index in range(len(points) - 1, -1, -1):
        points[index] = min(points[index], high)
        high = points[index] - 1
    return points
