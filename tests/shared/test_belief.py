"""What is believed of a speed, to the millimetre a second and to the tick."""

from rate_control.believable import Belief, unseen_mm_s
from rate_control.records import Measured
from rate_control.settings import build

# Settings of a factory: a ceiling of 500 mm/s from rest, 250 mm/s more in each tick, and what
# is seen may be an eighth above it; motion counts from 175 mm/s on, and is held for 20 ticks.
HOLD_TICKS = 20
PROOF_TICKS = 10
CREEP_MM_S = 400
JUMP_MM_S = 15000


def made(**changes):
    settings, problems = build(changes)
    assert problems == [], problems
    return settings


def silence(standing=0, last_seen_mm_s=0):
    measured = Measured()
    measured.standing = standing
    measured.speed_last_seen_mm_s = last_seen_mm_s
    return measured


def switched_on():
    return Belief(made())


def at_rest():
    """Return one that has seen other things, and then a proved standstill."""
    belief = in_motion()
    seen(belief, JUMP_MM_S, 3)
    assert belief.jumped
    assert belief.silent(silence(standing=1)) == 0
    return belief


def in_motion():
    belief = switched_on()
    seen(belief, CREEP_MM_S, PROOF_TICKS)
    assert (belief.proved, belief.calm) == (1, 1)
    return belief


def seen(belief, speed_mm_s, ticks=1):
    """Let a speed be seen in each of some ticks; return what goes for it in the last."""
    for _ in range(ticks):
        goes = belief.update(speed_mm_s, 1, 1)
    return goes


def test_what_a_machine_can_reach_unseen():
    # sqrt(2 a s), a 5 m/s2, s one pulse and at least 25 mm
    for pulses_km, speed_mm_s in ((130000, 500), (40000, 500), (1400, 2672), (1000, 3162)):
        assert unseen_mm_s(made(speed_pulses_km=pulses_km)) == speed_mm_s


def test_one_that_was_never_fed_believes_nothing():
    belief = switched_on()
    assert (belief.jumped, belief.odd, belief.valid) == (0, 0, 0)
    assert (belief.proved, belief.calm, belief.from_rest) == (0, 0, 0)


def test_ceiling_rises_from_what_was_believed_by_half_of_gravity():
    # v - v / 8 within 250 mm/s of 500 at first, then within 250 of the 400 that was believed
    for begin in (switched_on, at_rest):
        for speed_mm_s, jumped in ((857, 0), (858, 1)):
            belief = begin()
            seen(belief, speed_mm_s)
            assert (belief.jumped, belief.valid) == (jumped, 1 - jumped)
        for speed_mm_s, jumped in ((742, 0), (743, 1)):
            belief = begin()
            seen(belief, CREEP_MM_S)
            seen(belief, speed_mm_s)
            assert belief.jumped == jumped


def test_no_machine_is_faster_than_72_km_h():
    belief = in_motion()
    speed_mm_s = CREEP_MM_S
    while speed_mm_s < 20000:
        speed_mm_s = min((speed_mm_s + 200) * 8 // 7, 20000)
        assert seen(belief, speed_mm_s) == speed_mm_s
        assert not belief.jumped
    seen(belief, 20001)
    assert belief.jumped


def test_motion_is_proved_by_half_a_second_and_two_sightings():
    for begin in (switched_on, at_rest):
        belief = begin()
        assert seen(belief, 175, PROOF_TICKS - 1) == 175
        assert (belief.proved, belief.calm) == (0, 0)
        seen(belief, 175)
        assert (belief.proved, belief.calm, belief.from_rest) == (1, 1, 0)
        belief = begin()
        seen(belief, 175)
        for _ in range(3 * PROOF_TICKS):
            belief.update(175, 1, 0)
            assert not belief.proved
        seen(belief, 175)
        assert belief.proved
        belief = begin()
        seen(belief, 174, 3 * PROOF_TICKS)  # an eighth below the cut-off
        assert (belief.valid, belief.proved) == (1, 0)
        seen(belief, 175)
        assert not belief.proved
        seen(belief, 175)
        assert belief.proved


def test_motion_ends_below_the_cut_off():
    belief = in_motion()
    seen(belief, 175)
    assert belief.proved
    seen(belief, 174)
    assert (belief.valid, belief.proved, belief.calm) == (1, 0, 0)


def test_one_that_falls_faster_than_a_machine_brakes_is_proved_anew():
    # v + v / 8 may be 250 mm/s below what was believed
    for first_mm_s, then_mm_s, anew in ((600, 311, 1), (601, 312, 0)):
        belief = switched_on()
        seen(belief, first_mm_s, 5)
        seen(belief, then_mm_s, PROOF_TICKS - 1 if anew else PROOF_TICKS - 6)
        assert not belief.proved
        seen(belief, then_mm_s)
        assert belief.proved
    belief = switched_on()
    seen(belief, 600, 5)
    seen(belief, 311)
    for _ in range(PROOF_TICKS):
        belief.update(311, 1, 0)
        assert not belief.proved, "it was seen but once"
    seen(belief, 311)
    assert belief.proved


def test_in_motion_the_last_speed_is_held_and_then_none_goes():
    belief = in_motion()
    assert seen(belief, JUMP_MM_S, HOLD_TICKS) == CREEP_MM_S
    assert seen(belief, JUMP_MM_S) == 0
    belief = in_motion()
    for _ in range(2):
        assert seen(belief, JUMP_MM_S, HOLD_TICKS - 1) == CREEP_MM_S
        assert seen(belief, CREEP_MM_S) == CREEP_MM_S
        assert (belief.jumped, belief.odd, belief.calm) == (0, 0, 1)
        assert seen(belief, JUMP_MM_S, HOLD_TICKS) == CREEP_MM_S
        assert (belief.jumped, belief.odd, belief.valid) == (1, 1, 1)
        seen(belief, CREEP_MM_S)
    seen(belief, JUMP_MM_S, HOLD_TICKS)
    assert seen(belief, JUMP_MM_S) == 0
    assert (belief.valid, belief.proved, belief.calm) == (0, 0, 0)


def test_out_of_motion_the_ceiling_rises_to_a_jump_and_out_of_a_standstill_never():
    for begin, believed in ((in_motion, 1), (at_rest, 0)):
        belief = begin()
        seen(belief, JUMP_MM_S, 80)
        assert (belief.valid, belief.jumped) == (believed, 1 - believed)


def test_after_a_jump_out_of_a_standstill_a_true_start_is_proved_as_ever():
    belief = at_rest()
    assert belief.from_rest == 1
    seen(belief, JUMP_MM_S, 30)
    assert (belief.jumped, belief.odd) == (1, 1)
    seen(belief, 572)  # 501 of it count, and the ceiling has not risen
    assert belief.jumped
    assert seen(belief, 571, PROOF_TICKS - 1) == 571
    assert (belief.jumped, belief.proved) == (0, 0)
    seen(belief, 571)
    assert belief.proved
    belief = switched_on()
    seen(belief, 20)  # what a receiver shows at rest
    belief.from_rest = 1
    seen(belief, JUMP_MM_S)
    seen(belief, 571)
    assert not belief.jumped


def test_a_jump_contradicts_only_what_was_known():
    belief = switched_on()
    seen(belief, JUMP_MM_S)
    assert (belief.jumped, belief.odd) == (1, 0)
    belief = switched_on()
    seen(belief, CREEP_MM_S)
    seen(belief, JUMP_MM_S)
    assert (belief.jumped, belief.odd) == (1, 1)
    belief = switched_on()
    belief.silent(silence(standing=1))
    seen(belief, JUMP_MM_S)
    assert (belief.jumped, belief.odd) == (1, 1)


def test_between_two_edges_there_is_no_speed():
    for ticks in (3, PROOF_TICKS):  # not proved, and proved
        belief = switched_on()
        seen(belief, CREEP_MM_S, ticks)
        assert belief.update(7, 0, 1) == 0
        assert (belief.valid, belief.proved, belief.calm) == (0, 0, 0)


def test_a_silence_tells_a_standstill_only_where_nothing_was_lost():
    for last_seen_mm_s, from_rest in ((500, 1), (501, 0)):
        belief = at_rest()
        belief.silent(silence(1, last_seen_mm_s))
        assert belief.from_rest == from_rest
    belief.silent(silence(0, 3000))
    assert seen(belief, 3000) == 3000, "it comes back at the speed at which it was lost"
    belief = at_rest()
    belief.silent(silence(0))
    assert belief.from_rest == 0
    belief = in_motion()
    seen(belief, JUMP_MM_S)
    belief.silent(silence(1))
    assert (belief.jumped, belief.odd) == (0, 0)
    assert (belief.valid, belief.proved, belief.calm) == (0, 0, 0)
