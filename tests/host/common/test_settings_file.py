"""Settings files: exact round trip, refusals that name file, line and field, differences."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.__main__ import main
from host_sim.build.reference_pages import DIRECTORY, pages
from host_sim.common.errors import InputError
from host_sim.common.settings_file import differences, load, to_toml
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


def refusals(path, us=False):
    with pytest.raises(InputError) as refused:
        load(path, us)
    return str(refused.value).splitlines()


@given(st.integers(0, 700_000), st.booleans())
def test_export_and_import_lose_nothing(tmp_path_factory, seed, us):
    settings, problems = build(random_settings(Random(seed)))
    assert problems == []
    path = tmp_path_factory.mktemp("settings") / "all.toml"
    path.write_text(to_toml(settings, us))
    assert load(path, us).as_dict() == settings.as_dict()


def test_a_person_may_write_units(write):
    path = write('rate_ml_ha = "20 gal/ac"\nsection_width_mm = ["5 ft", "60 in", 1524, "1524 mm",'
                 ' "1.524 m", "1524", 1524, 1524]\nliquid_density_g_l = "10.65"\n')
    settings = load(write(path.read_text().replace('"1524"', '"60"')), us=True)
    assert settings.rate_ml_ha == 187079
    assert settings.section_width_mm == [1524] * 8
    assert settings.liquid_density_g_l == 1276


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
    other = write(out.read_text().replace("= 45000", "= 43200"), "other.toml")
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
