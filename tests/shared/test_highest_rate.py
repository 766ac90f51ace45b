"""The highest rate, and how far a rate from afar may go while the controller is armed."""

from app.operations import ONLY_AT_MACHINE
from rate_control.interlock import APPLYING, PARKED
from rate_control.records import Request
from tests.support.link_rig import ALL, DOWN, MASTER, WORK, LinkRig

HIGHEST = {"highest_rate_ml_ha": 200000}


def rig_with(**changes):
    rig = LinkRig()
    assert rig.application.change_settings(changes) == []
    return rig


def rate(rig):
    return rig.application.controller.request.rate_ml_ha


def asked(rig, rate_ml_ha):
    """Ask over the link; return whether it was taken."""
    return "answer" in rig.ask("rate.set", rate_ml_ha=rate_ml_ha)


def test_no_source_of_a_rate_goes_beyond_the_highest():
    rig = rig_with(**HIGHEST)
    app = rig.application
    assert app.set_rate(200000) == "" and rate(rig) == 200000
    assert app.set_rate(200001) and rate(rig) == 200000
    assert not asked(rig, 200001)
    assert app.change_settings({"rate_ml_ha": 300000}) != []
    assert "error" in rig.ask("settings.set", values={"rate_ml_ha": 300000})
    assert rate(rig) == 200000


def test_a_highest_rate_below_the_present_one_is_refused():
    rig = rig_with()
    assert rig.application.set_rate(150000) == ""
    assert rig.application.change_settings({"highest_rate_ml_ha": 120000}) != []
    assert rate(rig) == 150000


def test_the_highest_rate_is_changed_at_the_machine_alone():
    rig = rig_with(**HIGHEST)
    answer = rig.ask("settings.set", values={"highest_rate_ml_ha": 900000, "settling_time_ms": 900})
    assert answer["problems"] == [ONLY_AT_MACHINE]
    settings = rig.application.controller.settings
    assert (settings.highest_rate_ml_ha, settings.settling_time_ms) == (200000, 1500)
    # a whole document of this very machine is no change of it
    assert "answer" in rig.ask("settings.set", values=settings.as_dict())
    # nor can a change made at the machine be undone from afar
    assert rig.application.change_settings({"highest_rate_ml_ha": 100000}) == []
    assert "error" in rig.ask("settings.undo")
    assert rig.application.controller.settings.highest_rate_ml_ha == 100000


def test_settings_that_a_person_has_yet_to_take_on_may_bring_it():
    rig = rig_with()
    rig.application.controller.request.settings_state = Request.NOT_SET_UP
    assert "answer" in rig.ask("settings.set", values=HIGHEST)
    assert rig.application.controller.settings.highest_rate_ml_ha == 200000


def test_at_work_a_rate_from_afar_is_at_most_a_quarter_above_that_of_the_person():
    rig = rig_with()
    rig.apply()
    assert rig.state == APPLYING
    assert rate(rig) == 100000
    assert not asked(rig, 125001)
    assert asked(rig, 125000)
    assert not asked(rig, 125001), "requests do not add up"
    assert asked(rig, 20000) and asked(rig, 125000), "less is always permitted"
    assert rig.application.set_rate(160000) == "", "a person may"
    assert asked(rig, 200000) and not asked(rig, 200001)


def test_armed_and_lifted_is_as_at_work():
    rig = rig_with()
    rig.ticks(8, 0)
    rig.ticks(8, MASTER | ALL)
    assert not asked(rig, 4000000)
    rig.ticks(60, WORK, 400, 40)
    assert rate(rig) == 100000


def test_at_rest_it_is_taken_and_arming_confirms_it():
    rig = rig_with()
    rig.ticks(8, 0)
    assert rig.state == PARKED and asked(rig, 300000)
    rig.ticks(8, MASTER | DOWN | ALL)
    assert not asked(rig, 375001)
    assert asked(rig, 375000)
