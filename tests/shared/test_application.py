"""The application: loop, tick, failures, saving, and the operations that it offers."""

from app.application import STALL_TICKS
from app.operations import AT_MACHINE, NOT_BENCH, OUTPUTS_ON
from app.snapshot import Snapshot
from rate_control.faults import PROGRAM_FAILED
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY
from rate_control.records import Request
from rate_control.settings import Settings
from rate_control.units import DUTY_FULL, RATE_MAX_ML_HA, SPEED_MAX_MM_S
from tests.shared.panel_rig import MASTER, SECTIONS, PanelRig


class Shelf:
    """A store in memory, of a controller that is set up unless settings is {}.

    settings are what differs from the defaults; all are kept, as by this firmware.
    """

    def __init__(self, settings=None, failure=""):
        self.settings = {}
        if settings != {}:
            self.settings = Settings().as_dict()
            self.settings.update(settings or {})
        self.aside = {}
        self.notes = []
        self.put_aside = 0
        self.failure = failure
        self.volume_l = 0
        self.rate_ml_ha = 0
        self.saves = []
        self.problems = {}
        self.controller = None

    def attach(self, controller):
        self.controller = controller

    def load_settings(self):
        return dict(self.settings)

    def load_aside(self):
        return self.aside

    def put_settings_aside(self):
        self.put_aside += 1

    def load_totals(self, totals):
        totals.volume.whole = self.volume_l
        totals.rate_ml_ha = self.rate_ml_ha

    def load_failure(self):
        return self.failure

    def _save(self, name):
        if self.controller.interlock.state in (APPLYING, BENCH):
            return "outputs are on"
        self.saves.append(name)
        return ""

    def save_settings(self, values):
        problem = self._save("settings")
        if not problem:
            self.settings = values
        return problem

    def save_totals(self, totals):
        problem = self._save("totals")
        if not problem:
            self.volume_l = totals.volume.whole
            self.rate_ml_ha = totals.rate_ml_ha
        return problem

    def save_failure(self, text):
        problem = self._save("failure")
        if not problem:
            self.failure = text
        return problem


def applying():
    rig = PanelRig()
    rig.arm()
    rig.drive()
    assert rig.state() == APPLYING
    return rig


def on_bench():
    rig = PanelRig()
    rig.arm()
    rig.stand()
    assert rig.app.enter_bench(confirmed_at_machine=True) == ""
    rig.ticks(2)
    assert rig.state() == BENCH
    return rig


def test_watchdog_is_fed_once_a_tick():
    rig = PanelRig()
    rig.ticks(30)
    assert rig.board.fed == 30


def test_stalled_loop_drops_outputs_and_then_starves_the_watchdog():
    rig = applying()
    fed = rig.board.fed
    for _ in range(STALL_TICKS + 40):
        rig.board.time_us = (rig.board.time_us + 50000) & (2**30 - 1)
        rig.board.live_tick()
        rig.board.callback(0)
    assert rig.board.fed - fed <= STALL_TICKS + 1
    assert rig.state() == FAULT and rig.board.section_mask == 0
    # the loop comes back: still nothing runs until the master switch was off, then on
    rig.ticks(40)
    assert rig.state() == FAULT
    rig.arm()
    rig.drive()
    assert rig.state() == APPLYING


def test_failing_job_drops_outputs_says_so_and_spares_the_others():
    rig = applying()
    ran = []

    def bad():
        raise ValueError("torn")

    rig.app.jobs.add("bad", 100, bad)
    rig.app.jobs.add("good", 100, lambda: ran.append(1))
    rig.ticks(3)
    assert rig.state() == FAULT and rig.board.duty_u16 == 0
    assert rig.app.controller.decided.faults & PROGRAM_FAILED
    assert rig.app.failure == "bad: ValueError torn"
    before = len(ran)
    rig.ticks(20)
    assert len(ran) > before
    fed = rig.board.fed
    rig.ticks(10)
    assert rig.board.fed == fed + 10
    rig.arm()
    rig.ticks(20)
    assert rig.state() == FAULT, "it goes on failing"


def test_failing_tick_makes_outputs_safe_and_is_not_repeated():
    shelf = Shelf()
    rig = PanelRig(shelf)
    rig.arm()
    rig.drive()
    assert rig.board.section_mask

    def torn(outputs):
        raise OSError(5)

    rig.board.write = torn
    fed = rig.board.fed
    rig.ticks(3)
    assert rig.board.safe == 1 and rig.board.section_mask == 0 and rig.board.duty_u16 == 0
    assert rig.board.fed == fed, "the watchdog resets the board"
    assert "tick: OSError" in rig.app.failure
    assert shelf.failure == rig.app.failure, "kept at once, for the reset is near"


def test_jobs_run_at_their_period_and_not_more_often_when_late():
    rig = PanelRig()
    times = []
    rig.app.jobs.add("clock", 200, lambda: times.append(rig.board.time_us))
    rig.ticks(40)  # two seconds, across the wrap of the clock
    assert len(times) == 10
    rig.board.time_us = (rig.board.time_us + 900000) & (2**30 - 1)
    rig.app.poll()
    rig.app.poll()
    assert len(times) == 11


def test_trace_ring_hands_out_whole_lines_in_order():
    rig = PanelRig()
    ring = rig.app.ring
    reader = ring.count
    rig.ticks(ring.KEPT)
    assert ring.behind(reader) == ring.KEPT
    times = [ring.line(reader + index)[0] for index in range(ring.KEPT)]
    for earlier, later in zip(times, times[1:]):
        assert (later - earlier) & (2**30 - 1) == 50000
    assert ring.newest()[0] == times[-1] == rig.board.time_us
    rig.ticks(1)
    assert ring.behind(reader) > ring.KEPT


def test_rate_may_change_while_applying_within_its_range():
    rig = applying()
    assert rig.app.set_rate(150000) == ""
    rig.ticks(2)
    assert rig.state() == APPLYING
    for wrong in (999, RATE_MAX_ML_HA + 1, -1, True, "9", 1.5, None):
        assert rig.app.set_rate(wrong) != ""
    assert rig.app.controller.request.rate_ml_ha == 150000


def rates(rig):
    """Return the rate that is applied and the setting, which are one."""
    controller = rig.app.controller
    return controller.request.rate_ml_ha, controller.settings.rate_ml_ha


def test_there_is_one_rate_whoever_sets_it():
    rig = applying()
    assert rig.app.set_rate(110000) == "" and rates(rig) == (110000,) * 2
    rig.stand()
    rig.switch(SECTIONS, 40)
    assert rig.app.change_settings({"rate_ml_ha": 70000}) == [] and rates(rig) == (70000,) * 2
    assert rig.app.undo() == "" and rates(rig) == (110000,) * 2
    assert rig.app.change_settings({"section_count": 2}) == [] and rates(rig) == (110000,) * 2
    assert rig.app.set_rate(90000) == ""
    assert rig.app.undo() == "" and rates(rig) == (90000,) * 2, "undo is about the sections"
    assert rig.app.controller.settings.section_count == 3
    assert rig.app.clear_totals() == "" and rates(rig) == (90000,) * 2, "a new job keeps it"


def test_rate_is_kept_with_the_totals_and_checked_after_a_reset():
    shelf = Shelf({"rate_ml_ha": 80000})
    rig = PanelRig(shelf)
    assert rates(rig) == (80000,) * 2
    rig.ticks(5)
    assert rig.lines()[1].endswith("kept") and rig.app.rate_to_check
    assert applies(rig)
    assert not rig.app.rate_to_check, "arming confirms it"
    assert rig.app.set_rate(110000) == ""
    rig.ticks(25)
    assert shelf.rate_ml_ha == 0, "nothing is written while outputs are on"
    rig_that_lost_power = PanelRig(shelf)
    rig_that_lost_power.ticks(5)
    assert rates(rig_that_lost_power) == (80000,) * 2
    assert rig_that_lost_power.big() == "80.0", "what will be applied is what is shown"
    assert rig_that_lost_power.lines()[1].endswith("kept")
    rig.stand()
    rig.switch(SECTIONS, 65)
    assert (shelf.rate_ml_ha, shelf.settings["rate_ml_ha"]) == (110000, 110000)
    shelf.settings["rate_ml_ha"] = 80000  # the totals are the ones that count
    again = PanelRig(shelf)
    again.ticks(5)
    assert rates(again) == (110000,) * 2 and again.big() == "110.0"
    seen = set()
    for _ in range(60):
        again.ticks(4)
        seen.add(again.lines()[2].strip())
    assert "rate kept: check it" in seen
    again.arm()
    assert again.lines()[1].endswith(" set")


def test_settings_are_refused_as_a_whole():
    rig = PanelRig()
    before = rig.app.controller.settings
    problems = rig.app.change_settings({"section_count": 9, "meter_pulses_hl": 1, "speed": 2})
    assert len(problems) == 3
    assert rig.app.controller.settings is before


def test_settings_are_refused_while_outputs_are_on():
    for rig in (applying(), on_bench()):
        before = rig.app.controller.settings
        assert rig.app.change_settings({"meter_pulses_hl": 60000}) == [OUTPUTS_ON]
        assert rig.app.controller.settings is before


def test_settings_lock_until_the_master_switch_was_off():
    rig = PanelRig()
    rig.arm()
    rig.board.speed_pulses = 14
    rig.switch(rig.board.switches, 30)
    assert rig.state() == READY
    rig.app.set_rate(70000)
    assert rig.app.change_settings({"meter_pulses_hl": 60000}) == []
    rig.drive()
    assert rig.state() == PARKED
    assert rig.app.missing()[0] == "master off, then on"
    assert rig.app.controller.request.rate_ml_ha == 70000, "the rate of the job stays"
    rig.arm()
    rig.ticks(5)
    assert rig.state() == APPLYING


def test_undo_goes_back_and_forth():
    rig = PanelRig()
    assert rig.app.undo() == "nothing to undo"
    assert rig.app.change_settings({"meter_pulses_hl": 60000, "section_count": 2}) == []
    assert rig.app.undo() == ""
    assert rig.app.controller.settings.meter_pulses_hl == 45000
    assert rig.app.controller.settings.section_count == 3
    assert rig.app.undo() == ""
    assert rig.app.controller.settings.section_count == 2


def test_fixed_duty_begins_where_the_loop_was():
    rig = applying()
    rig.ticks(40)
    duty_u16 = rig.board.duty_u16
    assert duty_u16 > 0
    assert rig.app.set_regulation(Request.FIXED_DUTY) == ""
    rig.ticks(1)
    assert rig.board.duty_u16 == duty_u16
    assert rig.app.set_regulation(2) != ""
    assert rig.app.set_regulation(Request.CLOSED_LOOP) == ""


def test_what_moves_something_needs_a_person_at_the_machine():
    rig = PanelRig()
    rig.arm()
    assert rig.app.enter_bench() == AT_MACHINE
    rig.ticks(2)
    assert rig.state() == READY
    rig = on_bench()
    assert rig.app.set_bench_speed(2000) == AT_MACHINE
    assert rig.app.set_fixed_duty(20000) == AT_MACHINE
    rig.ticks(5)
    assert rig.board.duty_u16 == 0
    assert rig.app.set_bench_speed(2000, confirmed_at_machine=True) == ""
    rig.ticks(5)
    assert rig.board.duty_u16 > 0


def test_bench_is_refused_in_words():
    rig = PanelRig()
    rig.ticks(5)
    assert rig.app.enter_bench(confirmed_at_machine=True) == "master is off"
    rig.arm()
    rig.drive()
    assert rig.app.enter_bench(confirmed_at_machine=True) == "standstill unproved"
    assert rig.app.set_bench_speed(2000, confirmed_at_machine=True) == NOT_BENCH
    rig.stand()
    assert rig.app.enter_bench(confirmed_at_machine=True) == ""


def test_bench_speed_and_duty_keep_their_range_and_start_at_zero():
    rig = on_bench()
    for wrong in (-1, SPEED_MAX_MM_S + 1, "1", None, True):
        assert rig.app.set_bench_speed(wrong, confirmed_at_machine=True) != ""
    for wrong in (-1, DUTY_FULL + 1, 0.5):
        assert rig.app.set_fixed_duty(wrong, confirmed_at_machine=True) != ""
    assert rig.app.set_bench_speed(SPEED_MAX_MM_S, confirmed_at_machine=True) == ""
    rig.app.leave_bench()
    rig.ticks(2)
    assert rig.state() == PARKED
    rig.arm()
    assert rig.app.enter_bench(confirmed_at_machine=True) == ""
    rig.ticks(2)
    assert rig.app.controller.request.bench_speed_mm_s == 0


def test_driving_procedure_waits_for_the_machine():
    rig = PanelRig()
    assert rig.app.begin_procedure("pump_curve", {}) == ""
    assert rig.app.asked == ("pump_curve", {})
    assert rig.app.controller.procedure is None
    assert rig.app.begin_procedure("pump_curve", {}, confirmed_at_machine=True) == NOT_BENCH
    rig.app.stop_procedure()
    assert rig.app.asked is None
    assert rig.app.begin_procedure("no_such", {}) == "no_such: no such procedure"


def test_procedure_of_counting_needs_no_bench_and_proposes():
    rig = PanelRig()
    rig.ticks(2)
    assert rig.app.keep_proposal() == ["nothing is proposed"]
    assert rig.app.act("mark") == "no procedure is running"
    parameters = {"distance_mm": 100000, "precision_permille": 50}
    assert rig.app.begin_procedure("course", parameters) == ""
    assert rig.app.begin_procedure("course", {}) == "another procedure is running"
    for _ in range(4):
        assert rig.app.act("mark") == ""
        rig.board.speed_pulses = 125
        rig.ticks(125 + 41)  # 7,875 pulses on the way up, then 125 a tick: 13,000
        rig.board.speed_pulses = 0
        rig.ticks(2)
        assert rig.app.act("mark") == ""
    assert rig.app.act("complete") == ""
    assert rig.app.keep_proposal() == []
    assert rig.app.controller.settings.speed_pulses_km == 130000
    assert rig.app.controller.procedure is None


def test_settings_and_totals_are_kept_when_outputs_are_off():
    shelf = Shelf({"meter_pulses_hl": 60000})
    rig = PanelRig(shelf)
    assert rig.app.controller.settings.meter_pulses_hl == 60000
    rig.arm()
    rig.drive(flow_pulses=3)  # 0.1 L/s
    rig.ticks(200)
    assert shelf.saves == []
    rig.switch(SECTIONS | MASTER, 25)
    assert shelf.saves and shelf.saves[0] == "totals"
    assert shelf.volume_l == rig.app.controller.totals.volume.whole > 0
    rig.stand()
    rig.ticks(30)
    shelf.saves.clear()
    rig.ticks(100)
    assert shelf.saves == [], "nothing changed, nothing is written"
    assert rig.app.change_settings({"section_count": 2}) == []
    rig.ticks(21)
    assert shelf.saves == ["settings"]
    assert shelf.settings["section_count"] == 2


def test_clearing_totals_is_kept_too():
    shelf = Shelf()
    shelf.volume_l = 12
    rig = PanelRig(shelf)
    assert rig.app.controller.totals.volume.whole == 12
    assert rig.app.clear_totals() == ""
    rig.ticks(21)
    assert shelf.volume_l == 0


def refuses_to_apply(rig):
    """Return what is missing after an ordinary off and on at speed, with nothing switched on."""
    rig.arm()
    rig.drive()
    rig.ticks(40)
    assert rig.state() != APPLYING
    assert (rig.board.duty_u16, rig.board.section_mask) == (0, 0)
    lacking = rig.app.missing()
    rig.stand()
    rig.switch(SECTIONS, 40)
    return lacking


def applies(rig):
    rig.arm()
    rig.drive(flow_pulses=1)  # not enough, which stops nothing
    return rig.state() == APPLYING


def test_never_set_up_can_bench_but_not_apply_until_a_person_takes_settings_on():
    shelf = Shelf({})
    rig = PanelRig(shelf)
    assert refuses_to_apply(rig) == ["not set up"]
    rig.board.speed_pulses = 1  # it slows down before it stands
    rig.stand()
    rig.arm()
    assert rig.app.enter_bench(confirmed_at_machine=True) == ""
    rig.ticks(2)
    assert rig.state() == BENCH
    assert rig.app.take_on(confirmed_at_machine=True) == OUTPUTS_ON
    rig.switch(SECTIONS, 40)
    # settings that come from anywhere do not set it up, over a power cut neither
    assert rig.app.change_settings({"section_count": 2}) == []
    assert rig.app.take_on() == AT_MACHINE
    rig.ticks(25)
    assert shelf.settings["section_count"] == 2
    rig = PanelRig(shelf)
    assert refuses_to_apply(rig) == ["not set up"]
    assert rig.app.take_on(confirmed_at_machine=True) == ""
    rig.drive()
    assert rig.state() == PARKED, "taking on arms nothing"
    rig.switch(SECTIONS, 25)
    assert "settings_state" not in shelf.settings
    assert applies(rig) and applies(PanelRig(shelf))


def test_settings_that_the_firmware_refuses_are_lost():
    shelf = Shelf({"section_count": 99})
    rig = PanelRig(shelf)
    assert rig.app.controller.settings.section_count == 3
    assert "defaults: " in rig.app.failure
    check_lost(rig, shelf)


def test_settings_with_both_copies_damaged_are_lost():
    shelf = Shelf({})
    shelf.problems["settings"] = "both copies are damaged"
    rig = PanelRig(shelf)
    shelf.problems.clear()
    check_lost(rig, shelf)


def test_a_state_of_settings_that_nobody_knows_counts_as_lost():
    for state in (3, -1, "taken on", None, [0]):
        rig = PanelRig(Shelf({"section_count": 2, "settings_state": state}))
        assert refuses_to_apply(rig) == ["settings lost"], state


def check_lost(rig, shelf):
    before = dict(shelf.settings)
    assert refuses_to_apply(rig) == ["settings lost"]
    rig.arm()
    assert rig.app.enter_bench(confirmed_at_machine=True) == "settings lost"
    rig.ticks(25)
    assert shelf.settings == before, "what is left of them stays as it is"
    # restored from a file over the link: still a person has to look, over a power cut too
    assert rig.app.change_settings({"section_count": 2}) == []
    assert refuses_to_apply(rig) == ["settings lost"]
    rig.ticks(25)
    rig = PanelRig(shelf)
    assert rig.app.controller.settings.section_count == 2
    assert refuses_to_apply(rig) == ["settings lost"]
    assert rig.app.take_on(confirmed_at_machine=True) == ""
    rig.ticks(25)
    assert applies(rig) and applies(PanelRig(shelf))


def test_last_failure_is_kept_until_it_was_read():
    shelf = Shelf(failure="link: ValueError x")
    rig = PanelRig(shelf)
    assert rig.app.failure == "link: ValueError x"
    rig.app.forget_failure()
    rig.ticks(21)
    assert shelf.failure == ""


def test_store_that_fails_does_not_stop_the_machine():
    shelf = Shelf()
    rig = PanelRig(shelf)
    shelf.problems["totals"] = "cannot be written"
    rig.ticks(21)
    assert rig.app.failure == "totals: cannot be written"
    rig.arm()
    rig.drive()
    assert rig.state() == APPLYING


def test_snapshot_is_one_moment():
    rig = applying()
    rig.ticks(60)
    snapshot = Snapshot()
    snapshot.fill(rig.app.controller, rig.app.ring)
    assert snapshot.state == APPLYING
    assert snapshot.now_us == rig.board.time_us
    # 2 pulses a tick at 450 pulses/L: 40 / 450 L/s on 2.7692 m/s x 3 m
    assert abs(snapshot.flow_ul_s - 88888) <= 2
    assert abs(snapshot.applied_ml_ha - 106996) < 300
    assert snapshot.rate_ml_ha == 100000
    assert snapshot.volume_ml == rig.app.controller.totals.volume.part // 1000
    rig.switch(MASTER | SECTIONS, 5)
    snapshot.fill(rig.app.controller, rig.app.ring)
    assert snapshot.state == READY and snapshot.applied_ml_ha == 0
