"""Ground speed and flow: exact counting, looking ahead, a drooping meter, absurd inputs."""

from rate_control.flow_rate import FlowRate
from rate_control.ground_speed import GroundSpeed
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Measured
from rate_control.settings import build
from rate_control.units import INLINE_VALVE

TICK = 50000


def made(**changes):
    settings, problems = build(changes)
    assert problems == []
    return settings


def feed_speed(speed, measured, hz_of_tick, ticks):
    inputs = Inputs()
    inputs.speed_count = 0
    now = LIMIT - 4 * TICK
    speed.update(inputs, now, measured)
    for tick in range(ticks):
        now = (now + TICK) & LIMIT
        inputs.speed_count += hz_of_tick(tick) // 20
        inputs.speed_edge_us = now
        speed.update(inputs, now, measured)


def test_steady_speed_looks_the_same_ahead():
    measured = Measured()
    feed_speed(GroundSpeed(made(look_ahead_ms=200)), measured, lambda tick: 400, 40)
    assert measured.speed_mm_s == 3076
    assert measured.speed_ahead_mm_s == 3076


def test_looks_ahead_along_the_slope():
    # 20 Hz more each tick: 20 / 130 m/s in 50 ms, 615 mm/s in 200 ms; a pump is led a second time,
    # by 34 ms, and a valve is not
    measured = Measured()
    speed = GroundSpeed(made(look_ahead_ms=200, speed_average_pulses=1))
    feed_speed(speed, measured, lambda tick: 400 + 20 * tick, 30)
    assert abs(measured.speed_ahead_mm_s - measured.speed_mm_s - 615 - 105) <= 10
    speed = GroundSpeed(made(look_ahead_ms=200, speed_average_pulses=1, actuator=INLINE_VALVE))
    feed_speed(speed, measured, lambda tick: 400 + 20 * tick, 30)
    assert abs(measured.speed_ahead_mm_s - measured.speed_mm_s - 615) <= 10


def test_no_look_ahead_out_of_standstill():
    measured = Measured()
    speed = GroundSpeed(made(look_ahead_ms=1000))
    feed_speed(speed, measured, lambda tick: 400, 2)
    assert measured.speed_ahead_mm_s == measured.speed_mm_s


def test_cutoff_has_hysteresis():
    measured = Measured()
    settings = made(speed_cutoff_mm_s=1000, speed_average_pulses=1)
    speed = GroundSpeed(settings)
    feed_speed(speed, measured, lambda tick: 120, 20)  # 923 mm/s
    assert not measured.moving
    speed = GroundSpeed(settings)
    feed_speed(speed, measured, lambda tick: 140 if tick < 10 else 120, 30)
    assert measured.moving


def feed_flow(settings, pulses_a_tick, ticks):
    flow = FlowRate(settings)
    measured = Measured()
    inputs = Inputs()
    now = LIMIT - 4 * TICK
    flow.update(inputs, now, measured)
    volume = 0
    for _ in range(ticks):
        now = (now + TICK) & LIMIT
        inputs.flow_count = (inputs.flow_count + pulses_a_tick) & LIMIT
        inputs.flow_edge_us = now
        flow.update(inputs, now, measured)
        volume += measured.volume_ul
    return measured, volume


def test_hall_turbine_formula():
    # f(Hz) = 7.5 x Q(L/min), 75 Hz at 10 L/min: nominal for small plastic turbines,
    # https://forum.arduino.cc/t/waterflow-sensor/390778
    measured, _ = feed_flow(made(meter_pulses_hl=45000, meter_average_pulses=8), 4, 60)
    assert abs(measured.flow_ul_s * 60 // 1000 - 10666) <= 5  # 80 Hz: 10.667 L/min in mL/min


def test_volume_is_counted_exactly():
    _, volume = feed_flow(made(meter_pulses_hl=45000), 3, 10000)
    assert volume == 30000 * 100000000 // 45000


def test_droop_is_undone():
    # read = Q - Qf**2 / Q: at Q = 2.5 Qf the meter shows 84 %
    settings = made(meter_pulses_hl=100000, meter_droop_ul_s=8000)
    measured, volume = feed_flow(settings, 1, 100)  # 20 Hz x 1000 uL = 20,000 uL/s read
    exact = (20000 + (20000 * 20000 + 4 * 8000 * 8000) ** 0.5) / 2
    assert abs(measured.flow_ul_s - exact) <= exact // 500
    assert abs(volume - exact * 5) <= exact * 5 // 100
    plain, _ = feed_flow(made(meter_pulses_hl=100000), 1, 100)
    assert plain.flow_ul_s == 20000


def test_an_absurd_count_is_not_liquid():
    measured, volume = feed_flow(made(meter_pulses_hl=500), 100000, 3)
    assert volume <= 3 * 1000000
    assert measured.flow_ul_s <= 10000000
