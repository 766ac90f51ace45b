"""Pulse outputs, turbine meter and ground-speed sensor against closed forms."""

from __future__ import annotations

import math
from random import Random

import pytest

from host_sim.plant.flow_meter import TurbineMeter
from host_sim.plant.ground import GroundSensor
from host_sim.plant.pulses import PulseTrain
from host_sim.plant.spec import GroundSpec, MeterSpec
from host_sim.plant.units import L_MIN_M3_S


def test_even_phase_dates_each_edge_to_the_microsecond():
    # 37 Hz, phase 0.25: edge n is at (n - 0.25) / 37 s exactly
    train = PulseTrain(start_us=1_000, phase=0.25)
    for step in range(400):
        train.advance(37 * 0.005, 1_000 + step * 5_000, 0.005)
        if train.count:
            exact_us = 1_000 + (train.count - 0.25) / 37 * 1e6
            assert exact_us - 1.0 - 1e-3 <= train.last_edge_us <= exact_us + 1e-3
    assert train.count == math.floor(37 * 2.0 + 0.25)


def test_uneven_spans_give_the_same_edges_as_even_ones():
    rng = Random(3)
    train, time_us = PulseTrain(0), 0
    while time_us < 5_000_000:
        span_us = rng.randint(1, 60_000)
        train.advance(91.7 * span_us * 1e-6, time_us, span_us * 1e-6)
        time_us += span_us
        assert train.count == math.floor(91.7 * time_us * 1e-6 + 1e-9)
        if train.count:
            assert abs(train.last_edge_us - train.count / 91.7 * 1e6) < 1.01


@pytest.mark.parametrize(("first", "last"), [(0.0, 400.0), (400.0, 0.0), (120.0, 130.0)])
def test_ramp_dates_edges_where_the_quadratic_phase_crosses(first, last):
    # phase(t) = first t + (last - first) t^2 / (2 T), T = 1 s, in 20 intervals
    train = PulseTrain(0)
    for step in range(20):
        a = first + (last - first) * step / 20
        b = first + (last - first) * (step + 1) / 20
        train.advance_ramp(a, b, step * 50_000, 0.05)
        t = train.last_edge_us * 1e-6
        phase = first * t + (last - first) * t * t / 2
        # rounding down to 1 us costs at most 400 Hz x 1 us of phase
        assert train.count - 4.1e-4 <= phase <= train.count + 1e-6
    assert abs(train.count - (first + last) / 2) <= 1


def test_rotor_lag_grows_as_flow_falls():
    """40 to 10 L/min with 20 ms lag at 40 L/min: the lag at 10 is 80 ms, exact exponential.

    Values computed from m = 10 + 30 exp(-t / 0.08).
    """
    meter = TurbineMeter(
        MeterSpec(full_scale_m3_s=40 * L_MIN_M3_S, lag_s=0.02, floor_share=0.0, coast_s=10.0), 0
    )
    meter.rotor_m3_s = 40 * L_MIN_M3_S
    expected = {20: 33.36402, 50: 26.05784, 100: 18.59514, 200: 12.46255}
    for step in range(40):
        meter.step(10 * L_MIN_M3_S, step * 5_000, 0.005)
        at_ms = (step + 1) * 5
        if at_ms in expected:
            assert meter.rotor_m3_s / L_MIN_M3_S == pytest.approx(expected[at_ms], abs=1e-5)


def test_falling_step_over_registers_by_flow_step_times_lag():
    """The integral of m - Q after 40 -> 10 L/min is (40 - 10) tau(10) = 0.040 L."""
    spec = MeterSpec(
        pulses_per_m3=1e9, full_scale_m3_s=40 * L_MIN_M3_S, floor_share=0.0, coast_s=10.0
    )
    meter = TurbineMeter(spec, 0)
    meter.rotor_m3_s = 40 * L_MIN_M3_S
    for step in range(600):
        meter.step(10 * L_MIN_M3_S, step * 5_000, 0.005)
    extra_m3 = meter.count / 1e9 - 10 * L_MIN_M3_S * 3.0
    assert extra_m3 == pytest.approx(40e-6, rel=1e-3)  # one pulse is 1e-9 m3


@pytest.mark.parametrize(("multiple", "share"), [(1.5, 0.556), (2.5, 0.84), (5, 0.96), (10, 0.99)])
def test_meter_reads_low_near_its_floor(multiple, share):
    """m / Q = 1 - (Qf / Q)^2: at 1.5, 2.5, 5 and 10 times the floor, 0.556, 0.84, 0.96, 0.99."""
    spec = MeterSpec(pulses_per_m3=1e9, full_scale_m3_s=1e-4, floor_share=0.02)
    meter = TurbineMeter(spec, 0)
    for step in range(4000):
        meter.step(multiple * 2e-6, step * 5_000, 0.005)
    assert meter.rotor_m3_s / (multiple * 2e-6) == pytest.approx(share, abs=5e-4)


def test_meter_is_silent_below_its_floor_and_coasts_down():
    meter = TurbineMeter(MeterSpec(full_scale_m3_s=1e-4, floor_share=0.02, coast_s=0.3), 0)
    for step in range(2000):
        meter.step(1.9e-6, step * 5_000, 0.005)
    assert meter.count == 0
    meter.rotor_m3_s = 1e-4
    for step in range(2000):
        meter.step(0.0, step * 5_000, 0.005)
    # the rotor's run-out counts m0 x coast = 30 mL, 13.5 pulses at 450 per litre
    assert meter.count == 13


def test_speed_sensor_counts_130_pulses_a_metre_whatever_the_speed():
    sensor, rng = GroundSensor(GroundSpec(blank_m_s=0.0), Random(1), 0), Random(2)
    speed = distance = 0.0
    for step in range(2000):
        fresh = max(0.0, speed + rng.uniform(-0.2, 0.2))
        distance += 0.5 * (speed + fresh) * 0.05
        speed = fresh
        sensor.step(speed, step * 50_000, 0.05)
    assert sensor.count == math.floor(130 * distance + 1e-9)


def test_speed_sensor_slips_blanks_and_is_noisy():
    def count(**values: float) -> int:
        sensor = GroundSensor(GroundSpec(**values), Random(1), 0)
        for step in range(2000):
            sensor.step(2.0, step * 50_000, 0.05)
        return sensor.count

    assert count(slip_share=0.1) == pytest.approx(130 * 200 * 1.1, rel=1e-3)
    assert count(blank_m_s=1.9) > 0 and count(blank_m_s=2.0, slip_share=-0.01) == 0
    # noise of 0.1 m/s and 0.2 s: standard error over 100 s is 0.1 sqrt(2 x 0.2 / 100) = 0.0063 m/s
    assert count(noise_m_s=0.1) == pytest.approx(130 * 200, rel=4 * 0.0063 / 2)
    assert count(noise_m_s=0.1) != count()


def test_noise_keeps_its_size_whatever_the_interval():
    for span_s in (0.005, 0.05, 0.5):
        sensor = GroundSensor(GroundSpec(noise_m_s=0.1), Random(5), 0)
        values = []
        for step in range(20_000):
            sensor.step(5.0, int(step * span_s * 1e6), span_s)
            values.append(sensor._sensed_m_s - 5.0)
        sigma = math.sqrt(sum(v * v for v in values) / len(values))
        # effective sample size at 5 ms is 20000 x 5 / (2 x 200) = 250: 3 sigma is 13 %
        assert sigma == pytest.approx(0.1, rel=0.14)
