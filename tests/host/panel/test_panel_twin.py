"""The twin of the panel: what a person does with it, without a browser and without real time."""

import dataclasses
import json

import pytest

from app.words import MISSING
from host_sim.board.link_client import LinkClient, Refused
from host_sim.panel.commands import COMMANDS
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.session import FRAME_S
from host_sim.panel.start import serve
from host_sim.panel.trouble import TROUBLES
from host_sim.panel.twin_session import TwinSession
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.interlock import STATE_NAMES
from tests.support.panel_game import COLUMNS, Played

RATE_ML_HA = 80_000


@pytest.fixture
def twin():
    return LiveTwin(load_scenario(DEMO, field="calm"))


@pytest.fixture
def played(twin):
    return Played(twin)


WORK = (["master", True], ["implement", True])


def test_every_command_does_something(played):
    assert set(played.game.handlers) == set(COMMANDS)


def test_arm_lower_drive_and_the_rate_settles(played):
    row = played.play(2.0)
    assert STATE_NAMES[row["state"]] == "parked"
    assert played.latest["words"]["missing"] == ["master is off", "implement is up",
                                                 "drive: too slow"]
    assert set(played.latest["words"]["missing"]) <= {words for _, words in MISSING}
    row = played.play(12.0, *WORK, ["throttle", 0.5])
    assert STATE_NAMES[row["state"]] == "applying"
    assert played.latest["words"]["missing"] == []
    assert row["applied_ml_ha"] == pytest.approx(RATE_ML_HA, rel=0.03)
    assert row["true_applied_ml_ha"] == pytest.approx(RATE_ML_HA, rel=0.03)
    assert row["true_speed_mm_s"] == pytest.approx(3000, rel=0.01)
    assert row["speed_mm_s"] == pytest.approx(row["true_speed_mm_s"], rel=0.03)
    assert played.latest["words"]["display"][3].startswith("applying")


def test_the_ribbon_tells_truth_and_belief_apart(played):
    """Orifices that are half shut: the controller keeps its flow and cannot know."""
    played.play(15.0, *WORK, ["speed", 3.0], ["outlets", 2, 0.5])
    number, one, _, three = played.latest["cells"][-1]
    assert one > 1.05 and three < 0.8
    believed = played.latest["believed"][-1]
    assert abs(believed[0] - number) <= 1
    assert all(abs(ratio - 1.0) < 0.03 for ratio in believed[1:])


def test_a_stalled_meter_becomes_a_fault_with_what_to_do(played):
    played.play(5.0, *WORK, ["speed", 3.0])
    row = played.play(6.0, ["trouble", "meter_stalled", True])
    assert STATE_NAMES[row["state"]] == "fault"
    (fault,) = played.latest["words"]["faults"]
    assert fault["blocking"] and fault["words"].startswith("no flow at the meter: ")
    assert row["true_applied_ml_ha"] is None
    played.play(1.0, ["trouble", "meter_stalled", False], ["master", False])
    row = played.play(5.0, ["master", True])
    assert STATE_NAMES[row["state"]] == "applying"


@pytest.mark.parametrize("trouble", TROUBLES, ids=[trouble.name for trouble in TROUBLES])
def test_every_trouble_comes_and_goes(twin, trouble):
    def healthy():
        return dataclasses.asdict(twin.faults), twin.pump_dead

    before = healthy()
    trouble.set(twin, True)
    assert healthy() != before
    trouble.set(twin, False)
    assert healthy() == before


def test_field_and_trouble_act_together(played):
    """Both bring air; mending the one leaves the other's."""
    faults = played.twin.faults
    played.play(1.0, ["field", "ordinary"])
    assert played.latest["hands"]["field"] == "ordinary"
    assert (faults.air_m3, faults.rough_share) == (pytest.approx(20e-6), 0.033)
    played.play(1.0, ["trouble", "air", True])
    assert faults.air_m3 == pytest.approx(50e-6)
    played.play(1.0, ["field", "rough"])
    assert (faults.air_m3, faults.rough_share) == (pytest.approx(50e-6), 0.092)
    played.play(1.0, ["trouble", "air", False])
    assert faults.air_m3 == pytest.approx(100e-6)
    played.play(1.0, ["field", "calm"])
    assert faults.air_m3 == faults.rough_share == 0.0


def test_a_field_of_the_scenario_acts_from_the_start():
    live = LiveTwin(load_scenario(DEMO))
    assert live.field == "ordinary" and live.faults.rough_share == 0.033


def test_an_empty_tank_gives_no_flow_and_is_filled_again(played):
    played.play(4.0, *WORK, ["speed", 3.0], ["tank", 0.05])
    row = played.play(6.0)
    assert played.latest["hands"]["tank_l"] == 0.0
    assert row["true_flow_ul_s"] == 0
    assert STATE_NAMES[row["state"]] == "fault"
    played.play(1.0, ["master", False], ["tank", 100])
    row = played.play(4.0, ["master", True])
    assert STATE_NAMES[row["state"]] == "applying"


def test_a_program_that_hangs_is_restarted_and_the_page_goes_on(played):
    before = played.play(5.0, *WORK, ["speed", 3.0])
    played.play(4.0, ["hang"])
    assert played.twin.starts == 2
    after = dict(zip(COLUMNS, played.rows[-1], strict=True))
    assert STATE_NAMES[after["state"]] != "applying"  # nothing starts by itself
    assert after["time_s"] > before["time_s"] and after["way_m"] >= before["way_m"]
    row = played.play(4.0, ["master", False])
    row = played.play(4.0, ["master", True])
    assert STATE_NAMES[row["state"]] == "applying"


def test_keys_and_the_link_change_the_rate(played):
    played.play(1.0, ["rate", 90_000])
    assert played.play(1.0)["rate_ml_ha"] == 90_000
    played.play(2.0, ["key", "push"])
    assert played.latest["words"]["display"][0].startswith(">rate")
    played.play(2.0, ["key", "right"])
    assert played.latest["words"]["display"][1].startswith(">regulation")
    played.play(2.0, ["key", "left"], ["key", "back"])
    assert not played.latest["words"]["display"][0].startswith(">")


@pytest.mark.parametrize("factor", [0.25, 1.0, 20.0])
def test_time_goes_as_fast_as_asked(played, factor):
    played.play(1.0, ["factor", factor])
    began_s = played.twin.now_s
    played.play(4.0)
    assert played.twin.now_s - began_s == pytest.approx(4.0 * factor, rel=0.05)


def test_what_cannot_be_done_in_time_is_let_go(played):
    """A computer that is too slow falls behind for good, and does not hang."""
    game = played.game
    game.do("factor", [20.0])
    slow = iter(range(10_000))
    played.game._clock = lambda: next(slow) * FRAME_S  # each look takes a whole frame's time
    began_s = played.twin.now_s
    for _ in range(5):
        played.now_s += 10.0
        game.frame()
    assert 0.0 < played.twin.now_s - began_s < 5.0


def test_the_same_hands_give_the_same_run():
    def rows():
        played = Played(LiveTwin(load_scenario(DEMO, field="calm")))
        played.play(3.0, *WORK, ["throttle", 0.6], ["factor", 5.0])
        played.play(3.0, ["section", 1, False], ["outlets", 0, 1.2])
        return played.rows

    assert rows() == rows()


def test_restart_gives_a_new_machine():
    session = TwinSession(load_scenario(DEMO, field="calm"))
    session.start()
    try:
        session.ask('["factor", 20]')
        session.ask('["master", true]')
        wait_for(session, lambda frame: frame.get("hands", {}).get("master"))
        session.ask('["restart"]')
        wait_for(session, lambda frame: frame.get("hands", {}).get("master") is False)
    finally:
        session.stop()
    assert session.failure == ""
    assert session.ask('["section", 3, true]') == "section: the machine has no such section"


def wait_for(session, told):
    """Look at everything that a page that has just opened would get, until it tells."""
    for _ in range(1000):
        texts, _ = session.feed.since(None)
        if any(told(json.loads(text)) for text in texts):
            return
        session.stopped.wait(0.01)
    raise AssertionError("it was never told")


def test_too_many_commands_are_refused():
    session = TwinSession(load_scenario(DEMO, field="calm"))
    answers = {session.ask('["master", true]') for _ in range(100)}
    assert answers == {"", "too many commands at once"}


def test_changed_settings_make_the_page_begin_anew(played):
    played.play(1.0)
    assert played.latest["hello"]["us"] is False
    played.twin.link.ask("settings.set", values={"us_units": 1})
    played.play(3.0)
    assert played.latest["hello"]["us"] is True
    assert played.latest["hands"] and played.latest["words"]


def test_a_firmware_that_does_not_tell_its_display_is_shown_without(twin, monkeypatch):
    ask = LinkClient.ask

    def older(client, request, **arguments):
        if request == "display.get":
            raise Refused(request, "unknown", ["display.get: no such request"])
        return ask(client, request, **arguments)

    monkeypatch.setattr(LinkClient, "ask", older)
    played = Played(twin)
    played.play(1.0)
    assert played.latest["words"]["display"] is None
    assert played.latest["words"]["state"] == "parked"


class Broken(TwinSession):
    def play(self):
        raise RuntimeError("a bug")


def test_a_session_that_fails_says_so_and_ends_the_panel(capsys):
    session = Broken(load_scenario(DEMO, field="calm"))
    assert serve(session, "127.0.0.1", 0) == 1
    assert session.failure == "RuntimeError: a bug"
    (text,), _ = session.feed.since(None)
    assert json.loads(text)["lost"] == "the panel failed: RuntimeError: a bug"


def test_us_units_on_the_page_are_on_the_display_in_mid_drive_and_after_a_reset(played):
    played.play(8.0, ("master", True), ("implement", True), ("throttle", 0.5))
    assert "L/ha" in "".join(played.latest["words"]["display"])
    row = played.play(1.0, ("units", True))
    assert STATE_NAMES[row["state"]] == "applying"
    assert "gal/ac" in "".join(played.latest["words"]["display"])
    assert played.latest["hands"]["us"] is True
    assert played.twin.application.controller.settings.us_units == 0
    played.play(5.0, ("hang",), ("master", False))
    assert played.twin.starts == 2
    played.play(2.0)
    assert played.twin.application.shown_us == 1
    played.play(1.0, ("units", False))
    assert played.twin.application.shown_us == 0
