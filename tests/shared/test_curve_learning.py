"""Learning at work: what the meter shows becomes the curve at a stop, within bounds, and back."""

from app import curve_learning, parts, slots
from app.curve_learning import (
    DOCUMENT,
    FIRST,
    FLOWS,
    LEARNED,
    LEARNS,
    NOTHING,
    UNDONE,
    CurveLearning,
)
from app.store import Store
from rate_control.faults import FLOW_MISSING, OFF_CURVE
from rate_control.interlock import APPLYING, READY
from rate_control.pump_loop import TRIM_MOST_Q20
from rate_control.records import Decided, Measured
from rate_control.units import INLINE_VALVE, ONE_Q20
from tests.shared.panel_rig import PanelRig
from tests.shared.test_store import PlainFiles
from tests.shared.test_trial import Drawer

WIDTH_MM = 3000
TICKS = 3000


class Seen:
    """What learning looks at of a controller: a settled one, its flow off by percent."""

    class Sections:
        total_width_mm = WIDTH_MM

    class Loop:
        def __init__(self):
            self.trim_most_q20 = TRIM_MOST_Q20

    def __init__(self, command_ul_s, percent):
        self.sections = Seen.Sections()
        self.loop = Seen.Loop()
        self.measured = Measured()
        self.measured.flow_ul_s = command_ul_s + command_ul_s * percent // 100
        self.decided = Decided()
        self.decided.state = APPLYING
        self.decided.source = Decided.BY_LOOP
        self.decided.width_mm = WIDTH_MM
        self.decided.command_ul_s = command_ul_s
        self.decided.faults = OFF_CURVE


class Rig:
    """An application with its master switch off, and learning over files."""

    def __init__(self, files=None):
        self.files = files or PlainFiles()
        rig = PanelRig(Store(self.files))
        rig.ticks(4)
        rig.app.take_on(True)
        rig.app.change_settings({LEARNS: 1})
        self.panel = rig
        self.app = rig.app
        self.before = self.flows()
        self.learning = CurveLearning(self.app, self.files)

    @staticmethod
    def settings_kept(files):
        """Return the settings of an application that starts anew over files."""
        return PanelRig(Store(files)).app.controller.settings

    def flows(self):
        return list(self.app.controller.settings.curve_flow_ul_s)

    def see(self, percent, point=4, ticks=TICKS, **decided):
        """Let it see a flow that is off by percent at a point of the present curve."""
        seen = Seen(self.flows()[point] + 1, percent)
        for name in decided:
            setattr(seen.decided, name, decided[name])
        for _ in range(ticks):
            self.learning.tick(seen, [])
        return seen

    def round(self, percent, point=4, **decided):
        """See it, then come to a stop; return the flow at the point over that before, per mille."""
        before = self.flows()[point]
        self.see(percent, point, **decided)
        self.learning.poll()
        return self.flows()[point] * 1000 // before


def test_at_a_stop_the_curve_becomes_what_the_meter_showed():
    for percent in (-8, 6, 10):
        rig = Rig()
        assert abs(rig.round(percent) - 1000 - 10 * percent) <= 10, percent
        assert rig.flows() == sorted(rig.flows())
        assert rig.learning.line()[1] == "%+d %%" % percent


def test_little_evidence_and_little_error_change_nothing():
    rig = Rig()
    rig.see(10, ticks=150)
    rig.learning.poll()
    assert rig.flows() == rig.before
    assert rig.round(1) == 1000
    assert rig.files.content.get(DOCUMENT + ".0") is None


def test_it_is_silent_where_the_meter_does_not_count():
    for name, value in (("coasting", 1), ("saturated", 1), ("state", READY),
                        ("source", Decided.BY_HAND), ("faults", FLOW_MISSING | OFF_CURVE),
                        ("width_mm", WIDTH_MM // 2)):
        assert Rig().round(10, **{name: value}) == 1000, name
    rig = Rig()
    seen = Seen(rig.flows()[4] + 1, 10)
    even = seen.measured.flow_ul_s
    for tick in range(TICKS):  # every second a pulse too many, and a gap
        seen.measured.flow_ul_s = even * 3 // 2 if tick % 20 == 0 else even
        rig.learning.tick(seen, [])
    rig.learning.poll()
    assert rig.flows() == rig.before


def test_it_never_comes_further_than_its_bounds_however_often_it_learns():
    """Curve and trim together give at most the quarter more that the trim alone gives."""
    for percent, bound in ((-20, 875), (20, 1250)):
        rig = Rig()
        for _ in range(6):
            rig.round(percent)
        flows = rig.flows()
        worst = [flow * 1000 // first for flow, first in zip(flows, rig.before) if first]
        assert abs((min(worst) if percent < 0 else max(worst)) - bound) <= 2, worst
        loop = rig.see(0, ticks=1).loop
        least = min(flow * 1000000 // first for flow, first in zip(flows, rig.before) if first)
        most = (ONE_Q20 + loop.trim_most_q20) * 1000 // min(least, 1000000) * 1000
        alone = ONE_Q20 + TRIM_MOST_Q20
        assert alone * 99 // 100 <= most <= alone * 1002 // 1000


def test_nothing_is_written_or_changed_before_a_stop():
    rig = Rig()
    rig.see(10)
    panel = rig.panel
    panel.arm()
    panel.drive()
    assert panel.state() == APPLYING
    writes = rig.files.writes
    rig.learning.poll()
    assert (rig.files.writes, rig.flows()) == (writes, rig.before)
    panel.board.switches &= ~2  # up: no outputs, but the master switch is on
    panel.ticks(40)
    assert panel.state() == READY
    writes = rig.files.writes
    rig.learning.poll()
    assert (rig.files.writes, rig.flows()) == (writes, rig.before)


def test_a_document_of_another_form_is_none_and_stops_no_start():
    """Its checksum is right, for another firmware wrote it."""
    flows = Rig().flows()
    for first in (None, [], [1], "x", 7, ["x"] * len(flows), {"a": 1}):
        for document in ({FIRST: first, LEARNED: flows}, {LEARNED: flows}):
            files = PlainFiles()
            assert not slots.save(files, DOCUMENT, document)
            rig = Rig(files)
            assert rig.learning.first == []
            assert rig.learning.undo() == NOTHING
            assert rig.round(10) > 1050


def test_the_curve_stays_as_it_is_while_a_trial_of_plots_is_under_way():
    """All its plots are to be treated by one and the same machine; what was seen is kept."""
    rig = Rig()
    trial = rig.app.trial = Trial()
    assert rig.round(10) == 1000
    trial.on = 0
    rig.learning.poll()
    assert rig.flows() != rig.before


class Trial:
    """One that is under way."""

    on = 1


def test_undo_brings_the_first_curve_back_over_a_restart_and_several_stops():
    rig = Rig()
    assert rig.learning.undo() == NOTHING
    rig.round(10)
    rig.round(5)
    again = CurveLearning(rig.app, rig.files)
    assert again.first == rig.before
    assert again.undo() == UNDONE
    assert rig.flows() == rig.before
    assert again.undo() == NOTHING


def test_undo_stays_until_learning_is_turned_on_again():
    rig = Rig()
    rig.round(10)
    assert rig.learning.undo() == UNDONE
    assert rig.app.controller.settings.curve_learning == 0
    assert rig.round(10) == 1000, "it does not begin anew by itself"
    rig.app.save()
    assert Rig.settings_kept(rig.files).curve_learning == 0, "after a restart neither"
    assert rig.app.change_settings({LEARNS: 1}) == []
    rig.learning.poll()
    assert rig.flows() == rig.before, "what was seen while it was off does not count"
    assert rig.round(10) > 1050


def test_turned_off_it_keeps_the_curve_that_it_has():
    rig = Rig()
    rig.round(10)
    learned = rig.flows()
    rig.app.change_settings({LEARNS: 0})
    rig.see(-10)
    rig.learning.poll()
    assert rig.flows() == learned
    assert rig.learning.undo() == UNDONE and rig.flows() == rig.before


def started_anew(rig):
    """What an application over the same files is and loads at its start."""
    rig.app.save()
    app = PanelRig(Store(rig.files)).app
    parts.fit(app, rig.files)
    return app


def test_turned_off_a_lower_curve_still_bounds_the_trim_after_a_restart():
    rig = Rig(Drawer())
    for _ in range(4):
        rig.round(-20)  # as far down as it goes: an eighth
    assert rig.app.change_settings({LEARNS: 0}) == []
    app = started_anew(rig)
    assert app.controller.settings.curve_learning == 0
    for flow, first in zip(app.controller.settings.curve_flow_ul_s, rig.before):
        assert flow >= first - first // 8 - 1
    for part in app.parts:
        part.tick(app.controller, [])
    together = (ONE_Q20 + app.controller.loop.trim_most_q20) / ONE_Q20 / 0.875
    assert together <= 1.2505, "curve and trim give at most a quarter more, learning or not"
    assert app.learning.undo() == UNDONE


def test_turned_off_it_is_loaded_only_where_a_curve_was_learned():
    rig = Rig(Drawer())
    assert rig.app.change_settings({LEARNS: 0}) == []
    assert started_anew(rig).learning is None, "nothing was learned"
    rig.app.change_settings({LEARNS: 1})
    rig.round(10)
    assert rig.app.change_settings({LEARNS: 0, "actuator": INLINE_VALVE}) == []
    app = started_anew(rig)
    assert app.learning is None and app.notes == [], "a valve has no use for it, nor for a word"


def test_power_cut_between_its_two_writes_loses_neither_first_curve_nor_present_one():
    rig = Rig()
    rig.round(10)
    between = rig.flows()
    rig.see(5)
    change = rig.app.change_settings
    rig.app.change_settings = lambda changes: ["cut"]
    rig.learning.poll()
    rig.app.change_settings = change
    assert rig.flows() == between
    assert CurveLearning(rig.app, rig.files).first == rig.before


def test_undo_of_the_last_change_does_not_move_the_bounds():
    rig = Rig()
    rig.round(-10)
    rig.round(-10)
    rig.app.undo()
    rig.learning.poll()
    assert rig.learning.first == rig.before


def test_curve_from_elsewhere_is_a_new_first_one():
    rig = Rig()
    rig.round(10)
    bench = [flow * 3 // 2 for flow in rig.before]
    assert rig.app.change_settings({FLOWS: bench}) == []
    rig.learning.poll()
    assert rig.learning.first == []
    rig.round(10)
    assert rig.learning.first == bench


def test_first_curve_that_cannot_be_kept_is_not_left():
    rig = Rig()
    rig.files.budget = 10
    assert rig.round(10) == 1000
    rig.files.budget = -1
    rig.learning.poll()
    assert rig.flows() != rig.before
    assert curve_learning.slots.load(rig.files, DOCUMENT)[0][FIRST] == rig.before


def test_menu_shows_how_far_it_came_and_takes_it_back():
    rig = Rig()
    panel = rig.panel
    rig.app.learning = rig.learning
    rig.round(10)
    panel.push()
    panel.choose("set up")
    panel.turn(80)
    assert any(line.startswith(">undo learning") and "+10 %" in line for line in panel.lines())
    panel.push()
    assert rig.flows() == rig.before
    assert any("first pump curve" in line for line in panel.lines()), panel.lines()


def test_what_was_learned_is_there_after_a_restart_and_can_still_be_undone():
    rig = Rig()
    rig.round(10)
    learned = rig.flows()
    rig.app.save()
    again = Rig(rig.files)
    assert again.flows() == learned != rig.before
    assert again.learning.undo() == UNDONE
    assert again.flows() == rig.before


def test_the_part_fits_a_pump_and_tells_that_a_valve_has_no_use_for_it():
    rig = Rig()
    rig.app.learning = None
    curve_learning.fit(rig.app, rig.files)
    assert isinstance(rig.app.learning, CurveLearning)
    assert rig.app.parts[-1] is rig.app.learning
    rig = Rig()
    rig.app.change_settings({"actuator": INLINE_VALVE})
    rig.app.learning = None
    curve_learning.fit(rig.app, rig.files)
    assert rig.app.learning is None and rig.app.parts == []
    assert curve_learning.ONLY_PUMP in rig.app.notes
