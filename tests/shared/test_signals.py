"""Lamp and buzzer: what each state looks and sounds like."""

from app.signals import PATTERNS, STEP_MS, STEPS, Signals, pattern
from rate_control.faults import BLOCKING, FLOW_MISSING, SUPPLY_LOW, TABLE
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY
from tests.shared.panel_rig import PanelRig


def test_every_state_has_a_row_and_trouble_comes_first():
    names = [pattern(state, 0, "")[0] for state in (PARKED, READY, APPLYING, BENCH, FAULT)]
    assert names == ["parked", "ready", "applying", "bench", "fault"]
    assert pattern(APPLYING, SUPPLY_LOW, "")[0] == "warning"
    assert pattern(APPLYING, SUPPLY_LOW | FLOW_MISSING, "")[0] == "fault"
    assert pattern(PARKED, 0, "link: gone")[0] == "warning"
    for row in TABLE:
        wanted = "fault" if row[0] & BLOCKING else "warning"
        assert pattern(READY, row[0], "")[0] == wanted


def test_patterns_differ_and_only_trouble_sounds():
    assert len({row[1] for row in PATTERNS}) == len(PATTERNS)
    assert [row[0] for row in PATTERNS if row[2]] == ["fault", "warning"]
    assert STEP_MS * STEPS == 2000


def played(row, loud):
    signals = Signals()
    steps = [signals.next(row, loud) for _ in range(STEPS)]
    return "".join(str(step[0]) for step in steps), "".join(str(step[1]) for step in steps)


def test_pattern_is_played_from_its_highest_bit_on():
    assert played(PATTERNS[0], 1) == ("1010101010101010", "1010100000000000")
    assert played(PATTERNS[0], 0) == ("1010101010101010", "0" * 16)


def beeps(rig, ticks):
    count = 0
    for _ in range(ticks):
        rig.ticks(1)
        count += rig.board.buzzer
    return count


def test_buzzer_sounds_for_a_fault_until_a_key_is_touched():
    rig = PanelRig()
    rig.arm()
    rig.drive(flow_pulses=0)  # no flow: the fault comes after three seconds
    rig.ticks(40)
    assert rig.state() == FAULT
    assert beeps(rig, 80) > 0
    rig.turn(1)
    rig.ticks(3)
    assert beeps(rig, 80) == 0
    assert rig.state() == FAULT, "quiet is not cleared"
    rig.switch(rig.board.switches & ~1, 20)
    rig.arm()
    rig.drive(flow_pulses=0)
    rig.ticks(40)
    assert rig.state() == FAULT
    assert beeps(rig, 80) > 0, "the same fault again is news again"
