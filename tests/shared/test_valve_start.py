"""How long a start of a valve's motor takes: learned from what a single short move did."""

from rate_control.settings import build
from rate_control.units import DUTY_FULL, INLINE_VALVE
from rate_control.valve_start import MOST_MS, SHORT_STEPS, ValveStart

MEASURED_MS = 40
MIN_PULSE_MS = 50
TRAVEL_MS = 8000
MOVE_MS = 24
MOVE_U16 = DUTY_FULL * MOVE_MS // TRAVEL_MS


def learner(lost_ms=MEASURED_MS):
    settings, problems = build({
        "actuator": INLINE_VALVE, "valve_lost_ms": lost_ms, "valve_min_pulse_ms": MIN_PULSE_MS,
        "valve_travel_ms": TRAVEL_MS})
    assert problems == [], problems
    start = ValveStart(settings)
    start.answer(0, 0, 1, 1)
    return start


def move(start, error_u16):
    """A move from where the flow rests, and how much further it went by the meter."""
    start.begin()
    start.move(MOVE_MS, 0)
    start.answer(error_u16, error_u16, 1, 1)  # which is put right at once
    start.answer(0, 0, 1, 1)


def test_a_pulse_that_the_meter_does_not_answer_makes_the_next_one_longer_by_half_of_it():
    for direction in (1, -1):
        start = learner()
        start.begin()
        start.move(MOVE_MS, 0)
        for _ in range(9):  # however often that is seen
            start.answer(-direction * MOVE_U16, 0, direction, 1)
            assert MEASURED_MS + MOVE_MS // 2 - 1 <= start.ms <= MEASURED_MS + MOVE_MS // 2


def test_a_pulse_that_went_too_far_makes_the_next_one_shorter():
    start = learner()
    start.begin()
    start.move(MOVE_MS, 0)
    start.answer(MOVE_U16 // 2, 0, 1, 1)
    assert MEASURED_MS - MOVE_MS // 4 - 1 <= start.ms <= MEASURED_MS - MOVE_MS // 4


def test_what_is_put_right_meanwhile_counts_as_answered():
    start = learner()
    start.begin()
    start.move(MOVE_MS, 0)
    start.answer(-MOVE_U16, -MOVE_U16, 1, 0)  # all of it put right in one tick
    for _ in range(9):
        start.answer(0, 0, 1, 1)
    assert MEASURED_MS + MOVE_MS // 2 - 1 <= start.ms <= MEASURED_MS + MOVE_MS // 2


def test_what_tells_nothing_of_the_start_teaches_nothing():
    step_ms = MIN_PULSE_MS // 4
    for case in ({"crossed_ms": 1}, {"moved_ms": SHORT_STEPS * step_ms + 1}, {"rests": 0}):
        start = learner()
        start.begin()
        start.move(case.get("moved_ms", MOVE_MS), case.get("crossed_ms", 0))
        for _ in range(5):
            start.answer(-MOVE_U16, 0, 1, case.get("rests", 1))
        assert start.ms == MEASURED_MS, case
    start = learner()
    start.answer(0, 0, 1, 0)  # the flow did not rest when the move began
    start.begin()
    start.move(MOVE_MS, 0)
    start.answer(-MOVE_U16, 0, 1, 1)
    assert start.ms == MEASURED_MS


def test_a_flow_that_moved_by_itself_is_no_lesson():
    """No move falls short, or goes too far, by more than its own length, and a quarter of it."""
    for times in (-20, -1.4, 1.4, 20):
        start = learner()
        move(start, int(times * MOVE_U16))
        assert start.ms == MEASURED_MS, times
    start = learner()
    move(start, int(-1.2 * MOVE_U16))
    assert start.ms == MEASURED_MS + MOVE_MS // 2


def test_it_stays_between_nothing_and_what_a_broken_motor_needs():
    start = learner()
    for _ in range(400):
        move(start, -MOVE_U16)
    assert start.ms == MOST_MS
    start = learner()
    for _ in range(400):
        move(start, MOVE_U16)
    assert start.ms == 0
