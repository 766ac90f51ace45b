"""The pump is learned in the panel: hands go to the bench, the page follows, and keeps it."""

import json

import pytest

from host_sim.common.errors import InputError
from host_sim.panel.bench_hands import PROCEDURES, parameters
from host_sim.panel.feed import Feed
from host_sim.panel.game import Game
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.saver import Saver
from host_sim.panel.scenes import BY_NAME, Script
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.interlock import BENCH, STATE_NAMES
from rate_control.pump_curve import PumpCurve

FIELD = "ordinary"  # that of the demonstration: another consumer comes and goes meanwhile


class Bench:
    """A game that goes on without real time, and what a page that opens now is shown."""

    def __init__(self, steps=()):
        scenario, self.feed = load_scenario(DEMO, field=FIELD), Feed()
        self.twin = LiveTwin(scenario)
        self.game = Game(self.twin, scenario, self.feed, lambda: 0.0, Saver(), Script(steps))

    def live(self, seconds):
        self.game.script.arrive_s = self.twin.now_s + seconds
        self.game.frame()
        return self

    @property
    def shown(self):
        (text,), _ = self.feed.since(None)
        return json.loads(text)

    @property
    def procedure(self):
        return self.shown["words"]["procedure"]

    def ended(self, within_s):
        """Live until the procedure has ended."""
        for _ in range(round(within_s / 5.0)):
            self.live(5.0)
            if self.procedure and self.procedure["state"] != "running":
                return self.procedure
        raise AssertionError("it has not ended")


@pytest.fixture(scope="module")
def learned():
    """A machine at work, whose pump was then learned and kept."""
    bench = Bench(BY_NAME["steady"].steps).live(10.0)
    bench.game.do("section", [1, False])
    before = bench.twin.application.controller.settings
    bench.game.do("learn", ["pump_curve", "density = 1.0 kg/L", False])
    bench.live(30.0)
    on_the_way = bench.shown
    done = bench.ended(250.0)
    bench.game.do("keep", [True])
    bench.live(8.0)
    return bench, before, on_the_way, done


def test_on_the_way_it_tells_how_far_it_is(learned):
    _, _, shown, _ = learned
    row = dict(zip(shown["hello"]["columns"], shown["rows"][-1], strict=True))
    assert STATE_NAMES[row["state"]] == STATE_NAMES[BENCH] == shown["words"]["state"]
    told = shown["words"]["procedure"]
    assert (told["words"], told["state"]) == ("pump curve", "running")
    assert 0 < told["permille"] < 1000 and told["doing"]
    assert shown["hands"]["sections"] == [True] * 3 and row["true_speed_mm_s"] == 0


def test_what_was_found_is_told_in_both_units_beside_what_is_set(learned):
    _, before, _, done = learned
    assert done["state"] == "done", done["reason"]
    found = dict(done["found"])
    metric, us = found["highest flow"]
    assert metric.endswith("L/min") and us.endswith("gal/min")
    # one US gallon is 3.785411784 L: NIST Handbook 44, appendix C
    assert float(metric.split()[0]) == pytest.approx(3.785 * float(us.split()[0]), rel=0.005)
    changes = {name: (now, new) for name, now, new in done["changes"]}
    now, new = changes["pump curve: duty"]
    assert now != new and now[0].count(",") == len(before.curve_duty_u16) - 1


def test_what_is_kept_is_what_the_machine_works_by(learned):
    bench, before, _, _ = learned
    assert bench.shown["bench"] == {"state": "kept", "why": ""}
    assert bench.procedure is None
    after = bench.twin.application.controller.settings
    assert after.curve_duty_u16 != before.curve_duty_u16
    for flow_ul_s in (20_000, 60_000, 100_000, 140_000):  # the file's was learned without a field
        was, now = (PumpCurve(settings).demand_u16(flow_ul_s, settings.total_width_mm(), 13_600)
                    for settings in (before, after))
        assert now == pytest.approx(was, rel=0.01)
    # it is the pressure at the highest flow, which is less where the supply sagged at that; it goes
    # with the square of the flow
    was, now = (settings.curve_pressure_u16 / settings.curve_flow_ul_s[-1] ** 2
                for settings in (before, after))
    assert now == pytest.approx(was, rel=0.1)
    offered = {key: value for key, value, _ in bench.shown["settings"][0]}
    assert offered["learned.pump_curve.pressure"] == (
        f"{100 * after.curve_pressure_u16 / 65535:.1f} %")
    happened = str(bench.game.drive.finish().about)
    assert "on the bench: pump curve" in happened and "what was learned was kept" in happened


def test_a_step_test_that_is_left_changes_nothing():
    bench = Bench()
    before = bench.twin.application.controller.settings.as_dict()
    bench.game.do("learn", ["step_test", "speed = 5 mph, settling time = 1 s", True])
    done = bench.ended(120.0)
    assert done["state"] == "done", done["reason"]
    assert [name for name, _ in done["found"]][:2] == ["delay", "lag"]
    bench.game.do("keep", [False])
    bench.live(8.0)
    assert bench.shown["bench"]["state"] == "left"
    assert bench.twin.application.controller.settings.as_dict() == before
    assert bench.shown["words"]["display"][3].startswith("parked")  # and the display is home


def test_master_off_ends_it():
    bench = Bench()
    bench.game.do("learn", ["pump_curve", "", False])
    bench.live(20.0)
    assert bench.procedure["state"] == "running"
    bench.game.do("master", [False])
    bench.live(2.0)
    assert bench.procedure["state"] == "stopped"
    shown = bench.shown
    assert shown["rows"][-1][shown["hello"]["columns"].index("duty_u16")] == 0


def test_a_bench_that_cannot_begin_says_why():
    bench = Bench()
    bench.game.do("trouble", ["speed_lost", True])
    bench.twin.application.controller.request.settings_state = 2  # lost: they block
    bench.game.do("learn", ["pump_curve", "", False])
    bench.live(80.0)
    told = bench.shown["bench"]
    assert told["state"] == "refused" and told["why"].startswith("the bench cannot begin: ")
    assert bench.procedure is None


def test_parameters_are_read_with_their_units():
    assert parameters("step_test", "speed = 8 km/h, settling time = 1 s", False) == {
        "speed_mm_s": 2222, "settling_time_ms": 1000}
    assert parameters("step_test", "speed = 5", True) == {"speed_mm_s": 2235}
    assert parameters("pump_curve", "", False) == {}
    assert PROCEDURES == ("pump_curve", "step_test")


@pytest.mark.parametrize(("text", "why"), [
    ("haste = 3", "step test: 'haste' is none of speed, settling time"),
    ("speed = 90 km/h", "speed: must be 0.36 to"),
    ("settling time = soon", "settling time: ")])
def test_bad_parameters_are_told_in_their_units(text, why):
    with pytest.raises(InputError) as told:
        parameters("step_test", text, False)
    assert str(told.value).startswith(why)
