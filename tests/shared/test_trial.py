"""A trial on the board: never a wrong plot or rate, nothing applied between plots, all recorded."""

import json
import struct

from app.link_frame import crc16, parse, record
from app.plan_file import BY_IMPLEMENT, BY_KEY, BY_WAY, HEAD, PLAN_FILE, ROW, PlanFile
from app.store import Store
from app.trial import COMING, HELD, HOLD_ALL, INSIDE, WAITING, fit
from app.trial_record import LINES_MAX, LOG_FILE
from tests.shared.panel_rig import DOWN, MASTER, SECTIONS, PanelRig

WIDTH_MM = 3000
# pass, rate in mL/ha, start and length in mm, name, treatment
PLOTS = (
    (1, 50000, 1000, 5000, "101", "A"),
    (0, 0, 0, 5000, "102", "none"),
    (2, 80000, 1000, 5000, "103", "B"),
    (2, 60000, 9000, 5000, "104", "C"),
)


def sealed(body):
    """Return bytes with their checksum behind them."""
    return body + struct.pack("<H", crc16(body, len(body)))


def plan_of(plots=PLOTS, by=BY_WAY, width_mm=WIDTH_MM):
    """Return a plan as the board reads it."""
    rows = []
    mark = 0
    for index, plot in enumerate(plots):
        number, rate, start, length, name, treatment = plot
        row = sealed(struct.pack(ROW, index, number, rate, start, length, name.encode(),
                                 treatment.encode()))
        mark = (mark << 1 ^ mark >> 15 ^ (row[-2] | row[-1] << 8)) & 0xFFFF
        rows.append(row)
    return sealed(struct.pack(HEAD, b"PLAN", 1, by, len(rows), width_mm, mark)) + b"".join(rows)


class Drawer:
    """Files in memory."""

    def __init__(self):
        self.content = {}

    def read(self, name, offset=0, length=None):
        """See Files."""
        data = self.content.get(name, b"")
        if offset < -len(data):
            return b""
        return data[offset:] if length is None else data[offset:][:length]

    def write(self, name, data):
        """See Files."""
        self.content[name] = data

    def append(self, name, data):
        """See Files."""
        self.content[name] = self.read(name) + data

    def lines(self):
        """Return what the record holds."""
        return [json.loads(parse(line)[1]) for line in self.read(LOG_FILE).split(b"\n") if line]


def rig_with(files):
    """Return a rig and its trial, armed, rolling at 2.77 m/s with the implement up."""
    rig = PanelRig(Store(files))
    rig.app.controller.request.settings_state = 0
    fit(rig.app, files)
    rig.arm()
    rig.board.speed_pulses = 18
    rig.board.flow_pulses = 2
    rig.ticks(40)
    return rig, rig.app.trial


def begun(plots=PLOTS, by=BY_WAY):
    """Return (rig, trial, files) of a trial that has begun."""
    files = Drawer()
    files.write(PLAN_FILE, plan_of(plots, by))
    rig, trial = rig_with(files)
    assert trial.act("begin") == ""
    rig.ticks(2)
    return rig, trial, files


def lower(rig):
    """Lower the implement."""
    rig.board.switches = SECTIONS | MASTER | DOWN


def lift(rig, ticks=20):
    """Lift it, and wait."""
    rig.board.switches = SECTIONS | MASTER
    rig.ticks(ticks)


def sprayed_mm(rig, ticks):
    """Return the way that outputs were on, and the rates that were asked for meanwhile."""
    way = 0
    rates = []
    for _ in range(ticks):
        rig.ticks(1)
        if rig.board.section_mask:
            way += rig.app.controller.measured.distance_mm
            rate = rig.app.controller.request.rate_ml_ha
            if rate not in rates:
                rates.append(rate)
    return way, rates


def test_a_plot_begins_and_ends_by_the_way():
    rig, trial, files = begun()
    assert trial.state == WAITING and rig.app.controller.request.rate_ml_ha == 50000
    lower(rig)
    way, rates = sprayed_mm(rig, 60)
    assert 4700 <= way <= 5300 and rates == [50000]
    assert trial.state == WAITING and trial.plot[4 + 1] == "103", "what gets nothing is passed"
    lift(rig)
    line = files.lines()[1]
    assert line["plot"] == "101" and line["how"] == "way" and line["next"] == 1
    assert abs(line["length_mm"] - way) <= 300 and line["asked_ml_ha"] == 50000
    assert line["area_cm2"] == line["length_mm"] * WIDTH_MM // 100 and line["volume_ul"] > 0


def test_noise_at_the_meter_is_in_no_plot_and_stands_in_its_line():
    lines = []
    for burst in (2, 100):  # pulses a tick, for two ticks
        rig, _, files = begun()
        lower(rig)
        for tick in range(60):
            rig.board.flow_pulses = burst if tick in (20, 21) else 2
            rig.ticks(1)
        lift(rig)
        lines.append(files.lines()[1])
    clean, noisy = lines
    pulse_ul = 100000000 // 45000
    assert 0 <= clean["volume_ul"] - noisy["volume_ul"] <= 5 * pulse_ul
    assert "meter_noise" in noisy["faults"] and "meter_noise" not in clean["faults"]


def test_two_plots_of_a_pass_have_nothing_between_them():
    rig, trial, _ = begun(PLOTS[2:])
    lower(rig)
    way, rates = sprayed_mm(rig, 50)
    assert rates == [80000] and 4700 <= way <= 5300 and trial.state == COMING
    assert rig.app.controller.request.rate_ml_ha == 60000, "in the alley, nothing applied"
    assert rig.board.section_mask == 0
    way, rates = sprayed_mm(rig, 60)
    assert rates == [60000] and 4700 <= way <= 5300
    assert not trial.on and trial.why == "finished"


def test_by_the_implement_it_begins_as_without_a_plan_and_ends_at_the_lift():
    rig, trial, files = begun(((1, 50000, 0, 5000, "1", "A"), (2, 60000, 0, 5000, "2", "B")),
                              BY_IMPLEMENT)
    assert rig.app.controller.request.hold_mask == 0
    lower(rig)
    way, rates = sprayed_mm(rig, 36)
    assert rates == [50000] and way > 4300
    lift(rig)
    assert trial.state == WAITING and rig.app.controller.request.rate_ml_ha == 60000
    assert files.lines()[-1]["how"] == "lift"


def test_begun_with_the_implement_down_it_waits_for_the_next_lowering():
    files = Drawer()
    files.write(PLAN_FILE, plan_of())
    rig, trial = rig_with(files)
    rig.board.speed_pulses = 0
    lower(rig)
    rig.ticks(60)
    assert not rig.app.outputs_on() and trial.act("begin") == ""
    from app.screens.trial import TrialScreen
    rig.operator.follow(TrialScreen(rig.app))
    assert rig.lines()[1] == "lift first          "
    rig.board.speed_pulses = 18
    assert sprayed_mm(rig, 80) == (0, []) and trial.state == WAITING
    lift(rig)
    lower(rig)
    assert sprayed_mm(rig, 60)[1] == [50000]


def test_what_is_not_offered_is_not_done():
    rig, trial, files = begun()
    before = files.read(LOG_FILE)
    for action in ("begin", "mark", "bench", ""):
        assert trial.act(action) == "not now"
    trial.act("stop")
    rig.ticks(5)
    assert trial.act("stop") == "not now" and trial.actions()[0] == "stay"
    assert [line["how"] for line in files.lines()] == ["begun", "stopped"] and before


def test_by_key_nothing_begins_before_it_is_pushed():
    rig, trial, _ = begun(((1, 50000, 1000, 5000, "1", "A"),), BY_KEY)
    assert trial.act("mark") == "lower first"
    lower(rig)
    assert sprayed_mm(rig, 30) == (0, [])
    assert trial.act("mark") == ""
    assert 4700 <= sprayed_mm(rig, 60)[0] <= 5300


def test_a_plot_that_is_cut_short_waits_for_a_person():
    rig, trial, files = begun()
    lower(rig)
    rig.ticks(20)
    assert trial.state == INSIDE
    assert trial.act("skip") != "" and trial.index == 0, "not inside a plot"
    lift(rig)
    assert trial.state == HELD and trial.index == 0 and trial.why
    lower(rig)
    assert sprayed_mm(rig, 60) == (0, []), "held until a person chose"
    lift(rig)
    assert trial.act("go on") == "" and trial.plot[5] == "101"
    assert trial.act("skip") == "" and trial.plot[5] == "103"
    assert trial.act("repeat") == "" and trial.plot[5] == "101"
    rig.ticks(10)
    assert [line["how"] for line in files.lines()] == ["begun", "lift", "skipped", "repeat"]
    assert trial.act("repeat") == "it is the first"
    lower(rig)
    rig.ticks(5)
    assert trial.act("stop") == "" and not trial.on
    assert sprayed_mm(rig, 20) == (0, []), "what was stopped waits for a lift"
    lift(rig)
    assert rig.app.controller.request.hold_mask == 0


def test_lifted_within_a_pass_waits_for_a_person_and_begins_anew_from_its_mark():
    rig, trial, _ = begun(PLOTS[2:])
    lower(rig)
    rig.ticks(50)
    assert trial.state == COMING
    lift(rig)
    assert trial.state == HELD and trial.why == "lifted: choose"
    assert trial.act("go on") == "" and trial.begin_mm == 1000
    lower(rig)
    way, rates = sprayed_mm(rig, 70)
    assert rates == [60000] and 4700 <= way <= 5300


def test_after_a_power_cut_it_waits_at_the_right_plot():
    rig, trial, files = begun()
    lower(rig)
    rig.ticks(60)
    lift(rig)
    lower(rig)
    rig.ticks(25)
    assert trial.state == INSIDE and trial.plot[5] == "103"
    rig, trial = rig_with(files)  # the power was cut in it
    assert trial.on and trial.state == HELD and trial.why == "after power-up"
    lower(rig)
    assert sprayed_mm(rig, 40) == (0, [])
    lift(rig)
    assert trial.act("go on") == "" and trial.plot[5] == "103"
    lower(rig)
    assert sprayed_mm(rig, 40)[1] == [80000]


def test_a_record_that_was_cut_within_a_line_goes_on_below_it():
    _, _, files = begun()
    whole = files.read(LOG_FILE)
    files.write(LOG_FILE, whole + whole[:20])
    rig, trial = rig_with(files)
    assert trial.act("go on") == "" and trial.act("skip") == ""
    rig.ticks(5)
    lines = files.read(LOG_FILE).split(b"\n")
    assert lines[1] == whole[:20] and json.loads(parse(lines[2])[1])["how"] == "skipped"


def test_what_is_stopped_stays_stopped_and_another_plan_is_not_gone_on_with():
    rig, trial, files = begun()
    trial.act("stop")
    rig.ticks(5)
    assert not rig_with(files)[1].on
    _, _, files = begun()
    files.write(PLAN_FILE, plan_of(PLOTS[:1]))
    rig, trial = rig_with(files)
    assert not trial.on and "another plan" in rig.app.failure


def test_no_rate_beyond_the_highest_and_no_other_width():
    files = Drawer()
    files.write(PLAN_FILE, plan_of())
    plan = PlanFile(files)
    assert plan.problem(80000, WIDTH_MM) == ""
    assert plan.problem(79999, WIDTH_MM) == "plan: 103 is above the highest rate"
    assert plan.problem(80000, WIDTH_MM + 40) == "plan: for another width"
    files.write(PLAN_FILE, plan_of(PLOTS[:1], BY_IMPLEMENT))
    assert plan.problem(80000, WIDTH_MM) == "plan: 101 cannot be in that pass"
    rig, trial = rig_with(files)
    rig.app.controller.settings.highest_rate_ml_ha = 79000
    assert trial.act("begin") != "" and not trial.on


def test_full_is_told_before_it_is_full():
    rig, trial, files = begun()
    assert trial.record.room() == ""
    trial.record.count = LINES_MAX - 50
    assert trial.record.room() == "record: room for 50"
    trial.record.count = LINES_MAX
    assert trial.act("skip") == "" and trial.state == HELD and trial.why == "record full: fetch"


def test_nothing_is_written_while_outputs_are_on():
    rig, trial, files = begun()
    lower(rig)
    rig.ticks(20)
    before = files.read(LOG_FILE)
    trial.record.keep({"how": "test"})
    rig.ticks(5)
    assert rig.board.section_mask and files.read(LOG_FILE) == before
    lift(rig)
    assert files.read(LOG_FILE) != before


def test_a_rate_set_by_hand_inside_a_plot_is_recorded_and_gone_in_the_next():
    rig, _, files = begun(PLOTS[2:])
    lower(rig)
    rig.ticks(25)
    assert rig.app.set_rate(70000) == ""
    rig.ticks(30)
    assert rig.app.controller.request.rate_ml_ha == 60000
    lift(rig)
    line = files.lines()[1]
    assert (line["rate_ml_ha"], line["asked_ml_ha"]) == (80000, 70000)


def test_what_is_shown():
    rig, trial, files = begun()
    from app.screens.trial import TrialScreen
    rig.operator.follow(TrialScreen(rig.app))
    assert rig.lines() == ["101 A      50.0 L/ha", "lower 1.0 m ahead   ", "then 102 0.0        ",
                           ">stay         1 of 4"]
    lower(rig)
    rig.ticks(20)
    assert rig.lines()[1][:7] == "in it: "
    rig.turn(3)
    rig.push()
    assert not trial.on and rig.lines()[1] == "stopped             "
    assert files.read(PLAN_FILE) and trial.state == HELD
    assert rig.app.controller.request.hold_mask == HOLD_ALL


def test_a_record_that_cannot_be_gone_on_with_is_told_and_nothing_begins():
    files = Drawer()
    files.write(PLAN_FILE, plan_of())
    plan = PlanFile(files)
    assert plan.problem(80000, WIDTH_MM) == ""
    good = {"how": "way", "plan": plan.mark, "next": 2, "version": 1}
    for body in ([], 7, "way", {}, {"how": "way"}, dict(good, next=-1), dict(good, next=5),
                 dict(good, next="2"), dict(good, next=None), dict(good, next=1.5),
                 dict(good, plan=str(plan.mark)), dict(good, version=2)):
        files.write(LOG_FILE, record(0, json.dumps(body).encode()))
        rig, trial = rig_with(files)
        assert not trial.on and rig.app.failure.startswith("trial stopped: "), body
        assert trial.act("begin") == "", "a person can begin it anew"
    for index, begins_at in ((2, 2), (1, 2), (4, None)):  # a plot that gets nothing is passed
        files.write(LOG_FILE, record(0, json.dumps(dict(good, next=index)).encode()))
        rig, trial = rig_with(files)
        assert trial.on and trial.why == "after power-up"
        assert trial.act("go on") == ""
        assert (trial.index, trial.on) == ((begins_at, 1) if begins_at else (4, 0))
