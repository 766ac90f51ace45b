"""A valve's motor: its start and its pace are learned from what moves did by the meter."""

from rate_control.settings import build
from rate_control.units import DUTY_FULL, INLINE_VALVE, TICK_MS
from rate_control.valve_drive import ValveDrive
from rate_control.valve_motor import MOST_MS, SHORT_STEPS, ValveMotor

MEASURED_MS = 40
MIN_PULSE_MS = 50
TRAVEL_MS = 8000
MOVE_MS = 24
MOVE_U16 = DUTY_FULL * MOVE_MS // TRAVEL_MS
START_U16 = DUTY_FULL * MEASURED_MS // TRAVEL_MS


def learner(lost_ms=MEASURED_MS):
    settings, problems = build({
        "actuator": INLINE_VALVE, "valve_lost_ms": lost_ms, "valve_min_pulse_ms": MIN_PULSE_MS,
        "valve_travel_ms": TRAVEL_MS})
    assert problems == [], problems
    motor = ValveMotor(settings)
    rest(motor)
    return motor


def rest(motor, error_u16=0):
    """The flow rests for as long as the machine takes to answer; the first tick shows an error."""
    motor.answer(error_u16, error_u16, 1)  # which is put right at once
    for _ in range(motor.answer_ticks - 1):
        motor.answer(0, 0, 1)


def move(motor, error_u16, direction=1, moved_ms=MOVE_MS, crossed_ms=0):
    """A move from where the flow rests, and how much further it went by the meter."""
    motor.begin(direction)
    motor.move(moved_ms, crossed_ms)
    rest(motor, error_u16)


def test_a_pulse_that_the_meter_does_not_answer_makes_the_next_one_longer_by_half_of_it():
    for direction in (1, -1):
        motor = learner()
        move(motor, -direction * MOVE_U16, direction)
        for _ in range(9):  # however often that is seen
            motor.answer(-direction * MOVE_U16, 0, 1)
            assert MEASURED_MS + MOVE_MS // 2 - 1 <= motor.start_ms <= MEASURED_MS + MOVE_MS // 2


def test_a_pulse_that_went_too_far_makes_the_next_one_shorter():
    motor = learner()
    move(motor, MOVE_U16 // 2)
    assert MEASURED_MS - MOVE_MS // 4 - 1 <= motor.start_ms <= MEASURED_MS - MOVE_MS // 4


def test_what_is_not_put_right_yet_counts_as_well():
    motor = learner()
    motor.begin(1)
    motor.move(MOVE_MS, 0)
    for _ in range(motor.answer_ticks):
        motor.answer(-MOVE_U16, 0, 1)
    assert MEASURED_MS + MOVE_MS // 2 - 1 <= motor.start_ms <= MEASURED_MS + MOVE_MS // 2


def test_moves_of_one_way_that_follow_before_the_answer_are_one_lesson_for_each_of_them():
    motor = learner()
    for _ in range(3):
        motor.begin(1)
        motor.move(MOVE_MS, 0)
        motor.answer(-MOVE_U16, -MOVE_U16, 1)
    rest(motor)
    assert MEASURED_MS + MOVE_MS // 2 - 1 <= motor.start_ms <= MEASURED_MS + MOVE_MS // 2


def test_what_tells_nothing_of_the_start_teaches_nothing():
    step_ms = MIN_PULSE_MS // 4
    for case in ({"crossed_ms": 1}, {"moved_ms": SHORT_STEPS * step_ms + 1}):
        motor = learner()
        move(motor, -MOVE_U16, **case)
        assert motor.start_ms == MEASURED_MS, case
    motor = learner()
    motor.answer(0, 0, 0)  # the flow did not rest when the move began
    move(motor, -MOVE_U16)
    assert motor.start_ms == MEASURED_MS
    motor.begin(1)  # nor when it was to be answered
    motor.move(MOVE_MS, 0)
    for _ in range(2 * motor.answer_ticks):
        motor.answer(-MOVE_U16, 0, 0)
    assert motor.start_ms == MEASURED_MS


def test_a_meter_that_cannot_have_answered_yet_teaches_nothing():
    """On waves of the speed the valve turns back first: what the meter shows by then is noise."""
    motor = learner()
    for turn in range(40):
        motor.begin(1 if turn & 1 else -1)
        motor.move(MOVE_MS, 0)
        for _ in range(motor.answer_ticks - 1):
            motor.answer(MOVE_U16, 0, 1)
        assert motor.start_ms == MEASURED_MS, turn


def test_a_flow_that_moved_by_itself_is_no_lesson():
    """None falls short by more than its length, nor goes too far by more than its start's."""
    for part_u16 in (-20 * MOVE_U16, -1.4 * MOVE_U16, 1.4 * START_U16, 20 * START_U16):
        motor = learner()
        move(motor, int(part_u16))
        assert motor.start_ms == MEASURED_MS, part_u16
    motor = learner()
    move(motor, int(-1.2 * MOVE_U16))
    assert motor.start_ms == MEASURED_MS + MOVE_MS // 2


def test_a_start_that_is_thought_too_long_comes_back_by_moves_that_are_shorter_than_it():
    motor = learner()
    move(motor, START_U16)  # it took none
    assert motor.start_ms == MEASURED_MS // 2


LONG_MS = TRAVEL_MS // 8


def long_move(motor, share, direction=1):
    """A move through the play that went so much further than it was reckoned, by the meter."""
    went_u16 = int(DUTY_FULL * LONG_MS * share) // motor.travel_ms
    move(motor, direction * went_u16, direction, LONG_MS, 50)


def test_long_moves_teach_the_pace_a_quarter_of_what_is_little_and_half_of_what_is_much():
    for direction in (1, -1):
        for share, part in ((0.04, 0.01), (-0.04, -0.01), (0.2, 0.1), (-0.2, -0.1)):
            motor = learner()
            long_move(motor, share, direction)
            assert abs(motor.travel_ms - TRAVEL_MS * (1 - part)) <= TRAVEL_MS // 1000, share
            assert motor.start_ms == MEASURED_MS


def test_a_long_move_that_is_trimmed_by_short_ones_teaches_the_pace_all_the_same():
    motor = learner()
    motor.begin(1)
    motor.move(LONG_MS, 50)
    motor.answer(-MOVE_U16, 0, 0)
    motor.begin(1)
    motor.move(MOVE_MS, 0)
    motor.answer(-MOVE_U16, 0, 0)
    for _ in range(motor.answer_ticks):
        motor.answer(-MOVE_U16, 0, 1)
    assert motor.travel_ms > TRAVEL_MS


def test_there_and_back_or_a_valve_that_hardly_moved_teach_no_pace():
    motor = learner()
    for direction in (1, -1, 1):
        motor.begin(direction)
        motor.move(LONG_MS, 50)
    rest(motor, -20 * MOVE_U16)
    assert motor.travel_ms == TRAVEL_MS
    long_move(motor, -0.6)
    assert motor.travel_ms == TRAVEL_MS


def test_what_changed_the_flow_meanwhile_spoils_the_lesson():
    motor = learner()
    motor.begin(1)
    motor.move(LONG_MS, 50)
    motor.spoil()
    rest(motor, -20 * MOVE_U16)
    assert motor.travel_ms == TRAVEL_MS


def test_the_pace_stays_within_half_and_double_of_what_was_measured():
    for share, travel_ms in ((0.4, TRAVEL_MS // 2), (-0.4, 2 * TRAVEL_MS)):
        motor = learner()
        for _ in range(60):
            long_move(motor, share)
        assert motor.travel_ms == travel_ms


def test_a_motor_that_was_cut_off_or_turns_round_starts_anew():
    """A motor that is reversed at once does not run on; the tick of rest makes good for that."""
    settings, _ = build({
        "actuator": INLINE_VALVE, "valve_lost_ms": MEASURED_MS, "valve_min_pulse_ms": MIN_PULSE_MS,
        "valve_travel_ms": TRAVEL_MS, "valve_play_ms": 0})
    drive = ValveDrive(settings)
    far = [drive.toward(DUTY_FULL) for _ in range(10)]
    assert far == [TICK_MS] * 10
    way = drive.position_u16
    assert abs(way - DUTY_FULL * (10 * TICK_MS - MEASURED_MS) // TRAVEL_MS) <= 10
    drive.halt()
    for _ in range(10):
        drive.toward(DUTY_FULL)
    assert abs(drive.position_u16 - 2 * way) <= 10
    assert [drive.toward(0) for _ in range(3)] == [0, -TICK_MS, -TICK_MS]


def test_after_power_up_a_motor_is_given_no_time_for_play_on_its_way_to_more_flow():
    """Whether its play is taken up is not known then, and time for it would be too much flow."""
    settings, _ = build({
        "actuator": INLINE_VALVE, "valve_lost_ms": MEASURED_MS, "valve_min_pulse_ms": MIN_PULSE_MS,
        "valve_travel_ms": TRAVEL_MS, "valve_play_ms": 100})
    drive = ValveDrive(settings)
    pulses = [drive.toward(DUTY_FULL // 10) for _ in range(30)]
    assert abs(sum(pulses) - TRAVEL_MS // 10 - MEASURED_MS) <= 2


def test_it_stays_between_nothing_and_what_a_broken_motor_needs():
    motor = learner()
    for _ in range(400):
        move(motor, -MOVE_U16)
    assert motor.start_ms == MOST_MS
    motor = learner()
    for _ in range(400):
        move(motor, DUTY_FULL * motor.start_ms // TRAVEL_MS)
    assert motor.start_ms == 0
