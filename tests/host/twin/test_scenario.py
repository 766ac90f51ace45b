"""Scenario files: what they may say, and that everything wrong is found with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.common.errors import InputError
from host_sim.trials.commissioning.bench import Bench
from host_sim.trials.commissioning.commission import Wish, learn
from host_sim.twin.hands import FAULT, HANDS, Hands
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.scenario_events import RATE_NUMBERS, SWITCH_LEVELS
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER

GOOD = """\
title = "Short"
machine = "m.toml"
[drive]
speed_trace = "trace.csv"
seed = 7
[[event]]
at_s = 1
master = "on"
[[event]]
at_m = 5
implement = "down"
"""
MACHINE = """\
[fitted]
sections = [2, 3, 2]
spacing = "0.5 m"
[settings]
rate = "90 L/ha"
[twin]
kind = "electric_m"
[twin.ground]
noise_m_s = 0.01
"""
SECTION_2 = 0b1000  # bits 0 and 1 are master and implement


def write(tmp_path: Path, text: str) -> Path:
    (tmp_path / "trace.csv").write_text("time_s,speed_m_s\n0,2\n10,2\n")
    (tmp_path / "m.toml").write_text(MACHINE)
    path = tmp_path / "a.toml"
    path.write_text(text)
    return path


def problems_of(tmp_path: Path, text: str) -> list[str]:
    path = write(tmp_path, text)
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    return str(caught.value).replace(f"{path}:", "").splitlines()


def event_of(tmp_path: Path, text: str):
    return load_scenario(write(tmp_path, GOOD + "[[event]]\nat_s = 2\n" + text)).events[-1]


def test_everything_said_is_taken(tmp_path):
    scenario = load_scenario(write(tmp_path, GOOD))
    assert scenario.title == "Short"
    assert scenario.machine.kind == "electric_m"
    assert scenario.machine.ground.noise_m_s == 0.01
    assert scenario.settings.rate_ml_ha == 90000
    assert scenario.section_width_m == [1.0, 1.5, 1.0]
    assert scenario.speed_trace.duration_s == 10.0
    assert scenario.seed == 7
    assert [(event.at_s, event.at_m) for event in scenario.events] == [(1.0, None), (None, 5.0)]


def test_the_command_line_replaces_trace_and_seed(tmp_path):
    other = tmp_path / "other.csv"
    other.write_text("time_s,speed_m_s\n0,1\n30,1\n")
    path = write(tmp_path, GOOD.replace('speed_trace = "trace.csv"\n', ""))
    scenario = load_scenario(path, other, 0)
    assert scenario.speed_trace.duration_s == 30.0
    assert scenario.seed == 0


@pytest.mark.parametrize(
    ("text", "on", "off", "words"),
    [
        ('master = "on"', SWITCH_MASTER, 0, "the master was switched on"),
        ('implement = "up"', 0, SWITCH_IMPLEMENT, "the implement was lifted"),
        ('section = 2\nswitch = "off"', 0, SECTION_2, "section 2 was switched off"),
        ('master = "off"\nimplement = "down"', SWITCH_IMPLEMENT, SWITCH_MASTER,
         "the master was switched off and the implement came down"),
    ],
)
def test_events_of_the_hands(tmp_path, text, on, off, words):
    event = event_of(tmp_path, text)
    assert (event.on, event.off, event.words, event.who) == (on, off, words, HANDS)


@pytest.mark.parametrize(("text", "at"), [
    ('at = "2.5 s"', (2.5, None)), ('at = "180 m"', (None, 180.0)),
    ('at = "600 ft"', (None, pytest.approx(182.88))),  # a foot is 0.3048 m
])
def test_when_an_event_is(tmp_path, text, at):
    event = load_scenario(write(tmp_path, GOOD.replace("at_m = 5", text))).events[-1]
    assert (event.at_s, event.at_m) == at


@pytest.mark.parametrize(
    ("text", "rate_ml_ha"),
    [
        ("rate_l_ha = 95", 95_000),
        ("rate_l_ha = 80.25", 80_250),
        # 1 US gal/ac = 3.785411784 L / 4046.8564224 m2 (NIST SP 811) = 9.353958 L/ha
        ("rate_gal_ac = 10", 93_540),
        ('rate = "95 L/ha"', 95_000),
        ('rate = "10 gal/ac"', 93_540),
    ],
)
def test_rates_in_both_systems(tmp_path, text, rate_ml_ha):
    assert event_of(tmp_path, text).rate_ml_ha == rate_ml_ha


@pytest.mark.parametrize(
    ("text", "faults", "orifices", "stalled"),
    [
        ("meter_stalled = true", {"meter_stalled": True}, {}, None),
        ("speed_lost = false", {"speed_lost": False}, {}, None),
        ("supply_drop_v = 2.5", {"supply_drop_v": 2.5}, {}, None),
        ("air_ml = 200", {"air_m3": pytest.approx(2e-4)}, {}, None),
        ('air = "200 mL"', {"air_m3": pytest.approx(2e-4)}, {}, None),
        ('slip = "3 %"', {"slip_share": pytest.approx(0.03)}, {}, None),
        ('supply_drop = "2.5 V"', {"supply_drop_v": 2.5}, {}, None),
        ("section = 3\norifice_factor = 0.5", {}, {2: 0.5}, None),
        ('rough_ground = "5 %"', {"rough_share": pytest.approx(0.05)}, {}, None),
        ('radar_noise = "0.1 m/s"', {"radar_m_s": pytest.approx(0.1)}, {}, None),
        ("meter_bounce_pct = 20", {"meter_bounce_share": pytest.approx(0.2)}, {}, None),
        ('leak_down = "10 s"', {"leak_down_s": pytest.approx(10.0)}, {}, None),
        ("viscosity_factor = 0.6", {"viscosity_factor": 0.6}, {}, None),
        ("program_stalled = true", {}, {}, True),
    ],
)
def test_events_of_faults(tmp_path, text, faults, orifices, stalled):
    event = event_of(tmp_path, text)
    assert (event.faults, event.orifices, event.stalled) == (faults, orifices, stalled)
    assert event.who == FAULT


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('title = "Short"', "title = 3", "1: title: must be a text in quotes, is 3"),
        ('title = "Short"', "titel = 3", "1: titel: there is no such key here; did you mean"),
        ('machine = "m.toml"', "", "1: machine: is missing"),
        ('"m.toml"', '"none.toml"', "2: machine: there is no file"),
        ('"m.toml"', "3", "2: machine: must be a text in quotes, is 3"),
        ('speed_trace = "trace.csv"', "", "3: drive.speed_trace: is missing"),
        ('"trace.csv"', '"none.csv"', "4: drive.speed_trace: there is no file"),
        ("seed = 7", "seed = -7", "5: drive.seed: must be a whole number from 0"),
        ("seed = 7", "sead = 7", "5: drive.sead: there is no such key here; did you mean seed?"),
        ("at_s = 1\n", "", "6: event 1: needs one of at, at_s and at_m"),
        ("at_m = 5", "at_m = 5\nat_s = 5", "9: event 2: needs one of at, at_s and at_m"),
        ("at_m = 5", "at_m = -5", "10: event 2.at_m: must be at least 0, is -5"),
        ("at_m = 5", "at_m = nan", "10: event 2.at_m: must be a number, is nan"),
        ("at_m = 5", 'at_m = "5"', "10: event 2.at_m: must be a number, is '5'"),
        ('master = "on"', "", "6: event 1: does nothing"),
        ('master = "on"', "master = true", "8: event 1.master: must be on or off, is True"),
        ('master = "on"', 'mister = "on"', "8: event 1.mister: there is no such key here"),
        ('master = "on"', 'switch = "on"', "6: event 1: section goes together with switch"),
        ('master = "on"', 'section = 4\nswitch = "on"', "8: event 1.section: must be a whole"),
        ('master = "on"', "rate_l_ha = 0.5", "8: event 1.rate_l_ha: must be 1.0 L/ha to"),
        ('master = "on"', "rate_l_ha = 1e308", "8: event 1.rate_l_ha: must be 1.0 L/ha to"),
        ('master = "on"', 'rate = "0.05 gal/ac"', "8: event 1.rate: must be 0.11 gal/ac to"),
        ('master = "on"', 'rate = "50"', "8: event 1.rate: '50' needs its unit, one of L/ha, "),
        ('master = "on"', 'cranking = true\nover = "3 s"', "9: event 1.over: goes together with"),
        ('master = "on"', 'valve = "slow"', "6: event 1: section goes together with"),
        ('master = "on"', 'section = 1\nvalve = "shut"', "9: event 1.valve: must be stuck open or"),
        ("seed = 7", 'field = "stormy"', "5: drive.field: must be calm or ordinary or rough"),
        ('master = "on"', 'slip = "3 V"', "8: event 1.slip: unit 'V' is none of %"),
        ('master = "on"', "rate_l_ha = 50\nrate_gal_ac = 5", "a rate is given already"),
        ("at_m = 5", 'at = "5"', "10: event 2.at: must be a time or a distance like"),
        ("at_m = 5", 'at = "-5 m"', "10: event 2.at: must be at least 0, is -5 m"),
        ("at_m = 5", 'at = "5 m"\nat_s = 5', "9: event 2: needs one of at, at_s and at_m"),
        ('master = "on"', "speed_lost = 1", "8: event 1.speed_lost: must be true or false, is 1"),
        ('seed = 7\n[[event]]', 'seed = 7\n[[events]]', "6: events: there is no such key here"),
    ],
)
def test_every_mistake_is_named_with_its_line(tmp_path, old, new, says):
    assert old in GOOD
    found = problems_of(tmp_path, GOOD.replace(old, new, 1))
    assert any(line.startswith(says) or says in line for line in found), found


@pytest.mark.parametrize(
    "text", ["machine = 1", "machine = []", "drive = 2", "event = 3", "event = [1]", ""]
)
def test_tables_of_the_wrong_kind_are_refused(tmp_path, text):
    assert problems_of(tmp_path, text)


def test_all_mistakes_are_listed_at_once_those_of_the_machine_file_too(tmp_path):
    path = write(tmp_path, GOOD.replace("seed = 7", "seed = 0.5").replace("at_s = 1", "at_s = -1"))
    (tmp_path / "m.toml").write_text(MACHINE.replace('"90 L/ha"', '"0.5 L/ha"\nx = 1'))
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert [" ".join(line.replace(f"{tmp_path}/", "").split(":")[:3]) for line in
            caught.value.args] == ["m.toml 5  settings.rate", "m.toml 6  settings.x",
                                   "a.toml 5  drive.seed", "a.toml 7  event 1.at_s"]


def test_another_machine_takes_the_place_of_the_one_that_is_named(tmp_path):
    path = write(tmp_path, GOOD.replace("m.toml", "none.toml"))
    scenario = load_scenario(path, machine_file=tmp_path / "m.toml")
    assert scenario.settings.rate_ml_ha == 90000


# How events are played.


def test_events_at_the_same_moment_keep_the_order_of_the_file(tmp_path):
    text = GOOD + '[[event]]\nat_s = 1\nmaster = "off"\n'
    hands = Hands(load_scenario(write(tmp_path, text)).events, 3, 80_000)
    hands.act(0.5, 0.0)
    assert hands.switches == 0b11100
    assert len(hands.act(1.0, 4.0)) == 2
    assert not hands.switches & SWITCH_MASTER
    assert hands.missed == ["the implement came down"]
    hands.act(2.0, 5.0)
    assert hands.switches == 0b11110
    assert [happened.distance_m for happened in hands.happened] == [4.0, 4.0, 5.0]


# The shipped scenario.


def test_demo_settings_are_what_the_procedures_learn():
    """Retake them with `python -m host_sim tune` where pump, plant or procedure changed."""
    scenario = load_scenario(DEMO)
    kept = scenario.settings.as_dict()
    bench = Bench(scenario.machine, scenario.seed)
    bench.change(kept)
    found = learn(bench, Wish(), lambda share: None).settings.as_dict()
    for name in ("curve_flow_ul_s", "curve_duty_u16"):
        assert found[name] == pytest.approx(kept[name], rel=0.05, abs=200)
    for name in ("loop_delay_ms", "loop_lag_ms", "look_ahead_ms"):
        assert found[name] == pytest.approx(kept[name], abs=30)
    assert found["curve_pressure_u16"] == pytest.approx(kept["curve_pressure_u16"], rel=0.2)


def test_demo_stays_within_what_the_pump_gives():
    scenario = load_scenario(DEMO)
    rates = [event.rate_ml_ha for event in scenario.events if event.rate_ml_ha]
    width_m = sum(scenario.section_width_m)
    # L/min = L/ha x km/h x m / 600 (Irish Independent, Useful formulae for working out nozzle
    # selection),
    # http://www.independent.ie/business/farming/useful-formulae-for-working-out-nozzle-selection-forward-speed-application-rate-26717877.html
    top_km_h = 3.6 * max(scenario.speed_trace.speed_m_s)
    needed_l_min = max(rates) / 1000 * top_km_h * width_m / 600
    assert needed_l_min < 0.95 * scenario.settings.curve_flow_ul_s[-1] * 60 / 1e6


# The page that describes scenarios.

PAGE = (REPO_ROOT / "docs/reference/scenario_files.md").read_text()


def test_the_example_of_the_page_is_a_scenario(tmp_path):
    example = PAGE.partition("```toml\n")[2].partition("```")[0]
    (tmp_path / "my_drive.csv").write_text("time_s,speed_m_s\n0,3\n100,3\n")
    (tmp_path / "my_bar.toml").write_text(MACHINE)
    path = tmp_path / "example.toml"
    path.write_text(example)
    assert len(load_scenario(path).events) == 3


def test_every_key_of_an_event_is_on_the_page():
    """Those of disturbances are on the page that is made from their table."""
    keys = ["at", "at_s", "at_m", *SWITCH_LEVELS, "rate", *RATE_NUMBERS, "over", "over_s",
            "orifice_factor", "valve", "program_stalled", "note"]
    assert [key for key in keys if f"`{key}`" not in PAGE] == []
    assert "(disturbances.md)" in PAGE
