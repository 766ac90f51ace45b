"""The pump loop around a model machine: right, quick and steady though the curve is wrong."""

from rate_control.loop_gains import simc_gains
from rate_control.pump_curve import PumpCurve
from rate_control.pump_loop import PumpLoop
from rate_control.records import Decided, Measured
from rate_control.settings import build
from rate_control.units import ONE_Q20, TICK_MS


def close_loop(gain_percent, ticks, target=100000, floor=0, settings=None):
    """Run the loop on a first-order machine whose gain is off; return the flows."""
    made, problems = build(settings or {"meter_floor_ul_s": floor})
    assert problems == []
    loop = PumpLoop(made, None)
    measured = Measured()
    decided = Decided()
    decided.target_ul_s = target
    decided.width_mm = 3000
    measured.flow_valid = 1
    flow = 0
    past = [0, 0, 0]
    flows = []
    for _ in range(ticks):
        measured.flow_ul_s = flow
        loop.update(measured, decided)
        past = [decided.command_ul_s * gain_percent // 100] + past[:2]
        flow += (past[2] - flow) * 50 // 325  # lag 300 ms, delay 100 ms, as the settings say
        flows.append(flow)
    return flows, loop, decided


def trimmed(loop, target_ul_s):
    """The flow to command for a wanted one, by what was learned."""
    return target_ul_s + target_ul_s * loop.trim_q20 // ONE_Q20


def test_right_curve_needs_no_trim():
    flows, loop, _ = close_loop(100, 100)
    assert abs(flows[-1] - 100000) <= 200
    assert abs(loop.trim_q20) < ONE_Q20 // 100


def test_wrong_curve_is_trimmed_out():
    for gain in (80, 90, 110, 125):
        flows, loop, _ = close_loop(gain, 400)
        assert abs(flows[-1] - 100000) <= 500, gain
        wanted = ONE_Q20 * 100 // gain - ONE_Q20
        assert abs(loop.trim_q20 - wanted) < ONE_Q20 // 100


def test_settles_in_the_time_asked_for_without_overshoot():
    flows, _, _ = close_loop(85, 200)
    late = flows[17 + 30:]  # blind while the model is far off and 0.4 s more, then 1.5 s
    assert min(late) >= 95000
    assert max(flows) <= 102000


def test_below_the_meter_floor_it_coasts_and_applies_no_minimum():
    flows, loop, decided = close_loop(80, 100, target=5000, floor=8000)
    assert decided.coasting == 1
    assert loop.trim_q20 == 0
    assert abs(flows[-1] - 4000) <= 30  # the curve's error shows; no floor is applied


def test_no_winding_up_against_a_stop():
    made, _ = build({"meter_floor_ul_s": 0})
    loop = PumpLoop(made, None)
    measured = Measured()
    decided = Decided()
    decided.target_ul_s = 100000
    decided.width_mm = 3000
    measured.flow_valid = 1
    measured.flow_ul_s = 70000
    decided.saturated = 1
    for _ in range(400):
        loop.update(measured, decided)
        assert loop.trim_q20 <= 0


def test_simc_gains_for_a_known_machine():
    # delay 300 ms, lag 800 ms, tauc 600 ms: Kc = .8 / (.6 + .3) by Skogestad 2003; the tick adds
    # 25 ms to the delay and the settling time is delay + 3 tauc
    kp_q16, ki_q20 = simc_gains(300, 800, 325 + 3 * 600)
    assert kp_q16 == 800 * 65536 // 925
    assert ki_q20 == 800 * 50 * ONE_Q20 // (925 * 800)


def learned_by(width_mm):
    """What the trim grows by in ten ticks with a tenth too little, after all was right."""
    loop = PumpLoop(build({"meter_floor_ul_s": 0, "section_count": 4})[0], None)
    measured = Measured()
    decided = Decided()
    decided.target_ul_s = 100000
    decided.width_mm = width_mm
    measured.flow_valid = 1
    for tick in range(210):
        measured.flow_ul_s = decided.expected_ul_s if tick < 200 else 90000
        loop.update(measured, decided)
    return loop.trim_q20


def test_integral_time_follows_the_lag_of_the_open_width():
    whole, quarter = learned_by(4000), learned_by(1000)
    assert whole > 0
    assert abs(4 * quarter - whole) <= whole // 10


def test_a_meter_that_shows_less_than_half_is_not_believed():
    flows, loop, decided = close_loop(100, 100)
    measured = Measured()
    measured.flow_valid = 1
    decided.saturated = 0
    for tick in range(200):
        measured.flow_ul_s = 100000 if tick < 60 else 40000  # the rotor sticks
        loop.update(measured, decided)
    assert decided.coasting == 1
    assert decided.command_ul_s <= 101000
    assert abs(loop.trim_q20) < ONE_Q20 // 20


def test_what_the_meter_shows_while_section_valves_move_is_not_learned():
    _, loop, decided = close_loop(100, 100)
    measured = Measured()
    measured.flow_valid = 1
    for tick in range(160):
        if tick == 100:
            trim = loop.trim_q20
            decided.width_mm = 1000
            decided.target_ul_s = 33333
        # valves with motors: for almost a second more than one section's flow goes out
        measured.flow_ul_s = 100000 if tick < 100 else 45000 if tick < 118 else 33333
        loop.update(measured, decided)
        if tick >= 100:
            assert abs(decided.command_ul_s - trimmed(loop, 33333)) <= 3
    assert abs(loop.trim_q20 - trim) < ONE_Q20 // 5000


def test_a_slow_start_does_not_leave_the_loop_blind():
    made, _ = build({"meter_floor_ul_s": 0})
    loop = PumpLoop(made, None)
    measured = Measured()
    decided = Decided()
    decided.width_mm = 3000
    measured.flow_valid = 1
    flow = 0
    for tick in range(60 + 60):
        decided.target_ul_s = 100000 * min(tick, 60) // 60
        measured.flow_ul_s = flow
        loop.update(measured, decided)
        flow += (decided.command_ul_s * 85 // 100 - flow) * 50 // 325
    assert flow >= 95000


def loses_pulses(share_percent, agreed_ticks, trim_most_q20=0):
    """A right machine whose meter shows only a share of the flow after so long; the commands."""
    loop = PumpLoop(build({"meter_floor_ul_s": 0})[0], None)
    if trim_most_q20:
        loop.trim_most_q20 = trim_most_q20
    measured = Measured()
    decided = Decided()
    decided.target_ul_s = 100000
    decided.width_mm = 3000
    measured.flow_valid = 1
    commands = []
    for tick in range(400):
        true = decided.expected_ul_s * (commands[-3] if tick > 3 else 100000) // 100000
        measured.flow_ul_s = true if tick < agreed_ticks else true * share_percent // 100
        loop.update(measured, decided)
        commands.append(decided.command_ul_s)
    return commands, loop, measured, decided


def test_a_meter_that_loses_a_third_at_once_is_doubted_until_it_agrees_again():
    commands, loop, measured, decided = loses_pulses(60, 100)
    assert max(commands[100:]) <= 102000, "what is missing at the meter is not added to the ground"
    assert loop.doubted and decided.coasting
    measured.flow_ul_s = decided.expected_ul_s * 15 // 16
    loop.update(measured, decided)
    assert not loop.doubted and not decided.coasting


def test_doubt_outlives_a_headland():
    _, loop, measured, decided = loses_pulses(60, 100)
    for _ in range(100):
        decided.rest()
        loop.rest()
    decided.target_ul_s = 100000
    decided.width_mm = 3000
    for _ in range(100):
        measured.flow_ul_s = decided.expected_ul_s * 60 // 100
        loop.update(measured, decided)
        assert decided.command_ul_s <= 102000
    assert loop.doubted


def test_what_a_machine_loses_by_and_by_is_no_reason_for_doubt():
    """A filter that clogs over a minute: the trim follows, and nothing is doubted."""
    loop = PumpLoop(build({"meter_floor_ul_s": 0})[0], None)
    measured, decided = Measured(), Decided()
    decided.target_ul_s = 100000
    decided.width_mm = 3000
    measured.flow_valid = 1
    for tick in range(1200):
        lost_permille = max(min(tick - 100, 190), 0)
        measured.flow_ul_s = decided.expected_ul_s * trimmed(loop, 1000) // 1000 * (
            1000 - lost_permille) // 1000
        loop.update(measured, decided)
        assert not loop.doubted
    assert abs(loop.trim_q20 - ONE_Q20 * 190 // 810) < ONE_Q20 // 50


def test_a_meter_that_never_agreed_gets_a_quarter_more_at_most():
    commands, loop, _, _ = loses_pulses(72, 0)
    assert not loop.doubted
    assert max(commands) == 125000
    assert loop.trim_q20 == ONE_Q20 // 4


def test_what_a_curve_gives_by_itself_the_loop_does_not_give_again():
    most_q20 = ONE_Q20 // 10
    commands, loop, _, _ = loses_pulses(80, 0, most_q20)
    assert 109900 <= max(commands) <= 110000
    assert loop.trim_q20 == most_q20
    commands, loop, _, _ = loses_pulses(60, 0, most_q20)
    assert max(commands) <= 110000
    assert loop.doubted and not loop.trim_q20


def test_a_meter_that_shows_a_quarter_too_little_even_then_is_doubted_and_the_trim_given_back():
    for share_percent in (50, 55, 59):
        commands, loop, measured, decided = loses_pulses(share_percent, 0)
        assert max(commands) == 125000
        assert sum(command > 102000 for command in commands) <= 3000 // TICK_MS
        assert loop.doubted and decided.coasting and not loop.trim_q20
        measured.flow_ul_s = decided.expected_ul_s * 15 // 16  # the cable was mended
        loop.update(measured, decided)
        assert not loop.doubted and not decided.coasting


def test_stored_pressure_after_a_start_is_not_taken_for_the_curve():
    """With air in the line a pump seems to give a third too much for seconds after a headland."""
    loop = PumpLoop(build({"meter_floor_ul_s": 0})[0], None)
    measured, decided = Measured(), Decided()
    measured.flow_valid = 1

    def work(ticks, surplus_percent):
        decided.target_ul_s = 100000
        decided.width_mm = 3000
        for tick in range(ticks):
            more = surplus_percent * max(80 - tick, 0) // 80
            given_ul_s = decided.expected_ul_s * (ONE_Q20 + loop.trim_q20) // ONE_Q20
            measured.flow_ul_s = given_ul_s * (100 + more) // 100
            loop.update(measured, decided)
            assert loop.trim_q20 > -ONE_Q20 // 20

    for _ in range(2):
        work(200, 33)
        decided.rest()
        loop.rest()
    work(40, 0)
    assert loop.trim_q20 > -ONE_Q20 // 50
    decided.target_ul_s = 100000
    for _ in range(40):  # what comes later is the curve's
        measured.flow_ul_s = decided.expected_ul_s * 120 // 100
        loop.update(measured, decided)
    assert loop.trim_q20 < -ONE_Q20 // 10


def test_what_a_pump_gives_too_much_from_the_start_is_learned_once_nothing_can_be_stored():
    loop = PumpLoop(build({"meter_floor_ul_s": 0})[0], None)
    measured, decided = Measured(), Decided()
    decided.target_ul_s = 100000
    decided.width_mm = 3000
    measured.flow_valid = 1
    for tick in range(7000 // TICK_MS):
        measured.flow_ul_s = decided.expected_ul_s * 120 // 100
        loop.update(measured, decided)
        assert decided.command_ul_s < 100000 or tick < 30
    assert loop.trim_q20 < -ONE_Q20 // 10


def test_the_trim_moves_by_a_fifth_in_a_second_at_most():
    for error_ul_s in (40000, -40000):
        loop = PumpLoop(build({"meter_floor_ul_s": 0})[0], None)
        decided = Decided()
        decided.expected_ul_s = 100000
        loop.learn(0, decided)  # no pressure is stored any more
        for tick in range(1, 11):
            loop.learn(error_ul_s, decided)
            assert abs(loop.trim_q20) == tick * (ONE_Q20 // 5 * 50 // 1000)


def test_what_was_expected_a_tick_ago_teaches_nothing():
    """A window of pulses is a little old: no more than what lies beyond both is an error."""
    decided = Decided()
    decided.width_mm = 3000
    for before, now, shown, error in (
        (80000, 100000, 80000, 0), (80000, 100000, 90000, 0), (80000, 100000, 100000, 0),
        (80000, 100000, 75000, 5000), (80000, 100000, 104000, -4000),
        (100000, 80000, 100000, 0), (100000, 80000, 90000, 0),
        (100000, 80000, 105000, -5000), (100000, 80000, 76000, 4000),
        (100000, 100000, 97000, 3000), (100000, 100000, 103000, -3000),
    ):
        loop = PumpLoop(build({"meter_floor_ul_s": 0})[0], None)
        measured = Measured()
        measured.flow_valid = 1
        learned = []
        loop.compare = lambda *_, now=now: setattr(decided, "expected_ul_s", now) or 1
        loop.learn = lambda error, _, learned=learned: learned.append(error)
        decided.expected_ul_s = before
        decided.target_ul_s = now
        measured.flow_ul_s = shown
        loop.update(measured, decided)
        assert learned == [error], (before, now, shown)


def rates_of_a_machine(lag_ms, rates_ml_ha, leads=1, speed_percent=()):
    """Run the loop on a first-order machine whose meter is as late again; return its flows.

    The target is the rate, times the speed; leads 0 keeps the rate from the loop.
    """
    made, problems = build(
        {"meter_floor_ul_s": 0, "loop_lag_ms": 2 * lag_ms, "loop_delay_ms": 0})
    assert problems == []
    loop = PumpLoop(made, None)
    measured, decided = Measured(), Decided()
    measured.flow_valid = 1
    decided.width_mm = 3000
    flow, flows = 0, []
    for tick, rate in enumerate(rates_ml_ha):
        percent = speed_percent[tick] if speed_percent else 100
        decided.target_ul_s = rate * percent // 100
        decided.rate_ml_ha = rate * leads
        measured.flow_ul_s += (flow - measured.flow_ul_s) * TICK_MS // (lag_ms + TICK_MS)
        loop.update(measured, decided)
        flow += (decided.command_ul_s - flow) * TICK_MS // (lag_ms + TICK_MS)
        flows.append(flow)
    return flows, loop, decided


def test_a_start_and_a_new_rate_are_led_to():
    """A good deal less goes to the wrong place, and the flow does not go beyond."""
    rates = [100000] * 40 + [200000] * 40 + [50000] * 40
    led, loop, decided = rates_of_a_machine(75, rates)
    plain, _, _ = rates_of_a_machine(75, rates, leads=0)
    for start, percent in (0, 60), (40, 60), (80, 75):
        wrong, before = (sum(abs(flow - rate) for flow, rate in
                             zip(flows[start:start + 40], rates[start:start + 40]))
                         for flows in (led, plain))
        assert wrong < before * percent // 100, start
    assert max(led[:40]) <= 102000 and max(led[40:80]) <= 204000 and min(led[80:]) >= 49000
    assert abs(decided.command_ul_s - 50000) <= 50 and abs(loop.trim_q20) < ONE_Q20 // 100


def test_a_lead_is_as_much_again_at_most_or_no_flow_and_ends():
    loop = late_loop(loop_lag_ms=3000)
    commands = commands_for(loop, 40000, 80)  # whatever a meter would say
    assert max(commands) == commands[0] == 80000 and commands[-1] == 40000
    commands = commands_for(loop, 60000, 80)
    assert max(commands) == commands[0] == 120000 and commands[-1] == 60000
    commands = commands_for(loop, 20000, 160)
    assert min(commands) == commands[0] == 0 and commands[-1] == 20000
    loop.rest()
    commands = commands_for(loop, 30000, 80)
    assert max(commands) == commands[0] == 60000 and commands[-1] == 30000


def commands_for(loop, rate_ml_ha, ticks, width_mm=3000):
    """What the loop commands while no meter says anything; the target is the rate."""
    decided, commands = Decided(), []
    decided.width_mm = width_mm
    for _ in range(ticks):
        decided.rate_ml_ha = rate_ml_ha
        decided.target_ul_s = rate_ml_ha * width_mm // 3000
        loop.update(Measured(), decided)
        commands.append(decided.command_ul_s)
    return commands


def late_loop(**changes):
    """A loop whose machine is late by 120 ms of what its meter shows, half of top being 92 mL/s."""
    made, problems = build(
        {"meter_floor_ul_s": 0, "loop_lag_ms": 182, "loop_delay_ms": 0} | changes)
    assert problems == []
    return PumpLoop(made, None)


def test_a_first_start_is_led_by_the_lag_and_a_later_one_by_what_is_the_pumps_own():
    """At 100 mL/s it is 60 + 120 x 100 / 184 = 125 ms, and 50 of them come by themselves.

    Of 120 ms, less a pulse of 24 ms, 3/5 are the pump's own: 57 of 120.
    """
    loop = late_loop()
    # 150 % more is more than the pump has: then it has come to 184 x 50 / 125 = 73.6 of 100
    assert commands_for(loop, 100000, 3) == [184000, 139600, 100000]
    for _ in range(2):
        loop.rest()
        assert commands_for(loop, 100000, 2) == [118000, 100000]
    primed = late_loop()
    primed.filled = 1
    for careful in primed, late_loop(curve_learning=1):  # no step test has seen its lag
        assert commands_for(careful, 100000, 2) == [118000, 100000]
    # pulses of 48 ms, and of the lag 120 ms again: 3/5 of 72 are the pump's own
    coarse = late_loop(meter_pulses_hl=22500, loop_lag_ms=217)
    commands_for(coarse, 100000, 3)
    coarse.rest()
    assert commands_for(coarse, 140000, 1) == [140000 + 140000 * 4 // 50]  # 151 x 43 / 120 = 54
    # a quick pump behind a meter that is slower than it: nothing is left to lead by
    slow = late_loop(meter_pulses_hl=11250, loop_lag_ms=239)
    commands_for(slow, 100000, 3)
    slow.rest()
    assert commands_for(slow, 100000, 1) == [100000]


def test_a_new_rate_is_led_by_the_lag_at_the_mean_of_both_flows():
    loop = late_loop()
    commands_for(loop, 100000, 3)
    # between 100 and 120 mL/s it is 60 + 120 x 110 / 184 = 131 ms: a lead of 81 up
    assert commands_for(loop, 120000, 2) == [120000 + 20000 * 81 // 50, 120000]
    # no motor is braked: down it is 131 x 6 / 5 = 157
    assert commands_for(loop, 100000, 2) == [100000 - 20000 * 107 // 50, 100000]
    # between 20 and 30 it is 76; behind half of the outlets the hoses take twice as long
    assert commands_for(loop, 20000, 40)[-1] == 20000
    assert commands_for(loop, 30000, 2) == [30000 + 10000 * 26 // 50, 30000]
    assert commands_for(loop, 30000, 1, 1500) == [15000]
    # between 30 and 34 it is 60 + 240 x 32 / 184 = 101 then
    assert commands_for(loop, 34000, 2, 1500) == [17000 + 2000 * 51 // 50, 17000]


def test_no_more_is_led_than_the_pump_has_left():
    loop = late_loop()
    commands_for(loop, 100000, 3)
    assert max(commands_for(loop, 160000, 40)) == 184000
    # beyond the end of the curve nobody knows what is left
    assert max(commands_for(loop, 200000, 40)) > 250000


def test_of_what_the_step_test_saw_the_meters_own_lag_is_taken_out():
    # 100 + 200 ms were half a tick late; at 92 mL/s a pulse of 2.222 mL takes 24 ms, so a window
    # of two is the tick: it tells of 25 ms ago, and ends 12 ms ago
    for changes, lag_ms in (({}, 238), ({"meter_average_pulses": 10}, 275 - 132),
                            ({"meter_pulses_hl": 500000}, 275 - 26),
                            ({"meter_pulses_hl": 500}, 0)):
        loop = late_loop(**{"loop_delay_ms": 100, "loop_lag_ms": 200} | changes)
        commands_for(loop, 90000, 40)
        led_ms = max(lag_ms - TICK_MS, 0)
        assert commands_for(loop, 94000, 2) == [94000 + 4000 * led_ms // TICK_MS, 94000]


def test_a_lead_ends_where_the_meter_shows_that_the_machine_is_there():
    """A line that has kept its pressure gives its flow at once, whatever lag was learned."""
    made, _ = build({"meter_floor_ul_s": 0, "loop_lag_ms": 3000, "loop_delay_ms": 0})
    for shown_ul_s, commanded_ul_s in ((99000, 184000), (101000, 100000)):
        loop = PumpLoop(made, None)
        measured, decided = Measured(), Decided()
        decided.width_mm = 3000
        decided.rate_ml_ha = decided.target_ul_s = 100000
        loop.update(measured, decided)
        assert decided.command_ul_s == 184000
        measured.flow_valid, measured.flow_ul_s = 1, shown_ul_s
        loop.update(measured, decided)
        assert decided.command_ul_s == commanded_ul_s


def test_a_speed_is_not_led_to_for_it_is_looked_ahead_already():
    speeds = [100] * 40 + [150] * 40
    with_rate, _, _ = rates_of_a_machine(75, [100000] * 80, speed_percent=speeds)
    without, _, _ = rates_of_a_machine(75, [100000] * 80, leads=0, speed_percent=speeds)
    assert all(abs(a - b) <= 100 for a, b in zip(with_rate[20:], without[20:]))


def test_a_loop_that_takes_over_from_a_fixed_duty_does_not_start():
    settings, _ = build({"meter_floor_ul_s": 0})
    loop = PumpLoop(settings, PumpCurve(settings))
    measured, decided = Measured(), Decided()
    decided.width_mm = 3000
    decided.rate_ml_ha = decided.target_ul_s = 100000
    decided.source = Decided.BY_HAND
    loop.update(measured, decided)
    decided.source = Decided.BY_LOOP
    loop.update(measured, decided)
    assert decided.command_ul_s == 100000
    loop.rest()
    loop.update(measured, decided)
    assert decided.command_ul_s > 100000
