"""The verbs that look at a machine take a machine file: the twin is then that machine."""

from __future__ import annotations

import json

import pytest

from host_sim.__main__ import main
from host_sim.machine_file.choice import chosen
from host_sim.panel.start import twin_session
from host_sim.trials.acceptance.contenders import THE_CONTROLLER
from host_sim.trials.acceptance.trial import try_machine
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
    assert session._scenario.section_width_m == [1.372, 1.372]
    assert main(["panel", "--machine", str(narrow), "--port", "/dev/none"]) == 2
    assert "give a scenario or --machine, or --port" in capsys.readouterr().err
    assert main(["faults", "--machine", str(tmp_path / "none.toml")]) == 2


def test_acceptance_puts_the_machine_of_a_file_to_the_test(narrow):
    trial = try_machine(str(narrow), repeats=2, contenders=(THE_CONTROLLER,))
    assert trial.machine == "Narrow bar"
    assert trial.settings.section_count == 2
    assert trial.settings.us_units == 1
    assert trial.driven[THE_CONTROLLER].rows
    assert main(["acceptance", "--machine", "steam"]) == 2


def test_what_a_machine_may_be():
    assert chosen("hydraulic").entered is None
    with pytest.raises(Exception, match="neither a machine file"):
        chosen("steam")
