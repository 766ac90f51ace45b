"""The verbs that look at a machine take a machine file: the twin is then that machine."""

from __future__ import annotations

import json

import pytest

from host_sim.__main__ import main
from host_sim.machine_file.choice import chosen
from host_sim.panel.start import twin_session
from host_sim.trials.acceptance.contenders import THE_CONTROLLER
from host_sim.trials.acceptance.trial import try_machine
from host_sim.twin.scenario import DEMO
from tests.support.drives import START, scenario_file

NARROW = """\
title = "Narrow bar"
units = "us"
[fitted]
sections = [3, 3]
spacing = "18 in"
outlet = "03"
pump = "M"
relief = "60 psi"
meter = "1600 pulses/gal"
meter_range = "0.13 to 4 gal/min"
[settings]
rate = "8 gal/ac"
"""


@pytest.fixture
def narrow(tmp_path):
    path = tmp_path / "narrow.toml"
    path.write_text(NARROW)
    return path


def test_drive_and_report(narrow, tmp_path, capsys):
    scenario, out = scenario_file(tmp_path, START), tmp_path / "out"
    assert main(["drive", str(scenario), "--machine", str(narrow), "--out", str(out)]) == 0
    assert "gal/ac" in capsys.readouterr().out  # the units of the file
    about = json.loads((out / "summary.json").read_text())["about"]
    assert about["section_width_m"] == [1.372, 1.372]  # 3 x 18 in
    assert about["settings"]["meter_pulses_hl"] == 42268  # 1600 over 3.785411784 L
    assert main(["report", str(out), "--machine", str(narrow), "--out",
                 str(tmp_path / "a.html")]) == 0
    assert "narrow.toml: the run had these settings" in capsys.readouterr().out
    narrow.write_text(NARROW.replace("8 gal/ac", "9 gal/ac"))
    assert main(["report", str(out), "--machine", str(narrow), "--out",
                 str(tmp_path / "a.html")]) == 0
    assert ("narrow.toml: settings.rate: is 9.00 gal/ac, was 8.00 gal/ac in the run"
            in capsys.readouterr().out)


def test_an_event_of_a_section_that_is_not_there_is_refused(narrow, tmp_path, capsys):
    scenario = scenario_file(tmp_path, START + "[[event]]\nat_s = 5\nsection = 3\nswitch = 'off'\n")
    assert main(["drive", str(scenario), "--machine", str(narrow), "--out",
                 str(tmp_path / "out")]) == 2
    assert "event 3.section: must be a whole number from 1 to 2" in capsys.readouterr().err


def test_panel_and_faults(narrow, tmp_path, capsys):
    scenario = scenario_file(tmp_path, START)
    session = twin_session(scenario, narrow)
    refusals = [session.ask(json.dumps(["section", number, True])) for number in (1, 2)]
    assert refusals == ["", "section: the machine has no such section"]
    assert main(["panel", "--machine", str(narrow), "--port", "/dev/none"]) == 2
    assert "give a scenario or --machine, or --port" in capsys.readouterr().err
    assert main(["faults", "--machine", str(tmp_path / "none.toml")]) == 2


def test_acceptance_puts_the_machine_of_a_file_to_the_test(narrow):
    trial = try_machine(str(narrow), repeats=2, contenders=(THE_CONTROLLER,), drifts=())
    assert trial.machine == "Narrow bar"
    assert trial.settings.section_count == 2
    assert trial.settings.us_units == 1
    assert trial.driven[THE_CONTROLLER].rows
    assert main(["acceptance", "--machine", "steam"]) == 2


def test_what_a_machine_may_be():
    assert chosen("hydraulic").entered is None
    with pytest.raises(Exception, match="neither a machine file"):
        chosen("steam")


def test_the_wires_of_a_machine_and_no_others(narrow, tmp_path, capsys):
    """The letters: bit 0 of the byte ends at QA and begins at A, most significant bit first."""
    assert main(["board", "wires", "--machine", str(narrow)]) == 0
    told = capsys.readouterr().out
    assert "PUMP" in told.splitlines()[8] and "1600.0 pulses/gal" in told
    assert "section 2: 54.0 in wide; valve at QB of the 74HCT595, switch at B" in told
    assert ("not used by this machine: PRESSURE, VALVE_OPEN, VALVE_CLOSE, GNSS_RX, "
            "CAN_SELECT, CARD_SELECT, TEST") in told
    valve = tmp_path / "valve.toml"
    valve.write_text(NARROW.replace("[fitted]", '[fitted]\nactuator = "in-line valve"\n'
                                    'board = "an ESP32 module"\n[fitted]'.replace(
                                        "\n[fitted]", "\n")))
    assert main(["board", "wires", "--machine", str(valve)]) == 0
    told = capsys.readouterr().out
    assert "WROOM" in told.splitlines()[0] and "\n  26  VALVE_OPEN" in told
    assert "not used by this machine: PUMP, TEST" in told
    valve.write_text(valve.read_text().replace("[fitted]", '[fitted]\nspeed_source = "GNSS"'))
    assert main(["board", "wires", "--machine", str(valve)]) == 2
    assert "no pins for a GNSS receiver" in capsys.readouterr().err
    assert main(["board", "wires", "--machine", str(narrow), "--board", "abacus"]) == 2
    assert "--board: must be one of rp2, esp32, is 'abacus'" in capsys.readouterr().err


@pytest.mark.parametrize(("speed_source", "can_use", "position_use", "unused"), [
    ("both", "off", "off", "CAN_SELECT, CARD_SELECT, TEST"),
    ("GNSS", "off", "off", "SPEED, CAN_SELECT, CARD_SELECT, TEST"),
    ("GNSS", "ground", "off", "SPEED, GNSS_RX, CARD_SELECT, TEST"),
    ("pulses", "ground", "record", "CARD_SELECT, TEST"),
    ("pulses", "off", "record", "CAN_SELECT, CARD_SELECT, TEST"),
    ("both", "GNSS", "record", "GNSS_RX, CARD_SELECT, TEST"),
])
def test_what_tells_speed_and_place_is_wired(narrow, tmp_path, capsys, speed_source, can_use,
                                             position_use, unused):
    mine = tmp_path / "mine.toml"
    mine.write_text(NARROW.replace("[fitted]", f'[fitted]\nspeed_source = "{speed_source}"')
                    + f'can_use = "{can_use}"\nposition_use = "{position_use}"\n')
    assert main(["board", "wires", "--machine", str(mine)]) == 0
    told = capsys.readouterr().out
    left = told.splitlines()[-1].removeprefix("not used by this machine: ").split(", ")
    assert set(left) == {"VALVE_OPEN", "VALVE_CLOSE", "PRESSURE", *unused.split(", ")}


def test_the_machine_of_the_demonstration_passes_size(capsys):
    demo = DEMO.with_name("plot_bar.machine.toml")
    assert main(["size", str(demo)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("FITS:") and "What does not fit" not in told


def test_calibrations_take_what_the_file_knows(narrow, capsys):
    """18 in want a course of 227 ft (Ohio State University Extension, B-817: 18-227)."""
    assert main(["calibrate", "plot-catch", "--machine", str(narrow)]) == 0
    assert "227.0 ft" in capsys.readouterr().out
    assert main(["calibrate", "density", "--machine", str(narrow), "--density", "10.65"]) == 0
    assert "catch 9.04 gal/ac of water" in capsys.readouterr().out
    assert main(["calibrate", "density", "--rate", "10"]) == 2
    assert "--density: is missing, and so is --machine" in capsys.readouterr().err
    narrow.write_text(NARROW.replace("sections = [3, 3]\nspacing = \"18 in\"",
                                     'section_widths = ["54 in", "54 in"]'))
    assert main(["calibrate", "plot-catch", "--machine", str(narrow)]) == 2
    assert "--width: is missing, and so is fitted.sections" in capsys.readouterr().err
