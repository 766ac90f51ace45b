"""The whole core, hand-driven: a drive across a headland, bench, faults, settings."""

from rate_control import faults
from rate_control.believable import standstill_ticks
from rate_control.controller import Controller
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, PRIMING, READY
from rate_control.intmath import LIMIT
from rate_control.procedures import DONE, STOPPED
from rate_control.procedures.catalogue import make
from rate_control.procedures.procedure import Procedure
from rate_control.records import Decided, Inputs, Request
from rate_control.settings import build
from rate_control.trace import FIELDS
from rate_control.units import BY_GNSS, BYPASS_VALVE, INLINE_VALVE, PWM_PUMP, SPEED_MAX_MM_S

MASTER = 1
DOWN = 2
ALL = 4 + 8 + 16
WORK = MASTER | DOWN | ALL


class Rig:
    """Drives a controller with steady pulse trains; the clock starts just before its wrap."""

    def __init__(self, **changes):
        made, problems = build(changes)
        assert problems == []
        self.controller = Controller(made)
        self.inputs = Inputs()
        self.now_us = LIMIT - 500000

    def ticks(self, count, switches, speed_hz=0, flow_hz=0, late_us=0):
        """Run ticks with pulses of whole numbers a tick (20 ticks a second), a late one's too."""
        span_us = 50000 + max(late_us, 0)
        for _ in range(count):
            self.now_us = (self.now_us + 50000 + late_us) & LIMIT
            inputs = self.inputs
            inputs.switches = switches
            if speed_hz:
                inputs.speed_count = (inputs.speed_count + speed_hz * span_us // 1000000) & LIMIT
                inputs.speed_edge_us = self.now_us
            if flow_hz:
                inputs.flow_count = (inputs.flow_count + flow_hz * span_us // 1000000) & LIMIT
                inputs.flow_edge_us = self.now_us
            outputs = self.controller.step(inputs, self.now_us)
        return outputs

    def armed(self):
        self.ticks(5, 0)
        return self

    def moved_off(self, switches):
        """Gain speed as a machine does, from rest to 3 m/s in a second."""
        for speed_hz in range(20, 400, 20):
            self.ticks(1, switches, speed_hz)
        return self

    def stopped(self, switches):
        """Brake as a machine does, its last pulses slow, and stand for two seconds."""
        self.ticks(8, switches, 20)
        return self.ticks(40, switches)

    def state(self):
        return self.controller.decided.state


def driven(outputs):
    """Return whether any output is on."""
    return bool(outputs.duty_u16 or outputs.valve_pulse_ms or outputs.section_mask)


def test_just_started_it_drives_nothing_whatever_the_switches_say():
    for actuator in (PWM_PUMP, INLINE_VALVE, BYPASS_VALVE):
        for switches in range(32):
            for speed_hz in (0, 400):
                rig = Rig(actuator=actuator)
                request = rig.controller.request
                request.regulation = Request.FIXED_DUTY
                for _ in range(40):
                    request.fixed_duty_u16 = 30000
                    request.bench_speed_mm_s = 2000
                    request.bench = 1
                    assert not driven(rig.ticks(1, switches, speed_hz, 40))
                assert rig.state() == PARKED


def test_off_for_less_than_the_debouncing_never_arms():
    for changes in ({}, {"switch_debounce_ms": 0}, {"switch_debounce_ms": 500},
                    {"switch_debounce_ms": 500, "implement_start_delay_ms": 1000,
                     "implement_stop_delay_ms": 2000}):
        rig = Rig(flow_missing_ms=30000, **changes)
        proof_ticks = max(rig.controller.settings.switch_debounce_ms // 50, 2) + 1
        rig.ticks(60, WORK, 400, 0)
        assert rig.state() == PARKED, changes
        for off_ticks in range(1, proof_ticks):
            rig.ticks(off_ticks, WORK & ~MASTER, 400, 0)
            outputs = rig.ticks(60, WORK, 400, 0)
            assert rig.state() == PARKED, (changes, off_ticks)
            assert (outputs.duty_u16, outputs.section_mask) == (0, 0)
        rig.ticks(proof_ticks, WORK & ~MASTER, 400, 0)
        rig.ticks(60, WORK, 400, 0)
        assert rig.state() == APPLYING, changes


def test_one_bad_sample_of_any_switch_starts_nothing():
    for debounce_ms in (0, 50):
        for switch in (MASTER, DOWN, ALL):
            rig = Rig(switch_debounce_ms=debounce_ms).armed()
            rig.ticks(10, WORK & ~switch, 400, 40)
            for _ in range(20):
                rig.ticks(1, WORK, 400, 40)
                assert rig.state() != APPLYING
                rig.ticks(2, WORK & ~switch, 400, 40)
                assert rig.state() != APPLYING


def test_after_every_lock_the_master_is_off_for_the_whole_time_again():
    def late(rig):
        rig.ticks(1, WORK, 400, 40, late_us=200000)

    def failed(rig):
        rig.controller.request.program_failed = 1
        rig.ticks(1, WORK, 400, 40)
        rig.controller.request.program_failed = 0

    def bench_over(rig):
        rig.stopped(MASTER | ALL)
        rig.controller.request.bench = 1
        rig.ticks(2, MASTER | ALL)
        assert rig.state() == BENCH
        rig.controller.request.bench = 0
        rig.ticks(1, WORK, 400, 40)

    def new_settings(rig):
        rig.ticks(5, WORK & ~DOWN, 400, 40)
        assert rig.controller.apply(rig.controller.settings)

    for lock in (late, failed, bench_over, new_settings):
        rig = Rig(switch_debounce_ms=200).armed()
        rig.ticks(20, WORK, 400, 40)
        assert rig.state() == APPLYING
        lock(rig)
        rig.moved_off(WORK)
        rig.ticks(20, WORK, 400, 40)
        assert rig.state() != APPLYING
        rig.ticks(4, WORK & ~MASTER, 400, 40)
        rig.ticks(40, WORK, 400, 40)
        assert rig.state() != APPLYING
        rig.ticks(12, WORK & ~MASTER, 400, 40)
        rig.ticks(40, WORK, 400, 40)
        assert rig.state() == APPLYING


def test_a_lock_while_the_master_is_off_asks_for_the_whole_time_too():
    rig = Rig(switch_debounce_ms=500)
    rig.ticks(12, WORK & ~MASTER, 400, 40)
    rig.ticks(1, WORK & ~MASTER, 400, 40, late_us=200000)
    rig.ticks(5, WORK & ~MASTER, 400, 40)
    assert rig.state() == PARKED, "the fault is cleared"
    rig.ticks(40, WORK, 400, 40)
    assert rig.state() == PARKED
    rig.ticks(11, WORK & ~MASTER, 400, 40)
    rig.ticks(40, WORK, 400, 40)
    assert rig.state() == APPLYING


def test_a_drive():
    rig = Rig(speed_pulses_km=130000).armed()
    outputs = rig.ticks(40, WORK, 400, 0)
    assert rig.state() == APPLYING
    assert outputs.section_mask == 7
    assert outputs.duty_u16 > 0
    # 400 Hz at 130 pulses/m = 3.0769 m/s; 100 L/ha x 3 m: 92.3 mL/s
    assert rig.controller.measured.speed_mm_s == 3076
    assert rig.controller.decided.target_ul_s == 92280
    outputs = rig.ticks(5, MASTER | ALL, 400, 0)
    assert rig.state() == READY
    assert (outputs.duty_u16, outputs.section_mask) == (0, 0)
    assert rig.ticks(5, WORK & ~8, 400, 0).section_mask == 5
    assert rig.controller.decided.width_mm == 2000


def test_a_section_that_closes_at_work_takes_its_flow_along_in_the_same_tick():
    rig = Rig(speed_pulses_km=130000).armed()
    before = rig.ticks(40, WORK, 400, 0)
    decided = rig.controller.decided
    assert (before.section_mask, decided.width_mm, decided.target_ul_s) == (7, 3000, 92280)
    outputs = before
    while outputs.section_mask == 7:
        assert decided.target_ul_s == 92280
        outputs = rig.ticks(1, WORK & ~8, 400, 0)
    assert (outputs.section_mask, decided.width_mm, decided.target_ul_s) == (5, 2000, 61520)


def test_the_target_is_for_the_speed_ahead():
    rig = Rig(speed_pulses_km=130000, look_ahead_ms=500).armed().moved_off(WORK)
    assert rig.state() == APPLYING
    measured = rig.controller.measured
    assert measured.speed_ahead_mm_s > measured.speed_mm_s + 500
    # 100 L/ha on 3 m: speed x 30 uL/mm
    assert rig.controller.decided.target_ul_s == measured.speed_ahead_mm_s * 30


def test_distance_and_area_are_counted_exactly():
    rig = Rig(speed_pulses_km=130000, switch_debounce_ms=0, flow_missing_ms=30000).armed()
    rig.ticks(20, WORK, 400, 0)
    rig.ticks(1, WORK & ~MASTER, 400, 0)
    distance = rig.controller.totals.distance
    start = distance.whole * 1000 + distance.part
    rig.ticks(1 + 260, WORK, 400, 0)  # one sample more proves that the master is on
    rig.ticks(1, WORK & ~MASTER, 400, 0)
    assert distance.whole * 1000 + distance.part - start == 260 * 20 * 1000 // 130


def test_standstill_stops_and_a_lost_sensor_is_named():
    rig = Rig().armed()
    rig.ticks(20, WORK, 400, 0)
    outputs = rig.ticks(22, WORK, 0, 0)
    assert rig.state() == READY
    assert outputs.duty_u16 == 0
    assert rig.controller.decided.faults & faults.SPEED_LOST


def test_no_flow_is_a_fault_that_stays_until_master_off():
    rig = Rig(flow_missing_ms=1000).armed()
    rig.ticks(50, WORK, 400, 0)
    assert rig.state() == FAULT
    assert rig.controller.outputs.duty_u16 == 0
    assert not driven(rig.ticks(50, WORK, 400, 40))
    assert rig.state() == FAULT
    assert rig.controller.decided.faults & faults.FLOW_MISSING, "what stopped it is still told"
    rig.ticks(5, WORK & ~MASTER, 400, 40)
    assert rig.state() == PARKED
    assert not rig.controller.decided.faults & faults.FLOW_MISSING
    rig.ticks(5, WORK, 400, 40)
    assert rig.state() == APPLYING


def test_a_late_tick_stops_everything():
    for interval_us in (0, 150001, 200000, 10000000):
        rig = Rig().armed()
        assert driven(rig.ticks(20, WORK, 400, 40))
        assert not driven(rig.ticks(1, WORK, 400, 40, late_us=interval_us - 50000)), interval_us
        assert rig.state() == FAULT
        assert rig.controller.decided.faults & faults.TICK_LATE
        for _ in range(100):  # and it stays so
            assert not driven(rig.ticks(1, WORK, 400, 40))
        assert rig.controller.interlock.locked
        rig.armed()
        assert driven(rig.ticks(20, WORK, 400, 40))


def test_a_tick_may_be_three_of_its_periods_late():
    rig = Rig().armed()
    for interval_us in (50000, 150000, 1):
        rig.ticks(10, WORK, 400, 40)
        assert rig.state() == APPLYING
        rig.ticks(1, WORK, late_us=interval_us - 50000)
        assert not rig.controller.decided.faults & faults.TICK_LATE


def test_bench_needs_standstill_and_starts_at_zero():
    rig = Rig().armed()
    request = rig.controller.request
    for switches, state in ((WORK, APPLYING), (MASTER | ALL, READY)):
        rig.ticks(20, switches, 400, 0)
        assert rig.state() == state
        request.bench = 1
        rig.ticks(1, switches, 400, 0)
        assert (rig.state(), request.bench) == (state, 0)
    rig.stopped(MASTER | ALL)
    request.bench = 1
    request.bench_speed_mm_s = 2000
    outputs = rig.ticks(1, MASTER | ALL, 0, 0)
    assert rig.state() == BENCH
    assert request.bench_speed_mm_s == 0
    assert outputs.duty_u16 == 0
    request.bench_speed_mm_s = 2000
    outputs = rig.ticks(1, MASTER | ALL, 0, 0)
    assert outputs.duty_u16 > 0
    assert rig.controller.decided.target_ul_s == 60000


def test_bench_ends_at_motion_and_does_not_turn_into_work():
    rig = Rig().armed()
    rig.ticks(30, WORK, 0, 0)
    rig.controller.request.bench = 1
    rig.ticks(3, WORK, 0, 0)
    assert rig.state() == BENCH
    rig.moved_off(WORK)
    rig.ticks(20, WORK, 400, 0)
    assert rig.state() == PARKED
    assert rig.controller.request.bench == 0
    rig.ticks(3, WORK & ~MASTER, 400, 0)
    rig.ticks(3, WORK, 400, 0)
    assert rig.state() == APPLYING


def test_a_bench_that_a_bad_sample_ends_does_not_turn_into_work():
    for debounce_ms in (0, 50):
        rig = Rig(switch_debounce_ms=debounce_ms).armed()
        rig.ticks(30, WORK)
        rig.controller.request.bench = 1
        rig.ticks(3, WORK)
        assert rig.state() == BENCH
        rig.ticks(1 + debounce_ms // 50, WORK & ~MASTER)
        assert rig.state() == PARKED
        for _ in range(40):
            rig.ticks(1, WORK, 400)
            assert rig.state() == PARKED


def test_bad_samples_of_the_master_clear_no_fault():
    for debounce_ms in (0, 50):
        rig = Rig(switch_debounce_ms=debounce_ms).armed().moved_off(WORK)
        rig.ticks(20, WORK, 400, 40)
        rig.ticks(1, WORK, 400, 40, late_us=200000)
        for off in (WORK & ~MASTER, WORK & ~MASTER, WORK):
            rig.ticks(1, off, 400, 40)
            assert rig.state() == FAULT
            assert rig.controller.decided.faults & faults.TICK_LATE
        rig.ticks(5, WORK & ~MASTER, 400, 40)
        assert rig.state() == PARKED
        assert not rig.controller.decided.faults


def test_new_settings_cure_no_fault():
    rig = Rig().armed()
    rig.ticks(20, WORK, 400, 40)
    rig.ticks(1, WORK, 400, 40, late_us=200000)
    assert rig.controller.apply(rig.controller.settings)
    rig.ticks(5, WORK, 400, 40)
    assert rig.state() == FAULT
    assert rig.controller.decided.faults & faults.TICK_LATE


def test_a_pulse_ends_the_bench_and_crawling_never_begins_it():
    # one pulse a metre: 0.9 m/s gives a pulse each 1.1 s, beyond the timeout of 1 s
    rig = Rig(speed_pulses_km=1000, bench_timeout_s=1800).armed()
    for _ in range(20):
        rig.ticks(1, MASTER | ALL, 20)
        for _ in range(21):
            rig.controller.request.bench = 1
            rig.ticks(1, MASTER | ALL)
            assert rig.state() != BENCH
    rig.ticks(120, MASTER | ALL)
    rig.controller.request.bench = 1
    rig.ticks(2, MASTER | ALL)
    assert rig.state() == BENCH
    rig.ticks(1, MASTER | ALL, 20)
    assert rig.state() == PARKED


def test_a_sensor_that_fell_silent_at_speed_is_no_standstill():
    rig = Rig().armed()
    rig.ticks(20, MASTER | ALL, 400)
    for _ in range(3):
        rig.ticks(60, MASTER | ALL)
        rig.controller.request.bench = 1
        rig.ticks(2, MASTER | ALL)
        assert rig.state() == READY or rig.state() == PARKED
        # new settings make every part anew, and do not mend a cable
        assert rig.controller.apply(rig.controller.settings)
        rig.armed()
    rig.stopped(MASTER | ALL)  # seen working again, and seen to slow down
    rig.controller.request.bench = 1
    rig.ticks(2, MASTER | ALL)
    assert rig.state() == BENCH


def test_standstill_takes_as_long_as_any_sensor_needs():
    # an oracle of its own: the slowest pulse train above the cut-off never reads as standing
    for pulses_km in (1000, 1400, 5000, 130000, 500000):
        for cutoff_mm_s in (50, 200, 1000, 5000):
            for timeout_ms in (200, 1000, 8000):
                made, problems = build({"speed_pulses_km": pulses_km,
                                        "speed_cutoff_mm_s": cutoff_mm_s,
                                        "speed_timeout_ms": timeout_ms})
                assert problems == []
                wait_ms = standstill_ticks(made) * 50
                assert wait_ms * cutoff_mm_s * 7 * pulses_km > 8 * 1000000000 - 8 * pulses_km
                assert wait_ms >= timeout_ms


def test_bench_times_out():
    rig = Rig(bench_timeout_s=10, flow_missing_ms=30000).armed()
    rig.ticks(30, WORK)
    request = rig.controller.request
    for lasts in (200, 50, 200, 200):  # every one has the whole time, whatever went before
        request.bench = 1
        for _ in range(lasts):
            rig.ticks(1, WORK)
            assert rig.state() == BENCH
            request.bench_speed_mm_s = 2000
        assert driven(rig.controller.outputs)
        if lasts < 200:
            request.bench = 0  # taken back
        assert not driven(rig.ticks(1, WORK))
        assert (rig.state(), request.bench) == (PARKED, 0)
        request.bench = 1  # asked again at once: the master switch comes first
        assert not driven(rig.ticks(20, WORK))
        rig.armed()
        rig.ticks(5, WORK)


def test_bench_speed_and_duty_are_zero_at_every_entry():
    rig = Rig(flow_missing_ms=30000).armed()
    rig.ticks(30, WORK)
    request = rig.controller.request
    request.regulation = Request.FIXED_DUTY
    for _ in range(2):
        request.bench_speed_mm_s, request.fixed_duty_u16 = 2000, 30000
        request.bench = 1
        assert rig.ticks(1, WORK).duty_u16 == 0
        assert rig.state() == BENCH
        assert (request.bench_speed_mm_s, request.fixed_duty_u16) == (0, 0)
        request.bench_speed_mm_s, request.fixed_duty_u16 = 2000, 30000
        assert rig.ticks(5, WORK).duty_u16 == 30000
        assert (request.bench_speed_mm_s, request.fixed_duty_u16) == (2000, 30000)
        rig.armed()
        rig.ticks(5, WORK)


def test_a_procedure_that_drives_stops_with_the_bench():
    def taken_back(rig):
        rig.controller.request.bench = 0
        rig.ticks(1, MASTER | ALL)

    for end in (taken_back,
                lambda rig: rig.ticks(1, ALL),
                lambda rig: rig.ticks(3, MASTER | ALL, 400),
                lambda rig: rig.ticks(1, MASTER | ALL, late_us=200000),
                lambda rig: rig.ticks(201, MASTER | ALL)):
        rig = Rig(bench_timeout_s=10, flow_missing_ms=30000, switch_debounce_ms=0).armed()
        rig.ticks(30, MASTER | ALL)
        rig.controller.request.bench = 1
        rig.ticks(2, MASTER | ALL)
        procedure, _ = make("pump_curve", {}, rig.controller.settings)
        rig.controller.procedure = procedure
        rig.ticks(60, MASTER | ALL)
        assert rig.controller.decided.source == Decided.BY_PROCEDURE
        assert rig.controller.outputs.duty_u16 == procedure.duty_u16 > 0
        end(rig)
        assert rig.state() != BENCH
        assert (procedure.state, procedure.duty_u16) == (STOPPED, 0)
        assert procedure.reason == "stopped"
        assert not driven(rig.controller.outputs)
        rig.armed()  # a new bench does not take it up again
        rig.stopped(MASTER | ALL)
        rig.controller.request.bench = 1
        assert rig.ticks(5, MASTER | ALL).duty_u16 == 0
        assert rig.state() == BENCH
        assert procedure.state == STOPPED


def test_sections_of_a_procedure_are_among_those_that_are_on():
    rig = Rig().armed()
    procedure, _ = make("outlet_catch", {}, rig.controller.settings)
    procedure.section_mask = 3
    rig.controller.procedure = procedure
    outputs = rig.ticks(20, WORK & ~4, 400, 40)
    assert outputs.section_mask == 2
    assert outputs.duty_u16 > 0, "one that does not drive leaves the demand to the loop"
    procedure.stop()
    assert rig.ticks(1, WORK & ~4, 400, 40).section_mask == 6


def test_a_procedure_gets_a_tick_until_it_has_ended_and_none_after():
    class Counting(Procedure):
        ticks = 0

        def step(self, measured, decided):
            self.ticks += 1

    rig = Rig().armed()
    procedure = Counting()
    rig.controller.procedure = procedure
    rig.ticks(3, WORK, 400, 40)
    assert procedure.ticks == 3
    procedure.finish(DONE, "done")
    rig.ticks(3, WORK, 400, 40)
    assert procedure.ticks == 3


def test_after_a_stop_the_meter_is_expected_to_read_nothing_at_first():
    rig = Rig(flow_missing_ms=30000).armed()
    rig.ticks(60, WORK, 400, 0)
    decided = rig.controller.decided
    assert decided.expected_ul_s > decided.target_ul_s // 2
    rig.ticks(60, WORK & ~DOWN, 400, 0)
    while rig.state() != APPLYING:
        rig.ticks(1, WORK, 400, 0)
    assert decided.expected_ul_s < decided.target_ul_s // 2


def test_demand_is_lower_where_the_flow_comes_down():
    rig = Rig(curve_gap_u16=2000, flow_missing_ms=30000).armed()
    rig.ticks(30, MASTER | ALL)
    request = rig.controller.request
    request.bench = 1
    rig.ticks(1, MASTER | ALL)
    request.bench_speed_mm_s = 1000
    rig.ticks(20, MASTER | ALL)  # a start is led, so that it comes down at its end
    duties = []
    for speed_mm_s in (2000, 3000, 2000):
        request.bench_speed_mm_s = speed_mm_s
        duties.append(rig.ticks(2, MASTER | ALL).duty_u16)
    assert duties[0] - duties[2] == 2000


def test_fixed_duty():
    rig = Rig().armed()
    rig.controller.request.regulation = Request.FIXED_DUTY
    rig.controller.request.fixed_duty_u16 = 30000
    outputs = rig.ticks(20, WORK, 400, 40)
    assert outputs.duty_u16 == 30000
    assert rig.ticks(5, DOWN | ALL, 400, 40).duty_u16 == 0


def test_new_settings_are_refused_while_outputs_may_be_on():
    made, _ = build({"rate_ml_ha": 50000, "section_count": 1})

    def check_refused(rig, state):
        before = rig.controller.settings
        outputs = rig.controller.outputs
        mask, duty = outputs.section_mask, outputs.duty_u16
        assert not rig.controller.apply(made)
        assert rig.controller.settings is before
        assert rig.controller.request.rate_ml_ha == before.rate_ml_ha != made.rate_ml_ha
        assert (outputs.section_mask, outputs.duty_u16) == (mask, duty) != (0, 0)
        assert not rig.controller.interlock.locked
        assert rig.state() == state

    rig = Rig(flow_missing_ms=30000).armed()
    rig.ticks(10, WORK, 400, 40)
    check_refused(rig, APPLYING)
    assert rig.ticks(10, WORK, 400, 40).section_mask == 7
    rig.stopped(MASTER | ALL)
    rig.controller.request.bench = 1
    rig.ticks(1, MASTER | ALL)
    rig.controller.request.bench_speed_mm_s = 2000
    rig.ticks(1, MASTER | ALL)
    check_refused(rig, BENCH)
    assert rig.ticks(10, MASTER | ALL).section_mask == 7


def test_new_settings_lock_and_count_from_then_on():
    rig = Rig().armed()
    rig.ticks(5, WORK & ~DOWN, 400, 40)
    assert rig.state() == READY
    made, _ = build({"rate_ml_ha": 50000, "section_count": 1, "switch_debounce_ms": 300})
    assert rig.controller.apply(made)
    rig.ticks(40, WORK, 400, 40)
    assert rig.state() == PARKED
    rig.ticks(6, 0, 400, 40)  # too short for the debouncing of now
    rig.ticks(20, WORK, 400, 40)
    assert rig.state() == PARKED
    rig.ticks(7, 0, 400, 40)
    assert rig.ticks(40, WORK, 400, 40).section_mask == 1
    assert rig.state() == APPLYING
    assert rig.controller.request.rate_ml_ha == 50000


def test_without_a_fix_the_receiver_gives_no_permit():
    def reported(rig, count, fix, speed_mm_s=3000):
        for _ in range(count):
            rig.inputs.report(BY_GNSS, rig.now_us, speed_mm_s, fix)
            outputs = rig.ticks(1, WORK, 400, 40)
        return outputs

    for lose in (lambda rig: reported(rig, 1, 0),
                 lambda rig: reported(rig, 1, 1, SPEED_MAX_MM_S + 1),
                 lambda rig: rig.ticks(22, WORK, 400, 40)):  # no report for longer than 1 s
        rig = Rig(speed_source=1, speed_timeout_ms=1000).armed()
        assert not driven(reported(rig, 40, 0))
        assert not driven(rig.ticks(40, WORK, 400, 40))  # the pulses of a wheel stand in for none
        assert driven(reported(rig, 20, 1))
        assert driven(rig.ticks(18, WORK, 400, 40))
        assert driven(reported(rig, 1, 1))
        assert not driven(lose(rig))
        assert rig.state() == READY
        assert rig.controller.decided.faults & faults.SPEED_LOST
        assert not driven(reported(rig, 40, 0))
        assert driven(reported(rig, 12, 1))


def test_a_procedure_that_drove_leaves_nothing_behind():
    rig = Rig().armed()
    rig.ticks(30, MASTER | ALL)
    rig.controller.request.bench = 1
    rig.ticks(2, MASTER | ALL)
    assert rig.state() == BENCH
    procedure, _ = make("pump_curve", {}, rig.controller.settings)
    rig.controller.procedure = procedure
    rig.ticks(60, MASTER | ALL)
    assert rig.controller.decided.source == Decided.BY_PROCEDURE
    rig.ticks(1, ALL)
    rig.controller.procedure = None  # its proposal was kept
    outputs = rig.ticks(2, ALL)
    assert (outputs.duty_u16, outputs.section_mask) == (0, 0)
    assert rig.controller.decided.source == Decided.BY_LOOP


def test_trace_is_whole():
    rig = Rig().armed()
    assert Rig().controller.trace == [0] * len(FIELDS), "nothing has been seen"
    rig.ticks(3, WORK, 400, 40)
    assert len(rig.controller.trace) == len(FIELDS)
    assert rig.controller.trace[0] == rig.now_us


def test_pulses_that_cannot_be_liquid_are_not_counted_and_are_told():
    """1 kHz at 450 pulses/L is 2.2 L/s, from a pump that gives 0.184 L/s at its full duty."""
    for switches, told in ((WORK, "too_much_flow"), (MASTER | ALL, "flow_while_off")):
        rig = Rig().armed()
        rig.moved_off(switches)
        rig.ticks(40, switches, 400, 40)
        before_ml = metered_ml(rig)
        rig.ticks(80, switches, 400, 1000)  # 8.9 L, were it liquid
        assert metered_ml(rig) - before_ml < 200
        assert told in faults.names(rig.controller.decided.faults)
        rig.ticks(5, switches, 400, 40)
        before_ml = metered_ml(rig)
        rig.ticks(40, switches, 400, 40)
        assert 170 <= metered_ml(rig) - before_ml <= 180, "liquid counts again"


def test_bursts_at_the_meter_are_counted_nowhere_and_are_told():
    """What a relay or a starter sends at once: no flow can be made of it, and none is."""
    for switches in (0, MASTER | ALL, WORK & ~ALL):
        rig = Rig().armed()
        rig.moved_off(switches)
        rig.ticks(40, switches, 400)
        before_ml = metered_ml(rig)
        counted_ul = 0
        for wait in (1, 4, 100):  # ticks, up to longer than any standstill
            for _ in range(5):
                rig.inputs.flow_count = (rig.inputs.flow_count + 60) & LIMIT
                rig.inputs.flow_edge_us = rig.now_us
                for _ in range(wait):
                    rig.ticks(1, switches, 400)
                    counted_ul += rig.controller.trace[FIELDS.index("volume_ul")]
                    if wait < 40:
                        assert "meter_noise" in faults.names(rig.controller.decided.faults)
        assert metered_ml(rig) == before_ml and not counted_ul, switches
        assert not rig.controller.decided.faults, "it is over"


def test_noise_on_the_bench_is_counted_for_the_curve_may_not_be_of_this_machine():
    rig = Rig().armed()
    rig.ticks(80, MASTER | ALL)
    rig.controller.request.bench = 1
    rig.ticks(4, MASTER | ALL)
    assert rig.state() == BENCH
    rig.ticks(20, MASTER | ALL, 0, 1000)
    assert rig.controller.totals.bench_volume.thousandths() > 2000
    assert "meter_noise" not in faults.names(rig.controller.decided.faults)


def test_four_times_the_topmost_flow_of_the_curve_is_liquid_and_more_is_none():
    # 0.05 L a pulse, in whole pulses a tick: 4 a tick are 4 L/s
    for top_ul_s, counted_ml in ((1000000, 200), (999999, 0)):
        flows = [top_ul_s // 8 * point for point in range(8)] + [top_ul_s]
        rig = Rig(meter_pulses_hl=2000, curve_flow_ul_s=flows)
        rig.ticks(40, 0, 0, 80)
        before_ml = metered_ml(rig)
        assert rig.controller.measured.flow_ul_s == 4000000
        rig.ticks(1, 0, 0, 80)
        assert metered_ml(rig) - before_ml == counted_ml
    rig.ticks(1100, 0, 0, 80)
    assert metered_ml(rig) == before_ml, "not a microlitre a tick"


def test_priming_drives_the_pump_alone_as_it_is_asked_to():
    rig = Rig().armed()
    rig.controller.request.prime_u16 = 20000
    rig.moved_off(MASTER | ALL)
    outputs = rig.ticks(60, MASTER | ALL, 400)
    assert rig.state() == PRIMING
    assert (outputs.duty_u16, outputs.section_mask) == (20000, 0)
    assert rig.controller.decided.source == Decided.BY_PRIMING
    assert not rig.controller.decided.target_ul_s
    assert rig.ticks(20, WORK, 400).section_mask == 7 and rig.state() == APPLYING
    assert rig.controller.decided.rate_ml_ha > 0
    rig.controller.request.prime_u16 = -1
    assert not driven(rig.ticks(20, MASTER | ALL, 400))
    assert rig.controller.decided.rate_ml_ha == 0, "nothing is wanted where nothing may flow"


def metered_ml(rig):
    rig.controller.totals.settle()
    return rig.controller.totals.volume.thousandths()


def test_held_sections_are_shut_and_none_is_opened_by_it():
    """Whatever is held, a section is open only where its hand switch is on."""
    for by_hand in range(8):
        for held in range(8):
            rig = Rig().armed()
            switches = MASTER | DOWN | by_hand << 2
            rig.moved_off(switches)
            rig.controller.request.hold_mask = held
            outputs = rig.ticks(20, switches, 390)
            assert outputs.section_mask == by_hand & ~held, (by_hand, held)
            assert outputs.section_mask & ~by_hand == 0


def test_bar_that_is_held_whole_is_ready_and_goes_on_by_itself():
    rig = Rig().armed()
    rig.moved_off(WORK)
    rig.ticks(20, WORK, 390)
    assert rig.controller.interlock.state == APPLYING
    rig.controller.request.hold_mask = 7
    outputs = rig.ticks(2, WORK, 390)
    assert rig.controller.interlock.state == READY
    assert (outputs.section_mask, outputs.duty_u16) == (0, 0)
    rig.controller.request.hold_mask = 0
    assert rig.ticks(2, WORK, 390).section_mask == 7
    assert rig.controller.interlock.state == APPLYING
