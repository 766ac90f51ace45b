"""Settings files: exact round trip, refusals that name file, line and field, differences."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.__main__ import main
from host_sim.build.reference_pages import DIRECTORY, pages
from host_sim.common.errors import InputError
from host_sim.common.settings_file import differences, load, to_toml, with_changes
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.settings import Settings, build
from rate_control.settings_words import WORDS
from tests.vm.random_machine import Random, random_settings


@pytest.fixture
def write(tmp_path):
    def write(text, name="machine.toml"):
        path = tmp_path / name
        path.write_text(text)
        return path

    return write


def refusals(path):
    with pytest.raises(InputError) as refused:
        load(path)
    return str(refused.value).splitlines()


@given(st.integers(0, 700_000), st.booleans())
def test_export_and_import_lose_nothing(tmp_path_factory, seed, us):
    settings, problems = build(random_settings(Random(seed)))
    assert problems == []
    path = tmp_path_factory.mktemp("settings") / "all.toml"
    path.write_text(to_toml(settings, us))
    assert load(path).as_dict() == settings.as_dict()


def test_a_person_may_write_units(write):
    path = write('rate_ml_ha = "20 gal/ac"\nsection_width_mm = ["5 ft", "60 in", 1524, "1524 mm",'
                 ' "1.524 m", "1524", 1524, 1524]\nliquid_density_g_l = "10.65 lb/gal"\n')
    settings = load(path)
    assert settings.rate_ml_ha == 187079
    assert settings.section_width_mm == [1524] * 8
    assert settings.liquid_density_g_l == 1276


def read_by(way, name, text, write):
    """The settings where `name` is given as `text`, by one of three ways."""
    if way == "option":
        return with_changes(Settings(), [f"{name}={text}"])
    line = f"{name} = {text}\n" if text.isdigit() else f'{name} = "{text}"\n'
    if way == "file":
        return load(write(line))
    demo = re.sub(rf"^{name} = .*\n", "", DEMO.read_text(encoding="utf-8"), flags=re.M)
    demo = demo.replace("../data", str(DEMO.parents[1] / "data"))
    return load_scenario(write(demo.replace("[controller]\n", "[controller]\n" + line))).settings


@pytest.mark.parametrize("way", ["option", "file", "scenario"])
@pytest.mark.parametrize(("name", "text", "value"), [
    ("meter_pulses_hl", "6000", 6000),  # the unit of the name: pulses in 100 L
    ("meter_pulses_hl", "60 pulses/L", 6000),
    ("meter_pulses_hl", "1700 pulses/gal", 44909),
    ("speed_pulses_km", "39.624 pulses/ft", 130000),
    ("rate_ml_ha", "187079", 187079),
    ("rate_ml_ha", "20 gal/ac", 187079),
])
def test_a_setting_means_the_same_wherever_it_is_given(way, name, text, value, write):
    assert getattr(read_by(way, name, text, write), name) == value


@pytest.mark.parametrize("way", ["option", "file", "scenario"])
@pytest.mark.parametrize(("name", "text", "words"), [
    ("meter_pulses_hl", "60", "must be 500 to 2000000 pulses/100 L, is 60"),
    ("meter_pulses_hl", "1 pulses/L", "must be 5 to 20000 pulses/L, is 1 pulses/L"),
    ("rate_ml_ha", "2000 gal/ac", "must be 0.106907 to 534.533 gal/ac, is 2000 gal/ac"),
    ("rate_ml_ha", "20.5", "'20.5': must be a whole number of mL/ha, or a number with its unit"),
])
def test_a_refusal_speaks_the_unit_that_was_typed(way, name, text, words, write):
    with pytest.raises(InputError) as refused:
        read_by(way, name, text, write)
    assert str(refused.value).endswith(f"{name}: {words}")


def test_constants_are_written_for_one_litre_and_one_metre(write):
    text = to_toml(Settings(), us=False)
    assert 'meter_pulses_hl = "450.00 pulses/L"\n' in text
    assert 'speed_pulses_km = "130.000 pulses/m"\n' in text


def test_every_problem_names_file_line_and_field(write):
    path = write('section_count = 2\nrate_ml_ha = "20 furlongs"\nmeter_pulses_hl = 0\n'
                 "\ncolour = 3\nsection_width_mm = [1000]\n")
    assert sorted(refusals(path)) == [
        f"{path}:2: rate_ml_ha: unit 'furlongs' is none of L/ha, gal/ac",
        f"{path}:3: meter_pulses_hl: must be 500 to 2000000 pulses/100 L, is 0",
        f"{path}:5: colour: there is no such key here",
        f"{path}:6: section_width_mm: must have 8 numbers, has 1",
    ]
    assert refusals(write("rate_ml_ha = = 5\n"))[0].startswith(f"{path}:1: ")


def test_differences_in_both_systems():
    old = Settings()
    new, _ = build({"meter_pulses_hl": 43200, "section_count": 2}, old)
    rows = [(row.name, row.old, row.new, row.difference) for row in differences(old, new, False)]
    assert rows == [
        ("section_count", "3", "2", "-33.3 %"),
        ("meter_pulses_hl", "450.00 pulses/L", "432.00 pulses/L", "-4.0 %"),
    ]
    assert differences(old, new, True)[1].new == "1635.3 pulses/gal"
    assert differences(old, old, False) == []


def test_commands(write, tmp_path, capsys):
    out = tmp_path / "out.toml"
    assert main(["settings", "export", "--units", "us", "--out", str(out)]) == 0
    assert "# 10.69 gal/ac" in out.read_text()
    assert main(["settings", "import-check", str(out)]) == 0
    assert "0 settings differ from the defaults" in capsys.readouterr().out
    other = write(out.read_text().replace("450.00 pulses/L", "432.00 pulses/L"), "other.toml")
    assert main(["settings", "diff", str(out), str(other)]) == 1
    assert "432.00 pulses/L" in capsys.readouterr().out
    assert main(["settings", "diff", str(out), str(out)]) == 0
    again = tmp_path / "again.toml"
    assert main(["settings", "export", "--from", str(other), "--out", str(again)]) == 0
    assert load(again).meter_pulses_hl == 43200


def test_bad_input_writes_nothing(write, tmp_path, capsys):
    bad = write("rate_ml_ha = 0\n")
    out = tmp_path / "out.toml"
    assert main(["settings", "export", "--from", str(bad), "--out", str(out)]) == 2
    assert not out.exists()
    assert f"{bad}:1: rate_ml_ha: must be" in capsys.readouterr().err
    assert main(["settings", "import-check", str(tmp_path / "missing.toml")]) == 2


def test_reference_pages_are_up_to_date():
    """`make docs` writes them; every setting and its unit must be on the page."""
    assert {name: (DIRECTORY / name).read_text() for name in pages()} == pages()
    page = pages()["settings.md"]
    assert all(f"| `{name}` | {meaning}" in page for name, (meaning, _) in WORDS.items())
