"""Profiles of records: what each asks for, its units and dates, and its entries."""

from __future__ import annotations

import tomllib
from datetime import date

import numpy as np
import pytest

from host_sim.__main__ import main
from host_sim.application_record.job import KINDS, read_job
from host_sim.application_record.profiles import (
    ELEMENTS,
    FOLDER,
    PLAIN,
    Profile,
    Rule,
    load_profile,
    profile_names,
)
from host_sim.application_record.sheet import fill
from host_sim.application_record.work_done import work_of_run
from tests.support.drives import made_up_record

PRODUCT = '[[product]]\nkind = "pesticide"\nname = "P"\nregistration_number = "0-0"\n' \
          'total = "1 L"\nstated = "1 L/ha"\n'
FULL = ('[applicator]\nname = "A"\ncertification_number = "C"\nmade_for = "B, Some Street 1"\n'
        '[place]\nlocation = "F7"\nsite = "soybean"\n[time]\ndate = 2026-05-04\nstart = 08:30:00\n')


@pytest.fixture
def record():
    made = made_up_record(np.full(200, 2.0), np.full(200, 40.0))
    made.about |= {"settings": {"meter_pulses_hl": 45_000, "speed_pulses_km": 130_000},
                   "versions": {"x": "1"}, "machine": {"kind": "made up"}, "measured": True}
    return made


@pytest.fixture
def sheet(record, tmp_path):
    """Makes the sheet of a job file's text."""
    def make(text, us=False):
        path = tmp_path / "job.toml"
        path.write_text(text)
        return fill(work_of_run(record), read_job(path), us)

    return make


@pytest.mark.parametrize("name", profile_names())
def test_a_profile_asks_for_what_there_can_be(name):
    data = tomllib.loads((FOLDER / f"{name}.toml").read_text())
    for rule in data["rule"]:
        assert set(rule.get("asks", [])) | set(rule.get("paragraphs", {})) <= set(ELEMENTS)
        assert set(rule["kinds"]) <= set(KINDS)
    profile = load_profile(name)
    assert all(profile.mark(asked) for element in ELEMENTS
               for asked in profile.asks(element, KINDS))


def test_every_element_has_its_entry(record, tmp_path, monkeypatch):
    """A profile that asks for everything misses nothing of a full job file, and all of an empty."""
    everything = Profile("all", "all", None, True, None, (
        Rule("all", KINDS, dict.fromkeys(ELEMENTS, "X"), "", ()),))
    monkeypatch.setattr("host_sim.application_record.sheet.load_profile", lambda _: everything)
    path = tmp_path / "job.toml"
    path.write_text(
        FULL.replace('site = "soybean"', 'site = "soybean"\nplacement = "band"')
        + '[weather]\nwind = "2 m/s"\ntemperature = "16 C"\nhumidity = "60 %"\nsky = "clear"\n'
        '[trial]\nname = "N rates"\nblock = "2"\nplot = "203"\n[equipment]\noutlet = "03"\n'
        'pressure = "2 bar"\ntank_loads = ["200 L", "50 gal"]\n'
        + PRODUCT.replace("pesticide", "fertilizer")
        + 'analysis = "28-0-0"\ndensity = "1.28 kg/L"\n')
    full = fill(work_of_run(record), read_job(path), False)
    assert full.missing == []
    path.write_text('[[product]]\nkind = "fertilizer"\n')
    assert len(fill(work_of_run(record), read_job(path), False).missing) == len(ELEMENTS) - len(
        {"area", "rate", "time"})  # the controller counts those


def test_the_plain_profile_is_the_usual_one_and_no_law(sheet):
    made = sheet(PRODUCT)
    assert made.profile.name == PLAIN
    assert made.missing == ["date (who and when)", "certified applicator (who and when)",
                            "location (where)"]
    assert made.marks == ["plain record"]
    assert [entry.text for entry in sheet(FULL + PRODUCT).entries if entry.label == "date"] == [
        "2026-05-04"]


def test_the_united_states_ask_for_what_the_agency_lists(sheet):
    """EPA, "Applicator Recordkeeping Requirements under the EPA Plan": for whom with the address,
    location, size, crop or site, date and time, product, registration number, total, applicator.
    """
    text = 'profile = "united-states"\n'
    asked = {entry.label for entry in sheet(text + FULL + PRODUCT).entries if entry.rules}
    assert asked == {"date", "time", "made for", "location", "crop, commodity, site",
                     "size of area treated", "name", "registration no.",
                     "total of product, not mix", "certified applicator", "certification number"}
    assert sheet(text + FULL + PRODUCT).missing == []
    assert "made for (who and when)" in sheet(text + PRODUCT).missing
    dates = [entry.text for entry in sheet(text + FULL + PRODUCT).entries if entry.label == "date"]
    assert dates == ["May 4, 2026"]
    assert load_profile("united-states").us


def test_a_rule_that_was_withdrawn_says_so(sheet):
    text = 'profile = "united-states-until-2025"\n' + FULL + PRODUCT
    assert ["held until July 10, 2025" in remark for remark in sheet(text).remarks] == [True]
    assert sheet(text.replace("2026-05-04", "2025-05-04")).remarks == []
    assert load_profile("united-states-until-2025").until == date(2025, 7, 10)


def test_tank_loads_and_pressure_are_told_in_both_units(sheet):
    text = ('[equipment]\npressure = "30 psi"\ntank_loads = ["200 L", "120 L"]\n' + FULL + PRODUCT)
    entries = {entry.label: entry.text for entry in sheet(text).entries}
    assert entries["tank loads"].startswith("320 L (200 L + 120 L; 84.5")
    assert entries["pressure"] == "2.068 bar (30 psi)"


@pytest.mark.parametrize(("text", "words"), [
    ('profile = "atlantis"\n', "profile: must be plain or united-states"),
    ('[equipment]\npressure = "2"\n', "equipment.pressure: '2' needs its unit"),
    ('[equipment]\ntank_loads = ["2 kg"]\n', "equipment.tank_loads: '2 kg' is no volume"),
    ('[equipment]\ntank_loads = 3\n', "equipment.tank_loads: must be a list"),
    ('[trial]\nplots = "2"\n', "trial.plots: there is no such key here; did you mean plot?"),
])
def test_a_bad_key_is_refused(tmp_path, capsys, text, words):
    (tmp_path / "job.toml").write_text(text + PRODUCT)
    (tmp_path / "run").mkdir()
    assert main(["application-record", str(tmp_path / "run"), "--job", str(tmp_path / "job.toml"),
                 "--out", str(tmp_path / "out")]) == 2
    assert words in capsys.readouterr().err
