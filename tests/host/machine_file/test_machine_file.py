"""Machine files: exactly there and back, refusals that speak what was typed, comments kept."""

from __future__ import annotations

import datetime
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.__main__ import main
from host_sim.build.reference_pages import DIRECTORY, pages
from host_sim.common.errors import InputError
from host_sim.machine_file.homes import HOMES, NO_HOME, ROWS
from host_sim.machine_file.keeping import changed_text, keep, new_text
from host_sim.machine_file.machine import load_machine
from host_sim.machine_file.twin_spec import spec_of
from host_sim.machine_file.values import differences, read, with_changes, write
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.static_pump import electric_line
from host_sim.twin.scenario import DEMO
from rate_control.settings import COUNT, HIGH, LOW, NAME, Settings, build
from rate_control.settings_table import MEANING
from tests.vm.random_machine import Random, random_settings

PLOT_BAR = DEMO.with_name("plot_bar.machine.toml")
L_MIN = 1e-3 / 60

MINE = """\
# my own bar, welded in spring
title = "My bar"
units = "us"
notes = '''
The left hose is new.'''

[settings]
settling_time = 2        # bare: seconds
rate = "10 gal/ac"

[fitted]
sections = [3, 3]        # outlets
spacing = 20             # bare: inches
meter = "1700 pulses/gal"  # data sheet

[learned.meter]
k_factor = "1710 pulses/gal"  # jug and scale
"""


@pytest.fixture
def put(tmp_path):
    def put(text, name="bar.toml"):
        path = tmp_path / name
        path.write_text(text)
        return path

    return put


def refusals(path):
    with pytest.raises(InputError) as refused:
        load_machine(path)
    return [line.replace(f"{path}:", "") for line in refused.value.args]


def same_machine(one, other):
    """Whether two settings are alike but for the widths of sections that are not fitted."""
    alike = [{name: value for name, value in settings.as_dict().items()
              if name != "section_width_mm"} for settings in (one, other)]
    count = one.section_count
    return alike[0] == alike[1] and (
        one.section_width_mm[:count] == other.section_width_mm[:count])


# Exactly there and back.


@given(st.data())
def test_a_value_written_and_read_back_is_the_same_number(data):
    for entry in ROWS:
        if entry[NAME] == "us_units":
            continue
        value = data.draw(st.integers(entry[LOW], entry[HIGH]), entry[NAME])
        if entry[COUNT] > 1:
            value = [value] * entry[COUNT]
        for us in (False, True):
            assert read(entry, write(entry, value, us), us) == value


@given(st.integers(0, 700_000), st.booleans())
def test_a_new_file_loses_nothing(tmp_path_factory, seed, us):
    settings, problems = build(random_settings(Random(seed)) | {"us_units": int(us)})
    assert problems == []
    path = tmp_path_factory.mktemp("machine") / "all.toml"
    path.write_text(new_text("All", us, settings, how="drawn"))
    assert same_machine(load_machine(path).settings, settings)


def test_every_setting_has_one_place_and_nothing_internal_is_written():
    assert set(HOMES) | set(NO_HOME) == {entry[NAME] for entry in ROWS}
    assert len(set(HOMES.values())) == len(HOMES)
    settings, _ = build({"actuator": 1, "meter_droop_ul_s": 4000, "loop_lag_ms": 333,
                         "curve_gap_u16": 700, "speed_pulses_km": 1500})
    text = new_text("All", False, settings)
    for internal in ("mL/ha", "/100 L", "65535", "_ms", "_mm", "ul_s", "u16", "_km", "permille"):
        assert internal not in text
    assert 'pulses = "1.5 pulses/m"' in text


# What a person may write.


def test_a_person_writes_units_or_bare_numbers_of_the_file(put):
    machine = load_machine(put(MINE))
    assert machine.title == "My bar"
    assert machine.settings.settling_time_ms == 2000
    assert machine.settings.rate_ml_ha == 93540  # 9.353958 L/ha each, NIST SP 811
    assert machine.settings.section_count == 2
    assert machine.settings.section_width_mm[:2] == [1524, 1524]  # 3 x 20 in
    assert machine.settings.us_units == 1
    assert machine.settings.meter_pulses_hl == 45173  # what was learned goes before the data sheet
    without = load_machine(put(MINE.partition("[learned")[0]))
    assert without.settings.meter_pulses_hl == 44909


@pytest.mark.parametrize(("line", "name", "value"), [
    ('meter = "60 pulses/L"', "meter_pulses_hl", 6000),
    ("meter = 60", "meter_pulses_hl", 6000),
    ('speed_sensor = "39.624 pulses/ft"', "speed_pulses_km", 130000),
    ('actuator = "Bypass valve"', "actuator", 2),
    ('meter_range = "1 to 10 L/min"\nmeter = 450', "meter_floor_ul_s", 16667),
    ('[settings]\nrate = "20 gal/ac"', "rate_ml_ha", 187079),
    ("[settings]\nbench_timeout = '5 s'", "bench_timeout_s", None),
    ("[settings]\nbench_timeout = '60 s'", "bench_timeout_s", 60),
    ("[settings]\nrate_tolerance = '5 %'", "rate_tolerance_permille", 50),
    ("[settings]\nspeed_average = 8", "speed_average_pulses", None),
    ("[settings]\nspeed_average_pulses = '8 pulses'", "speed_average_pulses", 8),
])
def test_what_a_line_means(put, line, name, value):
    path = put(f'[fitted]\nsection_widths = ["1 m"]\n{line}\n')
    if value is None:
        assert refusals(path)
    else:
        assert getattr(load_machine(path).settings, name) == value


@pytest.mark.parametrize(("old", "new", "says"), [
    ('"10 gal/ac"', '"2000 gal/ac"', "9: settings.rate: must be 0.106907 to 534.533 gal/ac, "
     "is 2000 gal/ac"),
    ('"10 gal/ac"', "2000", "9: settings.rate: must be 0.106907 to 534.533 gal/ac, is 2000"),
    ('"10 gal/ac"', '"20 furlongs"', "9: settings.rate: unit 'furlongs' is none of L/ha, gal/ac"),
    ('"10 gal/ac"', "true", "9: settings.rate: must be a number or a text in quotes, is True"),
    ("rate =", "rat =", "9: settings.rat: there is no such key here; did you mean rate?"),
    ("rate =", "rate_ml_ha =", "9: settings.rate_ml_ha: there is no such key here"),
    ('units = "us"', 'units = "uk"', "3: units: must be metric or us, is 'uk'"),
    ("k_factor =", "kfactor =", "17: learned.meter.kfactor: there is no such key here; did you "
     "mean k_factor?"),
    ("[learned.meter]", "[learned.metre]", "16: learned.metre: there is no such key here; did "
     "you mean meter?"),
    ("k_factor =", 'date = "May"\nk_factor =', "17: learned.meter.date: must be a date like"),
    ("spacing = 20", "", "11: fitted.section_widths: is missing, and so is sections with"),
    ("spacing = 20", 'section_widths = ["5 ft"]', "13: fitted.section_widths: has 1 sections, "
     "but sections has 2"),
    ("[3, 3]", "[3, 0]", "12: fitted.sections: '3, 0' is not a list of whole numbers"),
    ("[3, 3]", "[1, 1, 1, 1, 1, 1, 1, 1, 1]", "12: fitted.sections: must be 1 to 8 sections"),
    ('"1700 pulses/gal"', '"1 pulses/gal"', "14: fitted.meter: must be 18.9271 to 75708.2 "
     "pulses/gal, is 1 pulses/gal"),
    ("sections = [3, 3]        # outlets\nspacing = 20",
     'section_widths = ["65 ft", "780 in", "780 in"]', "12: fitted.section_widths: all sections "
     "together must be at most 1968.5 in, are 2340.0 in"),
    ("spacing = 20", "spacing = 0.1", "12: fitted.sections: number 1 must be 2.0 in to 787.4 in, "
     "is 0.3 in"),
    ('"10 gal/ac"', '"10 gal/ac"\nhighest_rate = "5 gal/ac"', "9: settings.rate: must be at most "
     "settings.highest_rate, 5.00 gal/ac"),
    ("[fitted]", "[fited]", "11: fited: there is no such key here; did you mean fitted?"),
])
def test_a_refusal_names_the_line_and_speaks_the_unit_that_was_typed(put, old, new, says):
    assert old in MINE
    found = refusals(put(MINE.replace(old, new, 1)))
    assert any(line.startswith(says) for line in found), found
    assert not any(unit in line for line in found for unit in ("mL/ha", "100 L", " mm"))
    assert not any("must have" in line for line in found)  # a list of inside is nobody's business


def test_all_problems_are_told_at_once(put):
    assert len(refusals(put(MINE.replace('"10 gal/ac"', "0").replace("= 20 ", '= "x" ')))) == 2


def test_options_mean_what_a_file_does():
    settings = with_changes(Settings(), ["rate=20 gal/ac", "fitted.actuator=in-line valve"], False)
    assert (settings.rate_ml_ha, settings.actuator) == (187079, 1)
    for text, says in (("colour=3", "must be NAME=VALUE"), ("rate=1 km", "rate: unit 'km' is"),
                       ("section_widths=3", "must be NAME=VALUE")):
        with pytest.raises(InputError, match=says):
            with_changes(Settings(), [text], False)


# Writing into a file.


def test_a_calibration_goes_in_and_everything_else_stays(put):
    path = put(MINE)
    keep(path, {"meter_pulses_hl": 45000, "meter_droop_ul_s": 5000}, "low flow catch by hand")
    text = path.read_text()
    assert path.with_name("bar.toml.before").read_text() == MINE
    for kept in ("# my own bar, welded in spring", "The left hose is new.", "# bare: seconds",
                 "# outlets", "# jug and scale", '"1700 pulses/gal"  # data sheet'):
        assert kept in text
    learned = tomllib.loads(text)["learned"]
    today = datetime.date.today()
    assert learned == {
        "meter": {"k_factor": "1703.44 pulses/gal", "date": today,
                  "how": "low flow catch by hand"},
        "low_flow": {"date": today, "how": "low flow catch by hand",
                     "droop": "0.07925 gal/min"}}
    assert load_machine(path).settings.meter_pulses_hl == 45000


@given(st.integers(0, 700_000))
def test_any_settings_can_be_carried_into_a_file(tmp_path_factory, seed):
    wanted, _ = build(random_settings(Random(seed)) | {"us_units": 1})
    path = tmp_path_factory.mktemp("machine") / "bar.toml"
    path.write_text(MINE.replace("sections = [3, 3]        # outlets\nspacing = 20",
                                 'section_widths = ["1 ft"]'))
    _, changed = changed_text(load_machine(path), wanted.as_dict(), "read from the board")
    assert same_machine(changed.settings, wanted)


@pytest.mark.parametrize("text", [
    'settings.rate = 80\nfitted.section_widths = ["1 m"]\nlearned.meter.k_factor = 451\n',
    'fitted = {section_widths = ["1 m"]}\nlearned = {meter = {k_factor = 450}}\n',
    '[learned.meter]\nk_factor=450\n[fitted]\nsection_widths=["1 m"]\n[learned.step_test]\n'
    'lag="0.2 s"\n[settings]\n',
    '[fitted]\nsection_widths=["1 m"]\n[learned]\nmeter.k_factor = 450 # scale\n',
    '"fitted".section_widths = ["1 m"]\r\n',
    ' [ fitted ]\n  section_widths = [ "1 m", # scale\n ]\n',
])
def test_however_the_tables_are_written(put, text):
    found = {"meter_pulses_hl": 44_000, "meter_droop_ul_s": 4000, "loop_lag_ms": 222,
             "rate_ml_ha": 70_000, "section_count": 1}
    after, changed = changed_text(load_machine(put(text)), found, "by hand")
    assert {name: getattr(changed.settings, name) for name in found} == found
    assert after.count("# scale") == text.count("# scale")


def test_what_would_not_be_sound_is_not_written(put):
    path = put(MINE)
    for found in ({"meter_pulses_hl": 0}, {"section_count": 3}):
        with pytest.raises(InputError, match="bar.toml"):
            keep(path, found, "by hand")
    assert path.read_text() == MINE
    assert not path.with_name("bar.toml.before").exists()


# The twin of a file.


def test_the_shipped_machine_is_its_kind_with_uneven_ground():
    assert spec_of(load_machine(PLOT_BAR)) == machine_spec("electric_m",
                                                           ground={"noise_m_s": 0.02})


def test_the_twin_has_what_is_fitted_and_what_its_own_table_says(put):
    spec = spec_of(load_machine(put(MINE + """
[twin.ground]
slip = "3 %"
""" .replace("[twin", '[twin]\n[twin', 1))))
    assert spec.sections.orifice_count == (3, 3)
    # what was learned goes before the data sheet; 3.785411784 L in a US gallon (NIST SP 811)
    assert spec.meter.pulses_per_m3 == pytest.approx(1710 / 3.785411784e-3, rel=1e-5)
    assert spec.ground.slip_share == 0.03


@pytest.mark.parametrize(("fitted", "settings", "twin", "hz"), [
    ("", "", "", 0),
    ('speed_source = "both"', "", "", 5),
    ('speed_source = "GNSS"', "", "", 5),
    ("", 'can_use = "ground"', "", 5),
    ("", 'position_use = "record"', "", 5),
    ('speed_source = "both"', "", '[twin.gnss]\ndelay = "0.3 s"', 5),
    ('speed_source = "both"', "", "[twin.gnss]\nhz = 10", 10),
    ('speed_source = "GNSS"', "", "[twin.gnss]\nhz = 0", 0),  # as asked: one that is broken
])
def test_the_twin_has_a_receiver_where_the_machine_uses_one(put, fitted, settings, twin, hz):
    """Else 'both' drives by the wheel alone, and nothing says so."""
    text = MINE.replace("[fitted]", f"[fitted]\n{fitted}", 1)
    assert "[settings]" in text
    text = text.replace("[settings]", f"[settings]\n{settings}", 1)
    assert spec_of(load_machine(put(f"{text}\n{twin}\n"))).gnss.hz == hz


def test_a_pump_of_two_points_is_simulated_as_it_is_said(put):
    text = MINE.replace("[learned", 'pump = "15 L/min open, 8 L/min at 2 bar"\n[learned', 1)
    pump = spec_of(load_machine(put(text))).pump
    open_m3_s, slope = electric_line(pump, 1.0, 12.0, 0.0)
    assert open_m3_s / L_MIN == pytest.approx(15)
    assert (open_m3_s - 2e5 * slope) / L_MIN == pytest.approx(8)


@pytest.mark.parametrize(("lines", "says"), [
    ('[twin]\nkind = "steam"', "twin.kind: must be one of"),
    ('[twin]\nkind = "inline_pd"', "has another actuator than fitted.actuator"),
    ('[twin.ground]\nslip = "3 bar"', "twin.ground.slip: has another unit than 3 bar"),
    ("[twin.ground]\nslipp = 3", "twin.ground.slipp: there is no such parameter; did you mean"),
    ("[twin.sections]\norifice_count = [1, 1, 1]", "2 sections are fitted, but the simulated"),
])
def test_a_twin_that_cannot_be_is_refused(put, lines, says):
    with pytest.raises(InputError, match=says):
        spec_of(load_machine(put(f"{MINE}{lines}\n")))


def test_a_valve_needs_a_kind(put):
    text = MINE.replace("[fitted]", '[fitted]\nactuator = "in-line valve"')
    with pytest.raises(InputError, match="twin.kind: is missing.*: one of inline_centrifugal, "
                                         "inline_pd$"):
        spec_of(load_machine(put(text)))
    with pytest.raises(InputError, match="actuator; one of inline_centrifugal, inline_pd has it"):
        spec_of(load_machine(put(text + '[twin]\nkind = "hydraulic"\n')))
    assert spec_of(load_machine(put(text + '[twin]\nkind = "inline_pd"\n'))).valve is not None


# The verbs.


def test_the_shipped_machine_passes_size(capsys):
    assert main(["size", str(PLOT_BAR)]) == 0
    assert capsys.readouterr().out.startswith("FITS: every rate over the whole speed range.")


def test_what_size_writes_is_taken_by_the_next_verbs(tmp_path, capsys):
    path = tmp_path / "bar.toml"
    words = ["size", "--units", "us", "--rate", "10", "--speed", "4 to 5", "--width", "144",
             "--sections", "3, 3, 3", "--outlet", "03", "--pump", "M", "--meter", "1700"]
    assert main([*words, "--out", str(path)]) in (0, 1)
    machine = load_machine(path)
    assert machine.settings.section_width_mm[:3] == [1219, 1219, 1219]  # 4 ft
    assert machine.settings.meter_pulses_hl == 44909
    assert spec_of(machine).sections.orifice_count == (3, 3, 3)
    assert main(["settings", "check", str(path)]) == 0
    assert main([*words, "--out", str(path)]) == 2  # what a person has made is not lost
    assert "is there already" in capsys.readouterr().err
    assert main(["size", str(path), "--outlet", "04", "--out", str(path)]) in (0, 1)
    assert 'outlet = "04"' in path.read_text()
    before = path.read_text()
    assert main(["size", str(path), "--units", "metric", "--rate", "90", "--out", str(path)]) == 2
    assert "needs its unit" in capsys.readouterr().err
    assert path.read_text() == before


def test_settings_commands(put, tmp_path, capsys):
    out = tmp_path / "out.toml"
    assert main(["settings", "export", "--units", "us", "--out", str(out)]) == 0
    assert 'rate = "10.6907 gal/ac"' in out.read_text()
    assert main(["settings", "check", str(out)]) == 0
    assert "1 setting differ from the defaults" in capsys.readouterr().out  # the units
    other = put(out.read_text().replace("10.6907 gal/ac", "12 gal/ac"), "other.toml")
    assert main(["settings", "diff", str(out), str(other)]) == 1
    assert "12.00 gal/ac" in capsys.readouterr().out
    assert main(["settings", "diff", str(out), str(out)]) == 0
    assert main(["settings", "export", "--out", str(out)]) == 2
    assert main(["settings", "check", str(tmp_path / "missing.toml")]) == 2


def test_differences_in_both_systems():
    old = Settings()
    new, _ = build({"meter_pulses_hl": 43200, "section_count": 2, "actuator": 1}, old)
    rows = [(one.name, one.old, one.new, one.difference) for one in differences(old, new, False)]
    assert rows == [
        ("section_count", "3", "2", "-33.3 %"),
        ("learned.meter.k_factor", "450.00 pulses/L", "432.00 pulses/L", "-4.0 %"),
        ("fitted.actuator", "PWM pump", "in-line valve", ""),
    ]
    assert differences(old, new, True)[1].new == "1635.3 pulses/gal"
    assert differences(old, old, False) == []


def test_reference_pages_are_up_to_date():
    """`make docs` writes them; every setting and its unit must be on the page."""
    made = pages()
    assert {name: (DIRECTORY / name).read_text() for name in made} == made
    page, keys = made["settings.md"], made["machine_file.md"]
    assert all(f"| `{name}`" in page and f" | {entry[MEANING]}" in page
               for name, entry in ((entry[NAME], entry) for entry in ROWS))
    assert all(f"| `{place[-1]}` |" in keys for place in HOMES.values())
