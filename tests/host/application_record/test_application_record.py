"""The application record: every element, what is missing, raw data that can be checked."""

from __future__ import annotations

import csv
import re
import subprocess
from datetime import date, time
from pathlib import Path

import pytest

from host_sim.__main__ import main
from host_sim.application_record import folder
from host_sim.application_record.folder import verify
from host_sim.application_record.job import read_job
from host_sim.application_record.sheet import fill
from host_sim.application_record.work_done import work_of_run
from host_sim.common.csv_cells import safe
from host_sim.runs.files import load_run
from host_sim.twin.scenario import SCENARIO_DIR
from tests.support.drives import START, scenario_file, short_scenario
from tests.support.page import Page
from tests.support.recorded_twin import record_twin

UNTIL_2025 = 'profile = "united-states-until-2025"\n'  # the one with paragraphs to be named
JOB = UNTIL_2025 + (SCENARIO_DIR / "plot_bar_job.toml").read_text()
PESTICIDE = '[[product]]\nkind = "pesticide"\n'


@pytest.fixture(scope="module")
def run(tmp_path_factory) -> Path:
    """The directory of a short drive, 18 s at 2 m/s with 3.5 m at 80 L/ha."""
    out = tmp_path_factory.mktemp("run") / "run"
    scenario = scenario_file(tmp_path_factory.mktemp("scenario"), START)
    assert main(["drive", str(scenario), "--out", str(out)]) == 0
    return out


@pytest.fixture
def job(tmp_path) -> Path:
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    return path


@pytest.fixture(scope="module")
def made(run, tmp_path_factory) -> Path:
    """A record that nobody changes."""
    directory = tmp_path_factory.mktemp("made")
    (directory / "job.toml").write_text(JOB)
    assert make(run, directory / "job.toml", directory / "record") == 0
    return directory / "record"


def make(run, job, out, *options):
    units = () if "--units" in options else ("--units", "metric")
    return main(["application-record", str(run), "--job", str(job), "--out", str(out), *units,
                 *options])


def rows(record: Path) -> list[dict[str, str]]:
    with (record / folder.TABLE).open(newline="") as file:
        return list(csv.DictReader(file))


def sheet_of(run, text, tmp_path, us=False):
    path = tmp_path / "some_job.toml"
    path.write_text(text)
    return fill(work_of_run(load_run(run)[0]), read_job(path), us)


# What it holds.

ELEMENTS = {  # 7 CFR 110.3(a): paragraph: what it asks for, as this record calls it
    1: {"name", "registration no."},
    2: {"total of product, not mix"},
    3: {"location", "size of area treated", "crop, commodity, site"},
    4: {"date"},
    5: {"certified applicator", "certification number"},
}


def test_every_element_of_the_federal_rule_is_there(made):
    """Source: 7 CFR 110.3(a), http://edocket.access.gpo.gov/cfr_2006/janqtr/7cfr110.3.htm"""
    table = rows(made)
    for number, labels in ELEMENTS.items():
        asked = [row for row in table if f"7 CFR 110.3(a)({number})" in row["asked_for_by"]]
        assert {row["element"] for row in asked} == labels
        assert all(row["value"] for row in asked)


def test_every_element_of_a_nutrient_record_is_there(made):
    """Field, quantity of nutrient, rate, timing, type and analysis.

    Source: Agricultural Operation Record Keeping Requirements, Maryland, January 2003,
    https://studylib.net/doc/14800863/
    """
    asked = {row["element"] for row in rows(made) if "nutrient record" in row["asked_for_by"]}
    assert asked == {"location", "N", "total of product, not mix", "mean rate of mix", "date",
                     "name", "analysis, N-P2O5-K2O"}


def test_figures_are_those_of_the_controller(run, made):
    _, figures = load_run(run)
    found = {(row["group"], row["element"]): row for row in rows(made)}
    area = float(found["Where", "size of area treated"]["value"])
    volume = float(found["Liquid", "volume of mix"]["value"])
    assert area == pytest.approx(figures["controller_area_ha"], rel=1e-3)
    assert volume == pytest.approx(figures["controller_volume_l"], rel=1e-3)
    # 1.2 L in every 80 L, and 20 in every 100
    assert float(found["Product 1", "total of product, not mix"]["value"]) == pytest.approx(
        1.2 / 80 * volume, rel=2e-3)
    assert float(found["Product 2", "N"]["value"]) == pytest.approx(
        0.2 * volume * 1.28 * 0.28, rel=2e-3)
    assert sum(float(row["value"]) for row in rows(made)
               if row["element"] == "share of the volume") == pytest.approx(volume, rel=2e-3)


def test_the_page_says_it_all_and_fetches_nothing(made):
    html = (made / folder.PAGE).read_text()
    page = Page(html)
    assert page.open == []
    assert all(link.startswith(("#", "data:")) for link in page.links)
    assert "Simulation. The machine of this run was simulated. Nothing was applied" in page.text
    assert "label and the rules of the place of application prevail" in page.text
    assert "edocket.access.gpo.gov/cfr_2006/janqtr/7cfr110.3.htm" in page.text
    assert "www.ams.usda.gov/rules-regulations/pesticide-records" in page.text
    assert "within 14 days of the application, kept for 2 years" in page.text
    assert "May 4, 2026" in page.text and "08:30:0" in page.text
    assert "prefers-color-scheme" not in html
    for path in (made / folder.RAW).iterdir():
        assert folder.sha256(path) in page.text


def test_us_customary_units(run, job, tmp_path):
    assert make(run, job, tmp_path / "us", "--units", "us") == 0
    found = {(row["group"], row["element"]): row for row in rows(tmp_path / "us")}
    area = found["Where", "size of area treated"]
    assert area["unit"] == "ac"
    # 1 ac = 0.40468564224 ha
    assert float(area["in_brackets"].removesuffix(" ha")) == pytest.approx(
        float(area["value"]) * 0.40468564224, rel=1e-3)
    assert found["Product 2", "N"]["unit"] == "lb"
    assert found["Product 1", "total of product, not mix"]["unit"] == "L"  # as on the label


def test_what_is_missing_is_said_plainly(run, tmp_path, capsys):
    job = tmp_path / "job.toml"
    job.write_text(UNTIL_2025 + PESTICIDE + 'name = "Placeholder"\n[place]\nsite = " "\n')
    assert make(run, job, tmp_path / "record") == 0
    printed = capsys.readouterr()
    gaps = ("date (who and when)", "location (where)", "crop, commodity, site (where)",
            "certified applicator (who and when)", "certification number (who and when)",
            "registration no. (product 1)", "total of product, not mix (product 1)")
    assert set(printed.err.splitlines()) == {f"missing: {gap}" for gap in gaps} | {
        "NOT COMPARED: Placeholder: its total is missing, so its dose is not known"}
    text = Page((tmp_path / "record" / folder.PAGE).read_text()).text
    assert "Not complete. Missing: " in text
    assert all(gap in text for gap in gaps)
    assert all(row["value"] == "" for row in rows(tmp_path / "record")
               if row["element"] == "certified applicator")


def test_nothing_is_asked_for_where_no_rule_does(run, tmp_path):
    water = '[[product]]\nkind = "other"\nname = "water"\nundiluted = true\n'
    sheet = sheet_of(run, water, tmp_path)
    assert sheet.missing == [] and sheet.marks == []


def test_a_fertilizer_without_analysis_or_density_is_not_complete(run, tmp_path):
    text = UNTIL_2025 + '[[product]]\nkind = "fertilizer"\nname = "x"\nper_mix = "20 L/100 L"\n'
    missing = sheet_of(run, text, tmp_path).missing
    assert "analysis, N-P2O5-K2O (product 1)" in missing
    for more in ('analysis = "28-0-0"\n', 'density = "1.28 kg/L"\n'):
        assert "quantity of nutrients (product 1)" in sheet_of(run, text + more, tmp_path).missing
    both = text + 'analysis = "28-0-0"\ndensity = "1.28 kg/L"\n'
    assert sheet_of(run, both, tmp_path).missing == ["date (who and when)", "location (where)"]


def test_text_of_a_person_cannot_break_the_page(run, job, tmp_path):
    job.write_text(JOB.replace("soybean", "<script>alert(1)</script>"))
    assert make(run, job, tmp_path / "record") == 0
    html = (tmp_path / "record" / folder.PAGE).read_text()
    assert "<script" not in html and "&lt;script&gt;" in html


# A recording of a board.


@pytest.fixture(scope="module")
def recording(tmp_path_factory) -> Path:
    directory = tmp_path_factory.mktemp("recording")
    path = directory / "field.rec"
    record_twin(path, short_scenario(directory, START))
    return path


def test_a_recording_is_kept_as_it_is(recording, job, tmp_path):
    record = tmp_path / "record"
    assert make(recording, job, record) == 0
    assert (record / folder.RAW / "field.rec").read_bytes() == recording.read_bytes()
    assert verify(record) == []


def test_a_recording_has_its_own_clock(recording, tmp_path):
    other = '[[product]]\nkind = "other"\n'
    sheet = sheet_of(recording, UNTIL_2025 + other, tmp_path)
    entries = {entry.label: entry for entry in sheet.entries}
    assert entries["date"].value == "May 4, 2026 (UTC)"
    assert re.fullmatch(r"12:00:0\d to 12:00:\d\d UTC", entries["time"].value)
    wrong = sheet_of(recording, "[time]\ndate = 2026-05-01\n" + other, tmp_path)
    assert len(wrong.remarks) == 1 and "one of them is wrong" in wrong.remarks[0]
    next_day = sheet_of(recording, "[time]\ndate = 2026-05-05\n" + other, tmp_path)
    assert next_day.remarks == []  # may be so, east of Greenwich


def test_a_twin_behind_a_link_is_a_simulation_too(recording, tmp_path):
    assert sheet_of(recording, '[[product]]\nkind = "other"\n', tmp_path).simulated


def test_a_board_is_none(recording, tmp_path):
    """The same recording, as if a real board had answered."""
    run, _ = load_run(recording)
    run.about["simulated"] = False
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    assert not fill(work_of_run(run), read_job(path), us=False).simulated


def test_a_recording_that_breaks_off_is_remarked_on(recording, tmp_path):
    cut = tmp_path / "cut.rec"
    cut.write_bytes(recording.read_bytes()[:-3000])
    assert "breaks off" in sheet_of(cut, JOB, tmp_path).remarks[0]


# Checksums.


def test_a_whole_record_verifies(made, capsys):
    assert main(["application-record", "--verify", str(made)]) == 0
    assert "every file is as it was" in capsys.readouterr().out


def test_the_checksums_are_those_of_a_well_known_tool(made):
    done = subprocess.run(["sha256sum", "--check", "--strict", folder.SUMS], cwd=made,
                          capture_output=True, text=True, check=False)
    assert done.returncode == 0 and done.stdout.count(": OK") == 5


@pytest.fixture
def spoilt(run, job, tmp_path) -> Path:
    assert make(run, job, tmp_path / "spoilt") == 0
    return tmp_path / "spoilt"


@pytest.mark.parametrize("name", [
    "application_record.html", "application_record.csv", "raw/run.csv", "raw/summary.json",
    "raw/job.toml"])
def test_one_changed_bit_is_found(spoilt, name, capsys):
    path = spoilt / name
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
    capsys.readouterr()
    assert main(["application-record", "--verify", str(spoilt)]) == 1
    assert capsys.readouterr().out == f"{path}: was changed after the record was made\n"


def test_a_file_that_went_or_came_is_found(spoilt):
    (spoilt / "raw/run.csv").unlink()
    (spoilt / "raw/more.csv").write_text("")
    assert verify(spoilt) == [f"{spoilt / 'raw/run.csv'}: is missing",
                              f"{spoilt / 'raw/more.csv'}: does not belong to the record"]


@pytest.mark.parametrize(("sums", "says"), [
    (None, "cannot be read"),
    ("", ":1: holds no checksum"),
    ("nonsense\n", ":1: is no checksum"),
    ("0" * 64 + "  ../outside\n", ":1: is no checksum of a file in this folder"),
    ("0" * 64 + "  /etc/hostname\n", ":1: is no checksum of a file in this folder"),
])
def test_a_folder_that_is_no_record(tmp_path, sums, says, capsys):
    if sums is not None:
        (tmp_path / folder.SUMS).write_text(sums)
    assert main(["application-record", "--verify", str(tmp_path)]) == 2
    assert says in capsys.readouterr().err


def test_a_record_is_never_overwritten(made, run, job, capsys):
    before = {path: path.read_bytes() for path in made.rglob("*") if path.is_file()}
    assert make(run, job, made) == 2
    assert "a record is not overwritten" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in made.rglob("*") if path.is_file()} == before


# The job file.


def test_the_job_of_the_demonstration_reads(job):
    read = read_job(job)
    assert (read.day, read.start) == (date(2026, 5, 4), time(8, 30))
    assert [product.kind for product in read.products] == ["pesticide", "fertilizer"]
    assert read.weather == {"wind": "2 m/s from the south-west", "temperature": "16 C"}


@pytest.mark.parametrize(("text", "says"), [
    ("", "bad.toml:1: product: needs at least one [[product]]"),
    ("[applicator]\nnam = 'x'\n" + PESTICIDE, "bad.toml:2: applicator.nam: there is no such key"),
    ("[applicator]\nname = 1\n" + PESTICIDE, "bad.toml:2: applicator.name: must be a text"),
    ("[time]\ndate = '2026-05-04'\n" + PESTICIDE, "bad.toml:2: time.date: must be a date"),
    ("[time]\ndate = 2026-05-04T08:00:00\n" + PESTICIDE, "bad.toml:2: time.date: must be a date"),
    ("[time]\nstart = 8\n" + PESTICIDE, "bad.toml:2: time.start: must be a time of day"),
    ("[[product]]\nname = 'x'\n", "bad.toml:1: product 1.kind: is missing; one of pesticide"),
    ("[[product]]\nkind = 'x'\n", "bad.toml:2: product 1.kind: must be pesticide or"),
    (PESTICIDE + "per_area = '1.2 L'\n", "bad.toml:3: product 1.per_area: '1.2 L' must be one"),
    (PESTICIDE + "per_area = '1.2 L/L'\n", "per_area: must be volume or mass for area, as in"),
    (PESTICIDE + "per_mix = '1.2 L/ha'\n", "per_mix: must be volume or mass for volume"),
    (PESTICIDE + "density = '1 L/kg'\n", "density: must be mass for volume"),
    (PESTICIDE + "total = '3 ha'\n", "total: '3 ha' is no amount of a product"),
    (PESTICIDE + "total = '3 oz'\n", "total: 'oz' can be a volume or a weight"),
    (PESTICIDE + "undiluted = 'yes'\n", "undiluted: must be true or false"),
    (PESTICIDE + "total = '3 L'\nundiluted = true\n", "undiluted: says how much once more"),
    (PESTICIDE + "mixed_for = '80 L/ha'\n", "mixed_for: goes together with per_area"),
    (PESTICIDE + "analysis = '28-0'\n", "analysis: must be N-P2O5-K2O in percent"),
    (PESTICIDE + "analysis = '60-30-20'\n", "analysis: must be N-P2O5-K2O in percent"),
    ("product = 3\n", "bad.toml:1: product: needs at least one"),
    ("x = [\n", "bad.toml:"),
])
def test_a_bad_job_file_names_file_line_and_field(text, says, run, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("bad.toml").write_text(text)
    assert make(run, "bad.toml", "record") == 2
    printed = capsys.readouterr()
    assert says in printed.err and printed.out == ""
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.toml"]


def test_all_that_is_wrong_is_said_at_once(run, tmp_path, capsys):
    path = tmp_path / "bad.toml"
    path.write_text("[place]\nlocatio = 'x'\n[[product]]\nkind = 'x'\ntotal = '3'\n")
    assert make(run, path, tmp_path / "record") == 2
    assert len(capsys.readouterr().err.splitlines()) == 3


@pytest.mark.parametrize(("arguments", "says"), [
    ([], "RUN is missing"),
    (["run"], "--job is missing"),
    (["run", "--job", "job.toml"], "--out is missing"),
    (["run", "--verify", "x"], "--verify goes alone"),
    (["none", "--job", "job.toml", "--out", "x"], "none: cannot be read: No such file"),
    (["run", "--job", "none.toml", "--out", "x"], "none.toml: cannot be read"),
    (["run", "--job", "job.toml", "--out", "job.toml/x"], "job.toml: is in the way"),
    (["empty", "--job", "job.toml", "--out", "x"], "empty/run.csv: cannot be read: No such file"),
    (["torn", "--job", "job.toml", "--out", "x"], "torn/summary.json: about: is missing"),
])
def test_bad_input_is_refused_and_nothing_is_written(
    arguments, says, job, run, tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    Path("run").symlink_to(run)
    Path("empty").mkdir()
    Path("torn").mkdir()
    Path("torn/run.csv").write_text("")
    Path("torn/summary.json").write_text("{}")
    before = sorted(tmp_path.rglob("*"))
    assert main(["application-record", *arguments]) == 2
    printed = capsys.readouterr()
    assert says in printed.err and len(printed.err.splitlines()) == 1
    assert printed.out == ""
    assert sorted(tmp_path.rglob("*")) == before


# The page that describes it.


def test_every_key_of_a_job_file_is_described():
    from host_sim import REPO_ROOT

    page = (REPO_ROOT / "docs/how_to/keep_records.md").read_text()
    source = (REPO_ROOT / "host_sim/application_record/job.py").read_text()
    keys = set(re.findall(r'(?:_text|_value|_ratio|flag|choice)\(\w+, "(\w+)"', source))
    assert {"certification_number", "mixed_for", "density"} <= keys
    assert [key for key in keys if f"`{key}`" not in page] == []


# Doses against their limits.


def doses(run, tmp_path, product):
    sheet = sheet_of(run, PESTICIDE + 'name = "P"\n' + product, tmp_path)
    return [(verdict.word, verdict.numbers) for verdict in sheet.doses]


def test_a_dose_far_above_the_stated_one_is_at_the_top(run, tmp_path, capsys):
    """The short drive asks for 80 L/ha; a mix that was made for 52 puts 1.54 of it on."""
    job = tmp_path / "job.toml"
    job.write_text(JOB.replace('mixed_for = "80 L/ha"', 'mixed_for = "52 L/ha"'))
    assert make(run, job, tmp_path / "record") == 0
    told = capsys.readouterr().err.splitlines()[0]
    assert re.match(r"LIMIT CROSSED: Placeholder Herbicide: 1\.\d+ L/ha used, 1\.2 L/ha stated, "
                    r"\d\d(\.\d+)? % above; the limit is 5 %$", told), told
    page = (tmp_path / "record" / folder.PAGE).read_text()
    bold = page.index("<strong>LIMIT CROSSED: Placeholder Herbicide: ")
    assert page.index("<h1>") < bold < page.index("<h2>")
    first = rows(tmp_path / "record")[0]
    assert (first["group"], first["element"]) == ("Dose", "LIMIT CROSSED")
    assert told.endswith(first["value"])


def test_a_dose_within_its_limits_is_told_with_its_numbers(run, tmp_path):
    [(word, numbers)] = doses(run, tmp_path, 'per_area = "1.2 L/ha"\nmixed_for = "80 L/ha"')
    assert word == "within limits"
    assert re.match(r"P: 1\.\d+ L/ha used, 1\.2 L/ha stated, .* within the limit of 5 %$", numbers)


@pytest.mark.parametrize(("product", "says"), [
    ('total = "1 mL"\nstated = "1.2 L/ha"', "LIMIT CROSSED: .* % short; the limit is 5 %"),
    ('stated = "1.2 L/ha"', "NOT COMPARED: P: its total is missing"),
    ('per_mix = "1 L/100 L"', "NOT COMPARED: P: .* L/ha used; the job file states no dose"),
    ('total = "1 g"\nstated = "1.2 L/ha"', "NOT COMPARED: .* mass and volume"),
    ('per_mix = "1 L/100 L"\nat_most = "0.5 L/ha"', "LIMIT CROSSED: .* more than the 0.5 L/ha"),
    ('per_mix = "1 L/100 L"\nat_most = "2 L/ha"', "within limits: .* no more than the 2 L/ha"),
    ('per_mix = "1 kg/100 L"\ndensity = "1 kg/L"\nstated = "0.8 L/ha"', "within limits: "),
])
def test_every_way_to_be_off_is_told(run, tmp_path, product, says):
    [(word, numbers)] = doses(run, tmp_path, product)
    assert re.match(says, f"{word}: {numbers}"), (word, numbers)


def test_a_run_that_covered_no_ground_has_no_dose(run, tmp_path):
    record, _ = load_run(run)
    record.about.update(controller_area_ha=0.0)
    path = tmp_path / "job.toml"
    path.write_text(JOB)
    record["state"][:] = 0
    doses = fill(work_of_run(record), read_job(path), False).doses
    assert {verdict.word for verdict in doses} == {
        "NOT COMPARED"}


# Cells that a spreadsheet could take for formulas.


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\\t", "\\r"])
def test_no_cell_is_a_formula(run, tmp_path, start):
    job = tmp_path / "job.toml"
    text = start + 'HYPERLINK(\\"http://example.org\\";\\"x\\")'
    job.write_text(JOB.replace('placement = "broadcast, bar 0.5 m above the ground"',
                               f'placement = "{text}"'))
    assert make(run, job, tmp_path / "record") == 0
    for row in rows(tmp_path / "record"):
        for cell in row.values():
            formula = cell.startswith(("=", "+", "-", "@", "\t", "\r"))
            assert not formula or re.fullmatch(r"[+-]\d+\.\d+", cell), cell  # a number is none
    [kept] = [row["value"] for row in rows(tmp_path / "record") if row["element"] == "placement"]
    assert "HYPERLINK" in kept


def test_numbers_stay_numbers(made):
    values = {row["element"]: row["value"] for row in rows(made)}
    assert float(values["size of area treated"]) > 0
    assert [safe(cell) for cell in ("-3.5", "+7", "12", "-cmd", " =1")] == [
        "-3.5", "+7", "12", "'-cmd", "' =1"]


def test_what_lies_beside_a_record_is_left_alone(run, job, tmp_path):
    beside = tmp_path / "record.part"
    beside.mkdir()
    (beside / "precious").write_text("x")
    assert make(run, job, tmp_path / "record") == 0
    assert (beside / "precious").read_text() == "x"
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "job.toml", "record", "record.part"]


def test_a_job_file_with_the_name_of_a_part_of_the_run_is_refused(run, tmp_path, capsys):
    job = tmp_path / "summary.json"
    job.write_text(JOB)
    assert make(run, job, tmp_path / "record") == 2
    assert "has the name of a file of the run" in capsys.readouterr().err
    assert not (tmp_path / "record").exists()
