"""The arithmetic of the calibration procedures against exact fractions, NumPy and SciPy."""

from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import integrate, stats

from host_sim.build.interpreters import MICROPYTHON_32, MICROPYTHON_64, run_on
from rate_control import density, interlock
from rate_control.intmath import LIMIT
from rate_control.procedures import catalogue
from rate_control.procedures.outlet_catch import cv_ppm, mean_ul
from rate_control.procedures.procedure import COMPLETE, ENTER, MARK, RUNNING, TAKE_BACK
from rate_control.records import Decided, Measured
from rate_control.settings import Settings
from tests.support.small_int import SmallInt, harden


def begin(name, **params):
    procedure, problem = catalogue.make(name, params, Settings())
    assert problem == ""
    return procedure


def count(procedure, pulses):
    measured, decided = Measured(), Decided()
    measured.speed_pulses = measured.flow_pulses = pulses
    assert procedure.act(MARK) == ""
    procedure.step(measured, decided)
    return procedure.act(MARK)


def nearest(value):
    """A positive fraction to the nearest whole number, halves up."""
    return int(value + Fraction(1, 2))


@pytest.mark.parametrize("runs", range(3, 13))
def test_range_over_runs_is_the_standard_error_of_the_mean(runs):
    """Expected range of a normal sample over its size, against 1/sqrt(size), within 7 %."""
    expected_range, _ = integrate.quad(
        lambda x: 1 - stats.norm.cdf(x) ** runs - stats.norm.sf(x) ** runs, -10, 10
    )
    assert expected_range / runs == pytest.approx(1 / sqrt(runs), rel=0.07)


@given(st.lists(st.integers(300, 40_000), min_size=1, max_size=12), st.integers(30_000, 200_000))
def test_course_result_and_deviations(pulses, distance_mm):
    procedure = begin("course", distance_mm=distance_mm)
    assume(all(count(procedure, run) == "" for run in pulses))
    mean = Fraction(sum(pulses), len(pulses))
    assert procedure.result() == nearest(mean * 10**6 / distance_mm)
    for run, found in zip(pulses, procedure.deviations_ppm(), strict=True):
        assert abs(found - 10**6 * (run / mean - 1)) <= Fraction(1, 2)


@given(
    st.lists(st.tuples(st.integers(20, 10**6), st.integers(10**5, 10**8)), min_size=1, max_size=12),
    st.integers(1, 50),
    st.integers(0, 10**6),
)
def test_catch_wants_exactly_the_amount_that_makes_the_resolution(runs, permille, step_ul):
    procedure = begin("meter_catch", jug_step_ul=step_ul, precision_permille=permille)
    for pulses, amount in runs:
        assert count(procedure, pulses) == ""
        assume(procedure.act(ENTER, amount) == "")
    pulses = Fraction(sum(run[0] for run in runs), len(runs))
    amount = Fraction(sum(run[1] for run in runs), len(runs))
    assert procedure.result() == nearest(pulses / amount * 10**8)
    wanted = (amount / pulses + step_ul) * 1000 / permille
    missing = procedure.needs_more()
    too_short = missing is not None and missing[0].startswith("runs too short")
    assert too_short == (amount < -(-wanted.numerator // wanted.denominator))
    if too_short:
        assert missing[1:] == (-(-wanted.numerator // wanted.denominator), "catch_ul")


@given(st.integers(1, 10**6), st.integers(500, 2500))
def test_a_weighed_catch_is_a_volume(mass_g, density_g_l):
    procedure = begin("meter_catch", weighed=1, density_g_l=density_g_l)
    pulses = max(mass_g // 2, 1)
    assert count(procedure, pulses) == ""
    assume(procedure.act(ENTER, mass_g) == "")
    exact = Fraction(pulses * density_g_l, mass_g) * 100
    assert procedure.result() == pytest.approx(float(exact), rel=2e-6 * 2500 / mass_g, abs=1)


@given(st.lists(st.integers(100_000, 3_000_000), min_size=2, max_size=72))
def test_coefficient_of_variation_is_that_of_numpy(caught_ul):
    found = cv_ppm(caught_ul, mean_ul(caught_ul))
    exact = np.std(caught_ul, ddof=1) / np.mean(caught_ul) * 1e6
    assert found == pytest.approx(exact, abs=250)  # hundredths of a percent, cut off


@given(st.lists(st.integers(0, 100_000_000), min_size=1, max_size=72), st.integers(0, 10**6))
def test_any_outlet_catch_has_facts_and_a_verdict_for_each(caught_ul, nominal):
    procedure = begin("outlet_catch", outlets=len(caught_ul), rated_ul_s=nominal)
    for amount in caught_ul:
        assert procedure.act(ENTER, amount) == ""
    assert procedure.facts()
    if any(caught_ul):
        assert len(procedure.verdicts()) == len(caught_ul)


@given(st.lists(st.integers(95, 105), min_size=4, max_size=72), st.data())
def test_fewer_than_half_worn_never_shames_a_sound_outlet(sound, data):
    """Sound outlets within 0.5 % of each other, the fewer others anything."""
    amounts = [99_500 + 10 * x for x in sound]
    worn = data.draw(st.lists(st.integers(0, 300_000), max_size=(len(sound) - 1) // 2))
    procedure = begin("outlet_catch", outlets=len(amounts) + len(worn))
    for amount in amounts + worn:
        assert procedure.act(ENTER, amount) == ""
    assert {word for word, _, _ in procedure.verdicts()[: len(amounts)]} == {"good"}


@given(st.integers(500, 2500))
def test_density_factor_is_the_square_root(density_g_l):
    exact = sqrt(density_g_l / 1000)
    assert density.factor(density_g_l) / density.FACTOR_ONE == pytest.approx(exact, abs=5e-5)
    there = density.water_rate_ml_ha(100_000, density_g_l)
    assert density.liquid_rate_ml_ha(there, density_g_l) == pytest.approx(100_000, abs=3)


@given(st.integers(1, 10**7), st.integers(1, 10**7), st.integers(500, 2_000_000))
def test_tank_check_result(meter_ml, tank_ml, pulses_hl):
    settings = Settings()
    settings.meter_pulses_hl = pulses_hl
    procedure, _ = catalogue.make("tank_check", {"meter_ml": meter_ml}, settings)
    refused = procedure.act(ENTER, tank_ml)
    new = nearest(Fraction(pulses_hl * meter_ml, tank_ml))
    in_range = 500 <= new <= 2_000_000
    assert (refused == "") == (in_range and tank_ml <= 2 * meter_ml <= 4 * tank_ml)
    if not refused and procedure.needs_more() is None:
        assert procedure.act(COMPLETE) == ""
        assert procedure.proposal() == {"meter_pulses_hl": new}


ACTIONS = st.lists(
    st.tuples(st.sampled_from((MARK, ENTER, TAKE_BACK, COMPLETE, "tick")), st.integers(0, 10**7)),
    max_size=60,
)


@pytest.mark.parametrize("name", [row[catalogue.NAME] for row in catalogue.CATALOGUE
                                  if not row[catalogue.NEEDS_BENCH]])
@given(actions=ACTIONS)
def test_no_order_of_actions_breaks_a_procedure(name, actions):
    """Whatever a person does, it answers, shows its facts and never proposes nonsense."""
    procedure = begin(name, **({"meter_ml": 10**6} if name == "tank_check" else {}))
    measured, decided = Measured(), Decided()
    for action, value in actions:
        if action == "tick":
            measured.speed_pulses = measured.flow_pulses = value
            procedure.step(measured, decided)
        else:
            assert isinstance(procedure.act(action, value), str)
        procedure.facts()
        procedure.needs_more()
        assert len(procedure.prompt()) <= 40
        for setting, proposed in procedure.proposal().items():
            assert procedure.state != RUNNING
            assert setting in vars(Settings())
            assert proposed > 0


@pytest.mark.parametrize(
    ("name", "counter"),
    [("course", "_count"), ("meter_catch", "_count"), ("plot_catch", "_ticks"),
     ("meter_catch", "_ticks"), ("low_flow_catch", "_count")],
)
@given(pulses=st.lists(st.integers(0, 512), max_size=30), back=st.integers(0, 2000))
def test_a_step_stays_within_the_small_ints(name, counter, pulses, back):
    procedure = begin(name)
    start = LIMIT - back  # about to wrap
    setattr(procedure, counter, start)
    harden(procedure)
    measured, decided = Measured(), Decided()
    decided.state = SmallInt(interlock.BENCH)
    for new in pulses:
        measured.speed_pulses = measured.flow_pulses = SmallInt(new)
        procedure.step(measured, decided)
    steps = len(pulses) if counter == "_ticks" else sum(pulses)
    assert getattr(procedure, counter) == (start + steps) & LIMIT


@pytest.mark.parametrize("interpreter", [MICROPYTHON_64, MICROPYTHON_32])
def test_steps_of_procedures_allocate_nothing(interpreter):
    """On the 32-bit machine this also shows that no value leaves the small ints."""
    output = run_on(interpreter, "tests/vm/heap_lock_procedures.py", "4000").stdout
    rows = [line.split() for line in output.splitlines()]
    assert [row[0] for row in rows] == [row[catalogue.NAME] for row in catalogue.CATALOGUE]
    assert {row[1] for row in rows} == {"0"}
    assert all(int(row[2]) > 100 for row in rows), rows
