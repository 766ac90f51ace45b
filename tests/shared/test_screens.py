"""What the screens say and do, driven by keys alone and read off the grid."""

from rate_control.faults import TABLE
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY
from rate_control.records import Request
from rate_control.settings import build
from tests.shared.panel_rig import DOWN, MASTER, SECTIONS, PanelRig


def rig_with(**changes):
    """A rig with some settings changed."""
    rig = PanelRig()
    assert rig.app.change_settings(changes) == []
    return rig


def shown(rig, ticks=60):
    """Every text that takes its turn in the third row."""
    texts = []
    for _ in range(ticks):
        rig.ticks(1)
        text = rig.lines()[2].strip()
        if text not in texts:
            texts.append(text)
    return texts


def menu(rig, entry):
    """From the work screen into the menu and an entry."""
    rig.home()
    rig.push()
    rig.choose(entry)


def test_parked_shows_the_rate_that_is_set_and_what_to_do():
    rig = PanelRig()
    rig.ticks(5)
    assert rig.big() == "100.0"
    lines = rig.lines()
    assert lines[0].endswith(" L/ha") and lines[1].endswith(" set")
    assert lines[2].strip() == "master is off"
    assert lines[3] == "parked           123"


def test_every_missing_permit_takes_its_turn():
    rig = PanelRig()
    rig.switch(MASTER)
    assert shown(rig) == ["master off, then on", "all sections are off", "implement is up",
                          "drive: too slow"]
    rig.arm()
    rig.switch(MASTER | SECTIONS | DOWN)
    assert rig.state() == READY
    assert shown(rig) == ["drive: too slow"]


def test_applying_shows_the_applied_rate_large():
    rig = PanelRig()
    rig.arm()
    rig.drive()
    rig.ticks(40)
    assert rig.state() == APPLYING
    # 40 / 450 L/s on 18 x 20 / 130 m/s x 3 m: 107.0 L/ha, and as many digits as 100 has
    assert rig.big() == "107"
    lines = rig.lines()
    assert lines[0].endswith(" L/ha") and lines[1].endswith(" of 100.0")
    assert lines[3] == "applying         123"
    assert "speed      10.0 km/h" in shown(rig)


def test_turning_leafs_through_readouts_and_changes_nothing():
    rig = PanelRig()
    rig.arm()
    rig.drive()
    before = rig.app.controller.settings
    texts = []
    for _ in range(6):
        texts += shown(rig, 45)
        rig.turn(1)
    for name in ("speed", "flow", "area", "volume", "duty", "supply"):
        assert any(text.startswith(name + " ") for text in texts), name
    assert rig.app.controller.settings is before and rig.state() == APPLYING


def test_a_closed_section_is_a_dash():
    rig = PanelRig()
    rig.arm()
    rig.drive()
    rig.switch(rig.board.switches & ~8)
    assert rig.state() == APPLYING
    assert rig.lines()[3].endswith("         1-3")


def test_customary_units_are_shown_throughout():
    rig = rig_with(us_units=1)
    assert rig.big() == "10.7"  # 100 L/ha = 10.69 gal/ac
    assert rig.lines()[0].endswith(" gal/ac")
    rig.arm()
    rig.drive()
    rig.ticks(60)
    assert rig.big() == "11.4"  # 107.0 L/ha = 11.44 gal/ac
    assert rig.lines()[1].endswith(" of 10.69")
    assert "speed        6.2 mph" in shown(rig)


def test_highest_rates_leave_room_for_the_unit():
    for us, big, line in ((0, "5000", "L/ha"), (1, "535", "gal/ac")):
        rig = rig_with(us_units=us, rate_ml_ha=5000000)
        assert rig.big() == big
        assert rig.lines()[0].endswith(" " + line)


def test_below_the_meter_floor_no_rate_is_made_up():
    rig = rig_with(meter_floor_ul_s=90000)
    rig.arm()
    rig.drive()
    assert rig.state() == APPLYING
    assert rig.big() == "---"
    assert rig.lines()[3].startswith("coasting ")
    assert "meter is not trusted" in shown(rig)


def test_fixed_duty_is_said():
    rig = PanelRig()
    rig.arm()
    rig.drive()
    menu(rig, "regulation")
    rig.push()
    assert rig.lines()[2].startswith("fixed")
    rig.home()
    assert rig.lines()[3] == "fixed duty       123"


def test_a_warning_takes_turns_with_the_readout():
    rig = PanelRig()
    rig.arm()
    rig.drive(flow_pulses=1)  # half of what it should be
    rig.ticks(100)
    texts = shown(rig)
    assert "rate off target" in texts and "speed      10.0 km/h" in texts


def test_a_fault_says_what_is_wrong_and_what_to_do():
    rig = PanelRig()
    rig.arm()
    rig.drive(flow_pulses=0)
    rig.ticks(60)
    assert rig.state() == FAULT
    assert [line.strip() for line in rig.lines()] == [
        "FAULT: master to off", "no flow at the meter", "tank, pump, meter", ""]
    rig.switch(SECTIONS, 20)
    assert rig.state() == PARKED
    menu(rig, "faults")
    lines = rig.lines()
    assert lines[0].startswith("earlier") and lines[1].strip() == "no flow at the meter"
    rig.push()
    assert rig.lines()[0].strip() == "no faults"


def test_every_fault_fits_the_screen():
    for row in TABLE:
        rig = PanelRig()
        menu(rig, "faults")
        rig.app.controller.decided.faults = row[0]
        text = " ".join([line.strip() for line in rig.lines()[1:]]).strip()
        assert text == row[4].replace(": ", " "), text


def test_failure_and_restart_are_told_and_forgotten():
    rig = PanelRig()
    rig.app.job_failed("link", ValueError("x"))
    rig.operator.memory.restarted = 1
    rig.ticks(1)
    menu(rig, "faults")
    pages = []
    for _ in range(6):
        pages.append(rig.lines()[0].split()[0])
        rig.turn(1)
    assert {"failed", "note", "earlier"} >= set(pages) >= {"failed", "note"}
    rig.ticks(20)
    rig.push()
    assert rig.app.failure == ""
    assert rig.lines()[0].strip() == "no faults"


def test_rate_is_edited_digit_by_digit_and_taken_at_the_last():
    rig = PanelRig()
    menu(rig, "rate")
    assert rig.lines()[1].strip() == "100.0 L/ha"
    rig.turn(1)  # hundreds
    rig.push()
    rig.turn(-3)  # tens, borrowing
    rig.push(2)
    rig.turn(5)  # tenths
    assert rig.lines()[1].strip() == "170.5 L/ha"
    assert rig.app.controller.request.rate_ml_ha == 100000, "not yet"
    rig.push()
    assert rig.app.controller.request.rate_ml_ha == 170500
    assert rig.lines()[0] == ">rate     170.5 L/ha"


def test_back_leaves_an_edit_without_a_trace():
    rig = PanelRig()
    menu(rig, "rate")
    rig.turn(7)
    rig.back()
    assert rig.app.controller.request.rate_ml_ha == 100000


def test_an_edit_that_was_not_turned_keeps_the_last_bit():
    # 123.457 L/ha shows as 123.5
    rig = PanelRig()
    rig.app.set_rate(123457)
    menu(rig, "rate")
    rig.push(4)
    assert rig.app.controller.request.rate_ml_ha == 123457


def test_an_edit_stops_at_the_range():
    rig = PanelRig()
    for notches, limit in ((-99, 1000), (9999, 5000000)):
        menu(rig, "rate")
        rig.turn(notches)
        rig.push(4)
        assert rig.app.controller.request.rate_ml_ha == limit


def test_caret_stands_under_the_digit_that_turns():
    rig = rig_with(us_units=1)
    menu(rig, "rate")
    places = []
    for _ in range(3):
        lines = rig.lines()
        column = lines[2].index("^")
        digit = lines[1][column]
        rig.turn(1)
        places.append(int(rig.lines()[1][column]) - int(digit))
        rig.push()
    assert places == [1, 1, 1]


def test_refused_settings_are_explained():
    rig = PanelRig()
    rig.arm()
    rig.drive()
    menu(rig, "set up")
    rig.choose("meter")
    rig.choose("floor")
    for _ in range(8):
        if rig.lines()[0].startswith("stop first"):
            break
        rig.push()
    assert [line.strip() for line in rig.lines()[:2]] == ["stop first: outputs", "are on"]
    rig.push()
    assert rig.lines()[0].startswith("meter: floor"), "back to the edit"


def test_settings_take_effect_and_undo_takes_them_back():
    rig = PanelRig()
    menu(rig, "set up")
    rig.choose("sections")
    rig.choose("how many")
    rig.turn(2)
    rig.push()
    assert rig.app.controller.settings.section_count == 5
    rig.home()
    assert rig.lines()[3].endswith("123--")
    menu(rig, "set up")
    rig.choose("undo")
    assert rig.lines()[0].startswith("undone")
    assert rig.app.controller.settings.section_count == 3


def test_units_are_chosen_by_name():
    rig = PanelRig()
    menu(rig, "set up")
    rig.choose("job")
    rig.choose("units")
    assert rig.lines()[1].strip() == "metric"
    rig.turn(1)
    assert rig.lines()[1].strip() == "US customary"
    rig.push()
    assert rig.app.controller.settings.us_units == 1


def begin_bench(rig):
    menu(rig, "bench")
    assert rig.lines()[3] == "push: yes   back: no"
    rig.push()
    rig.ticks(3)


def test_bench_asks_first_and_starts_at_zero():
    rig = PanelRig()
    rig.arm()
    menu(rig, "bench")
    rig.ticks(20)
    assert rig.state() == READY, "a question is no answer"
    begin_bench(rig)
    assert rig.state() == BENCH
    assert rig.board.duty_u16 == 0
    assert rig.lines()[2] == ">speed      0.0 km/h"
    rig.turn(20)
    rig.board.flow_pulses = 2
    rig.ticks(40)
    assert rig.lines()[2] == ">speed     10.0 km/h"
    assert rig.board.duty_u16 > 0
    assert rig.big() == "5.33"  # 40 / 450 L/s in L/min
    # 100 L/ha x 10 km/h x 3 m / 600 = 5.00 L/min, beside what is measured
    assert rig.lines()[3] == "wanted 5.00      123"
    rig.push()
    rig.ticks(3)
    assert rig.lines()[3].startswith("curve ")
    rig.push()
    rig.back()
    rig.ticks(3)
    assert rig.state() == PARKED and rig.board.duty_u16 == 0


def test_bench_duty_by_hand_begins_where_the_loop_was():
    rig = PanelRig()
    rig.arm()
    begin_bench(rig)
    rig.turn(16)
    rig.ticks(40)
    duty_u16 = rig.board.duty_u16
    rig.push()
    rig.ticks(1)
    assert rig.board.duty_u16 == duty_u16
    assert rig.lines()[2].startswith(">fixed duty")
    rig.turn(-3)
    rig.ticks(1)
    assert rig.board.duty_u16 == duty_u16 - 3 * 655
    rig.back()
    assert rig.app.controller.request.regulation == Request.CLOSED_LOOP


def test_bench_refused_says_why():
    rig = PanelRig()
    begin_bench(rig)
    assert rig.lines()[0].strip() == "master is off"
    assert rig.state() == PARKED


def test_bench_ended_by_motion_is_over_on_the_screen():
    rig = PanelRig()
    rig.arm()
    begin_bench(rig)
    rig.board.speed_pulses = 14
    rig.ticks(20)
    assert rig.state() != BENCH and rig.board.section_mask == 0
    assert rig.lines()[0].strip() == "bench is over"
    rig.turn(5)
    rig.push()
    rig.ticks(5)
    assert rig.board.duty_u16 == 0


def test_totals_are_large_and_cleared_only_after_a_question():
    rig = PanelRig()
    rig.app.controller.totals.area.whole = 123400
    rig.app.controller.totals.volume.whole = 1234
    menu(rig, "totals")
    assert rig.big() == "12.34"
    assert rig.lines()[2].startswith("ha") and rig.lines()[3].startswith("area")
    rig.turn(1)
    assert rig.big() == "1234.0"
    rig.turn(1)
    assert rig.big() == "100.0" and rig.lines()[3].startswith("mean rate")
    rig.turn(-9)
    rig.push()
    rig.back()
    assert rig.app.controller.totals.area.whole == 123400
    rig.push(2)
    assert rig.app.controller.totals.area.whole == 0


def test_totals_of_every_section_can_be_reached():
    rig = PanelRig()
    for index in range(3):
        rig.app.controller.totals.section_area[index].whole = 10000 * (index + 1)
    menu(rig, "totals")
    found = []
    for _ in range(14):
        if rig.lines()[3].startswith("section") and "area" in rig.lines()[3]:
            found.append(rig.big())
        rig.turn(1)
    assert found[:3] == ["1.00", "2.00", "3.00"]


def test_course_is_run_by_keys_and_kept_after_a_look():
    rig = PanelRig()
    rig.ticks(2)
    menu(rig, "calibrate")
    rig.choose("course")
    rig.choose("precision")
    rig.turn(4)
    rig.push(2)
    rig.choose("start")
    assert rig.lines()[0].startswith("drive; mark")
    for _ in range(4):
        rig.push()  # mark
        rig.board.speed_pulses = 125
        rig.ticks(102)
        rig.board.speed_pulses = 0
        rig.ticks(2)
        rig.push()
    rig.turn(1)
    assert rig.lines()[3].startswith(">complete")
    rig.push()
    assert rig.lines()[0].startswith("done")
    rig.push()
    # 125 x (102 + the two ticks of the push) pulses in 100 m
    proposal = rig.lines()
    assert proposal[0].startswith("speed pulses") and proposal[3] == "push: keep  back: no"
    assert proposal[1].strip() == "now 130.000 pulses/m"
    rig.push()
    assert rig.app.controller.settings.speed_pulses_km != 130000
    assert "new %d.%03d pulses/m" % (
        rig.app.controller.settings.speed_pulses_km // 1000,
        rig.app.controller.settings.speed_pulses_km % 1000) == proposal[2].strip()


def test_a_result_can_be_left_as_it_is():
    rig = PanelRig()
    rig.ticks(2)
    rig.app.begin_procedure("course", {"precision_permille": 50})
    for _ in range(4):
        rig.app.act("mark")
        rig.board.speed_pulses = 125
        rig.ticks(104)
        rig.board.speed_pulses = 0
        rig.ticks(2)
        rig.app.act("mark")
    menu(rig, "calibrate")
    assert rig.lines()[1].startswith(">go on: course")
    rig.push()
    rig.turn(1)
    rig.push(2)
    assert rig.lines()[3] == "push: keep  back: no"
    rig.back()
    assert rig.app.controller.settings.speed_pulses_km == 130000


def test_incomplete_measurement_says_what_is_missing():
    rig = PanelRig()
    rig.ticks(2)
    menu(rig, "calibrate")
    rig.choose("course")
    rig.choose("start")
    rig.push()
    rig.board.speed_pulses = 125
    rig.ticks(104)
    rig.push()
    rig.turn(1)
    assert rig.lines()[3].startswith(">complete")
    rig.push()
    assert rig.lines()[0].strip() == "more runs needed: 3"


def test_driving_procedure_needs_the_question_and_ends_with_the_screen():
    rig = PanelRig()
    rig.arm()
    menu(rig, "calibrate")
    rig.choose("pump curve")
    rig.choose("start")
    assert rig.lines()[3] == "push: yes   back: no"
    assert rig.state() == READY
    rig.push()
    rig.ticks(10)
    assert rig.state() == BENCH
    assert rig.app.running_procedure() is not None
    assert rig.lines()[3].startswith("back: stop")
    rig.back()
    rig.ticks(3)
    assert rig.state() == PARKED and rig.app.running_procedure() is None
    assert rig.board.duty_u16 == 0


def test_driving_procedure_without_the_bench_says_so():
    rig = PanelRig()
    menu(rig, "calibrate")
    rig.choose("pump curve")
    rig.choose("start")
    rig.push()
    assert rig.lines()[0].strip() == "master is off"


def test_procedure_asked_for_from_elsewhere_waits_on_the_screen():
    rig = PanelRig()
    rig.arm()
    assert rig.app.begin_procedure("pump_curve", {}) == ""
    rig.ticks(10)
    assert rig.lines()[0].startswith("pump curve")
    assert rig.lines()[1].startswith(">start")
    assert rig.state() == READY
    rig.push(2)
    rig.ticks(10)
    assert rig.state() == BENCH and rig.app.running_procedure() is not None


def test_what_is_asked_for_tears_nobody_out_of_something():
    rig = PanelRig()
    menu(rig, "rate")
    rig.turn(1)
    assert rig.app.begin_procedure("pump_curve", {}) == ""
    rig.ticks(10)
    assert rig.lines()[0].startswith("rate"), "the edit goes on"
    rig.back(2)
    rig.ticks(10)
    assert rig.lines()[0].startswith("pump curve")


def test_lost_display_is_a_warning_and_comes_back():
    class Flaky:
        fails = 1
        shown = 0

        def show(self, grid):
            if self.fails:
                raise OSError(5)
            self.shown += 1

    rig = PanelRig()
    rig.board.shown = Flaky()
    rig.ticks(10)
    assert rig.operator.display_lost and rig.state() == PARKED
    assert any(rig.board.lamp or rig.ticks(1) for _ in range(40))
    rig.arm()
    rig.drive()
    assert rig.state() == APPLYING, "the machine can be used without"
    rig.board.shown.fails = 0
    rig.ticks(10)
    assert rig.board.shown.shown and not rig.operator.display_lost


def test_default_settings_are_sound():
    assert build({})[1] == []
