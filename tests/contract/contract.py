"""What every board must keep, checked on the virtual board, on fakes and on real hardware.

Runs on CPython and MicroPython. A bench (see bench.py) stands for whatever is wired to the board.
Where the wiring or the means are missing a check is skipped with the reason; it never passes then.
"""

from rate_control.intmath import LIMIT, ticks_diff
from rate_control.records import Inputs, Outputs
from rate_control.units import DUTY_FULL, SWITCH_IMPLEMENT, SWITCH_MASTER

PASS, SKIP, FAIL = "PASS", "SKIP", "FAIL"
CHANNELS = ("speed", "flow")
FAST_HZ = 10000
TICK_US = 50000
TICKS_WATCHED = 20
EDGES_WATCHED = 10


class Skip(Exception):
    """Why a check cannot be made here."""


def difference(after, before):
    """after - before of counts that wrap at 2**30."""
    return (after - before) & LIMIT


def reading(bench):
    """The board's inputs now."""
    inputs = Inputs()
    bench.board.read(inputs)
    return inputs


def count_and_edge(inputs, channel):
    """The fields of one channel."""
    if channel == "speed":
        return inputs.speed_count, inputs.speed_edge_us
    return inputs.flow_count, inputs.flow_edge_us


def outputs(duty_u16=0, valve_pulse_ms=0, section_mask=0):
    """A record of outputs."""
    record = Outputs()
    record.duty_u16 = duty_u16
    record.valve_pulse_ms = valve_pulse_ms
    record.section_mask = section_mask
    return record


def require_off(bench, when):
    """Every output that the bench can see is off."""
    state = bench.driven()
    assert not any(state.values()), "%s: still on: %s" % (when, state)


def check_outputs_off_at_start(bench):
    """Nothing has been written yet, so nothing may be on."""
    require_off(bench, "before the first write")
    return "all off"


def check_time(bench):
    """now_us runs at the pace of the bench's own clock and stays in 0..2**30 - 1."""
    before = bench.board.now_us()
    bench.wait_us(100_000)
    after = bench.board.now_us()
    assert 0 <= before <= LIMIT and 0 <= after <= LIMIT
    passed = ticks_diff(after, before)
    assert abs(passed - 100_000) <= bench.CLOCK_ERROR_US, passed
    return "%d us in 100 ms" % passed


def check_reset_cause(bench):
    """The cause is one of three words."""
    cause = bench.board.reset_cause()
    assert cause in ("power", "watchdog", "soft"), cause
    return cause


def check_wires(bench):
    """The wires first: three pulses are three counts. Every other pulse check builds on it."""
    for channel in CHANNELS:
        before, _ = count_and_edge(reading(bench), channel)
        bench.pulses(channel, 1000, 3)
        after, _ = count_and_edge(reading(bench), channel)
        if difference(after, before) != 3:
            bench.unwired(channel, difference(after, before))
    return "wired: " + ", ".join(wired(bench))


def wired(bench):
    """The inputs that pulses can be sent to."""
    channels = [channel for channel in CHANNELS if channel not in bench.missing]
    if not channels:
        raise Skip("no pulse arrives on either input: is the loopback wire in place?")
    return channels


def check_every_pulse(bench):
    """No pulse of 10 kHz is lost while everything else runs."""
    told = []
    for channel in wired(bench):
        before, _ = count_and_edge(reading(bench), channel)
        sent = bench.pulses(channel, FAST_HZ, 2000, disturbed=True)
        after, _ = count_and_edge(reading(bench), channel)
        counted = difference(after, before)
        assert counted == sent, "%s: %d of %d" % (channel, counted, sent)
        told.append("%s %d" % (channel, counted))
    return ", ".join(told)


def check_edge_times(bench):
    """Count and time of the last edge belong together: their quotient is the pulse rate."""
    worst = 0
    for channel in wired(bench):
        for hz in (100, 1000, FAST_HZ):
            first, second = (count_and_edge(inputs, channel)
                             for inputs in bench.read_twice(channel, hz))
            counted = difference(second[0], first[0])
            assert counted >= EDGES_WATCHED, "%s %d Hz: %d edges" % (channel, hz, counted)
            span_us = counted * 1_000_000 // hz
            error = ticks_diff(second[1], first[1]) - span_us
            worst = max(worst, abs(error))
            limit = bench.EDGE_ERROR_US + span_us * bench.CLOCK_ERROR_PPM // 1_000_000
            assert abs(error) <= limit, "%s %d Hz: %d us" % (channel, hz, error)
    return "within %d us" % worst


def check_switches(bench):
    """Each switch moves its own bit and no other, and open is 0."""
    names = bench.switches()
    for name in names:
        bench.set_switch(name, 0)
    for number, name in enumerate(names):
        bench.set_switch(name, 1)
        seen = reading(bench).switches
        bench.set_switch(name, 0)
        assert seen == 1 << number, "%s: %s" % (name, bin(seen))
    assert (SWITCH_MASTER, SWITCH_IMPLEMENT) == (1 << 0, 1 << 1)
    assert reading(bench).switches == 0
    return "%d switches" % len(names)


def check_supply(bench):
    """The supply is read within 3 %."""
    read = []
    for true_mv in bench.supplies_mv():
        seen = reading(bench).supply_mv
        assert abs(seen - true_mv) <= true_mv * 3 // 100, "%d read as %d" % (true_mv, seen)
        read.append("%d mV" % seen)
    return ", ".join(read)


def check_duty(bench):
    """The pump's output has the duty that was written, from nothing to all."""
    board = bench.board
    told = []
    try:
        for duty in (0, DUTY_FULL // 4, DUTY_FULL // 2, DUTY_FULL):
            board.write(outputs(duty_u16=duty))
            permille = bench.duty_permille()
            told.append("%d" % permille)
            assert abs(permille - duty * 1000 // DUTY_FULL) <= bench.DUTY_ERROR_PERMILLE, permille
    finally:
        board.make_safe()
    return " ".join(told) + " per mille"


def check_valve_pulse(bench):
    """A pulse of the regulating valve ends itself: nothing is called after it was written."""
    told = []
    for pulse_ms in (20, -20, 50):
        length_us, other = bench.valve_pulse_us(outputs(valve_pulse_ms=pulse_ms))
        assert abs(length_us - abs(pulse_ms) * 1000) <= bench.VALVE_ERROR_US, length_us
        assert not other, "the opposite output moved as well"
        told.append("%d us" % length_us)
    require_off(bench, "after the pulse")
    return ", ".join(told)


def check_sections(bench):
    """Each section has its own bit."""
    for mask in (1, 2, 4, 8, 16, 32, 64, 128, 0x55, 0xFF, 0):
        bench.board.write(outputs(section_mask=mask))
        seen = bench.sections()
        assert seen == mask, "%s seen as %s" % (bin(mask), bin(seen))
    return "8 sections"


def everything_on(bench):
    """Write a record with every output on."""
    bench.board.write(outputs(DUTY_FULL, 50, 0xFF))
    assert any(bench.driven().values()), "nothing went on, so going off proves nothing"


def check_make_safe(bench):
    """make_safe switches everything off, and nothing comes back."""
    everything_on(bench)
    bench.board.make_safe()
    bench.wait_us(bench.SAFE_WITHIN_US)
    require_off(bench, "after make_safe")
    reading(bench)
    bench.wait_us(100_000)
    require_off(bench, "100 ms later")
    return "all off within %d us" % bench.SAFE_WITHIN_US


def check_make_safe_in_tick(bench):
    """The same from inside the tick, where nothing may be allocated."""
    board = bench.board
    everything_on(bench)
    done = [0]

    def tick(_):
        board.make_safe()
        board.feed_watchdog()
        done[0] = 1

    try:
        board.start_tick(tick, TICK_US)
        bench.wait_us(3 * TICK_US)
    finally:
        board.release()
    assert done[0], "the tick never ran"
    require_off(bench, "after make_safe in the tick")
    return "all off"


def check_tick_allocates_nothing(bench):
    """A tick's share of the board runs with the heap locked."""
    inputs = Inputs()
    record = outputs()
    bench.with_heap_locked(bench.board, inputs, record)
    return "read, write, now_us and make_safe"


def check_tick_on_time(bench):
    """The tick comes every 50 ms, while garbage is collected too."""
    board = bench.board
    times = [0] * TICKS_WATCHED
    count = [0]

    def tick(_):
        if count[0] < TICKS_WATCHED:
            times[count[0]] = board.now_us()
            count[0] += 1
        board.feed_watchdog()

    try:
        board.start_tick(tick, TICK_US)
        while count[0] < TICKS_WATCHED:
            bench.disturb()
    finally:
        board.release()
    worst = 0
    for number in range(TICKS_WATCHED):
        late = ticks_diff(times[number], times[0]) - number * TICK_US
        worst = max(worst, abs(late))
    assert worst <= bench.TICK_ERROR_US, "%d us" % worst
    return "within %d us" % worst


def check_watchdog(bench):
    """A tick that feeds nothing: the board resets, its outputs off, and says why it restarted."""
    everything_on(bench)
    bench.starve_watchdog()
    require_off(bench, "after the watchdog")
    cause = bench.board.reset_cause()
    assert cause == "watchdog", cause
    return "reset, outputs off"


CHECKS = (
    ("outputs off at start", check_outputs_off_at_start),
    ("clock", check_time),
    ("reset cause", check_reset_cause),
    ("pulse wires", check_wires),
    ("pulses lost", check_every_pulse),
    ("edge times", check_edge_times),
    ("switches", check_switches),
    ("supply", check_supply),
    ("pump duty", check_duty),
    ("valve pulse", check_valve_pulse),
    ("sections", check_sections),
    ("make safe", check_make_safe),
    ("make safe in the tick", check_make_safe_in_tick),
    ("tick heap", check_tick_allocates_nothing),
    ("tick on time", check_tick_on_time),
    ("watchdog", check_watchdog),
)


def run_check(check, bench):
    """Run one check; returns (outcome, what it measured or why not)."""
    try:
        return PASS, check(bench)
    except Skip as reason:
        return SKIP, str(reason)
    except AssertionError as error:
        return FAIL, str(error)


def run_all(bench, tell=print):
    """Run every check in order, telling a line each; returns the number that failed."""
    failed = 0
    for name, check in CHECKS:
        outcome, text = run_check(check, bench)
        tell("%s %s: %s" % (outcome, name, text))
        failed += outcome == FAIL
    return failed
