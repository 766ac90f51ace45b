"""The version stands once; CITATION.cff and the issue forms are what their readers can read.

Sources: for the keys of CITATION.cff the schema of the Citation File Format 1.2.0
(citation-file-format.github.io/1.2.0/schema.json, with which the file agreed when it was written);
for the forms the documentation of GitHub, "Syntax for GitHub's form schema".
"""

import re
import tomllib
from datetime import date

import pytest
import yaml

from app.version import VERSION
from host_sim.build.release import changelog_warning
from tests.repo.tree import ROOT, name_of, repository_files

CFF_REQUIRED = {"authors", "cff-version", "message", "title"}
CFF_OPTIONAL = {
    "abstract", "commit", "contact", "date-released", "doi", "identifiers", "keywords", "license",
    "license-url", "preferred-citation", "references", "repository", "repository-artifact",
    "repository-code", "type", "url", "version"}
FORMS = sorted((ROOT / ".github/ISSUE_TEMPLATE").glob("*.yml"))
FORM_KEYS = {"name", "description", "body", "assignees", "labels", "projects", "title", "type"}
ATTRIBUTES = {"markdown": {"value"}, "input": {"label"}, "textarea": {"label"},
              "checkboxes": {"label", "options"}}
ASKED = {"version", "board", "machine", "recording"}
LITERAL = re.compile(r"""^(?:__version__|version) *= *["']\d+\.\d+""", re.MULTILINE | re.IGNORECASE)


def citation():
    """What CITATION.cff says; dates and versions stay text."""
    return yaml.load((ROOT / "CITATION.cff").read_text(encoding="utf-8"), yaml.BaseLoader)


def test_the_version_is_set_in_one_place():
    setting = [name_of(path) for path in repository_files()
               if path.suffix in {".py", ".toml", ".cfg"}
               and path.parts[len(ROOT.parts)] not in {"tests", "hardware"}
               and LITERAL.search(path.read_text(encoding="utf-8"))]
    assert setting == ["firmware/app/version.py"]
    about = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert about["project"]["dynamic"] == ["version"]
    assert about["tool"]["hatch"]["version"] == {"path": "firmware/app/version.py"}
    assert re.fullmatch(r"(0|[1-9]\d*)(\.(0|[1-9]\d*)){2}(-[0-9A-Za-z.-]+)?", VERSION)


def test_the_citation_has_the_keys_of_its_format_and_the_version():
    said = citation()
    assert CFF_REQUIRED <= set(said) <= CFF_REQUIRED | CFF_OPTIONAL
    assert said["cff-version"] == "1.2.0"
    assert said["type"] == "software"
    assert said["version"] == VERSION
    about = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert said["license"] == about["project"]["license"]


def test_the_changelog_has_the_version_with_the_day_of_the_citation():
    heading, = re.findall(rf"^## {re.escape(VERSION)} \((.+)\)$",
                          (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert heading == citation()["date-released"] == str(date.fromisoformat(heading))
    assert changelog_warning() == ""


def test_the_citation_names_the_project_and_no_person():
    """An entity of the format has a name; a person has family and given names instead."""
    assert [set(author) for author in citation()["authors"]] == [{"name"}]


def test_there_is_a_form_for_each_kind_of_report_and_no_blank_one():
    assert [path.stem for path in FORMS] == [
        "config", "fault_at_the_machine", "idea", "wrong_figure"]
    chooser = yaml.safe_load((FORMS[0]).read_text(encoding="utf-8"))
    assert chooser == {"blank_issues_enabled": False}


@pytest.mark.parametrize("path", FORMS[1:], ids=lambda path: path.stem)
def test_a_form_is_valid_cautions_and_asks_for_what_repeats_it(path):
    form = yaml.safe_load(path.read_text(encoding="utf-8"))
    assert {"name", "description", "body"} <= set(form) <= FORM_KEYS
    for part in form["body"]:
        assert set(part) <= {"type", "id", "attributes", "validations"}
        assert ATTRIBUTES[part["type"]] <= set(part["attributes"])
        assert all(isinstance(part["attributes"].get(key, ""), str)
                   for key in ("label", "description", "value", "placeholder"))
    ids = [part["id"] for part in form["body"] if part["type"] != "markdown"]
    assert len(ids) == len(set(ids))
    assert set(ids) >= ASKED
    first = form["body"][0]
    assert first["type"] == "markdown"
    assert first["attributes"]["value"].startswith("**Caution.**")
    assert "product label, local law" in first["attributes"]["value"]
    assert "security hole" in first["attributes"]["value"]


def test_pages_for_contributors_lead_on():
    """CONTRIBUTING.md points to the one place of each rule; SECURITY.md says what is in scope."""
    text = (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")
    for target in ("DEVELOPERS.md", "docs/recipes.md", "SECURITY.md", "CODE_OF_CONDUCT.md"):
        assert f"]({target})" in text
    scope = (ROOT / "SECURITY.md").read_text(encoding="utf-8")
    assert "private advisory form of the repository" in scope
    for part in ("the link", "the panel", "the update of the firmware"):
        assert f"| {part}" in scope
    assert "**Safety.**" in scope
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert "](docs/how_to/make_a_release.md)" in developers
