"""The recipes: every file that they name is there, and what has steps is followed to the end.

Each step of a followed recipe is applied to a copy of the tree as the page has it; then the copy's
own tests, which the recipe has added to, are run, and the new thing is seen at work.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from rate_control.faults import TABLE
from tests.repo.tree import name_of, repository_files

PAGE = REPO_ROOT / "docs" / "recipes.md"
STEP = re.compile(r"(?:In `(?P<file>[^`]+)`, (?P<where>above|below|in place of) `(?P<line>[^`]+)`|"
                  r"Make `(?P<new>[^`]+)`):\n\n```\w+\n(?P<text>.*?)```", re.DOTALL)
MADE = {"firmware/app/screens/supply.py", "firmware/app/speed_lines.py",
        "tests/shared/test_speed_lines.py"}
SUPPLY_TOO_HIGH = """\
[fitted]
sections = [3]
spacing = "0.5 m"
outlet = "03"
[settings]
rate = "150 L/ha"
[twin.supply]
open = "17 V"
"""


def recipe(name: str) -> str:
    """The section of the page with this heading."""
    found = re.search(rf"^## {name}\n(.*?)(?=^## |\Z)", PAGE.read_text("utf-8"), re.M | re.S)
    assert found, name
    return found[1]


def follow(name: str, tree: Path) -> set[str]:
    """Apply every step of a recipe to a tree; returns the files that it changed."""
    changed = set()
    free = str(2 * max(row[0] for row in TABLE))  # as the page tells to take it
    for step in STEP.finditer(recipe(name).replace("65536", free)):
        path = tree / (step["new"] or step["file"])
        changed.add(step["new"] or step["file"])
        if step["new"]:
            assert not path.exists()
            path.write_text(step["text"], encoding="utf-8")
            continue
        lines = path.read_text("utf-8").splitlines(keepends=True)
        places = [i for i, line in enumerate(lines) if line.lstrip().startswith(step["line"])]
        assert len(places) == 1, (step["file"], step["line"], places)
        first = places[0] + (step["where"] == "below")
        lines[first : first + (step["where"] == "in place of")] = [step["text"]]
        path.write_text("".join(lines), encoding="utf-8")
    return changed


def run(tree: Path, *words: str) -> str:
    """Run Python in a tree; returns what it printed. Fails where it failed."""
    done = subprocess.run([sys.executable, *words], cwd=tree, text=True, capture_output=True,
                          check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture
def tree(tmp_path):
    """A copy of the tree, without pictures and what else the recipes do not touch."""
    copy = tmp_path / "tree"
    for path in repository_files():
        target = copy / name_of(path)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    return copy


def test_a_warning_that_follows_the_recipe_is_shown(tree):
    changed = follow("A warning", tree)
    assert len(changed) == 4
    told = run(tree, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/shared/test_faults.py",
               "tests/repo/test_find_a_fault.py")
    assert " passed" in told
    (tree / "bar.toml").write_text(SUPPLY_TOO_HIGH)
    (tree / "trace.csv").write_text("time_s,speed_m_s\n0,2\n12,2\n")
    run(tree, "-m", "host_sim", "drive", "--machine", "bar.toml", "--speed-trace", "trace.csv",
        "--out", "out/high")
    assert "supply_high" in json.loads((tree / "out/high/summary.json").read_text())["warnings"]


def test_a_screen_that_follows_the_recipe_can_be_opened(tree):
    changed = follow("A screen", tree)
    assert len(changed) == 4
    told = run(tree, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/shared/test_screens.py",
               "-k", "supply or totals")
    assert " passed" in told
    run(tree, "-m", "mypy", "firmware/app/screens")
    with pytest.raises(AssertionError, match="supply"):  # without its way it is not found
        menu = tree / "firmware/app/screens/menu.py"
        menu.write_text(menu.read_text().replace('    ("supply", _supply),\n', ""))
        run(tree, "-m", "pytest", "-q", "-p", "no:cacheprovider", "tests/shared/test_screens.py",
            "-k", "supply")


def test_a_setting_that_follows_the_recipe_counts(tree):
    changed = follow("A setting", tree)
    assert len(changed) == 3
    run(tree, "-m", "host_sim.build.settings_stub")  # `make docs` makes this and every page
    for made in ("settings.md", "machine_file.md"):
        page = run(tree, "-c", "from host_sim.build.reference_pages import PAGES; "
                               f"print(PAGES['{made}']())")
        assert "the machine cannot go faster than this" in page, made
    told = run(tree, "-m", "pytest", "-q", "-p", "no:cacheprovider",
               "tests/shared/test_faults.py", "tests/shared/test_settings.py",
               "tests/repo/test_settings_listed_once.py")
    assert " passed" in told
    (tree / "bar.toml").write_text(SUPPLY_TOO_HIGH.replace(
        "[twin.supply]", 'speed_top = "6 km/h"\n[twin.supply]'))
    (tree / "trace.csv").write_text("time_s,speed_m_s\n0,2\n12,2\n")
    run(tree, "-m", "host_sim", "drive", "--machine", "bar.toml", "--speed-trace", "trace.csv",
        "--out", "out/fast")
    assert "speed_jumped" in json.loads((tree / "out/fast/summary.json").read_text())["warnings"]


def test_a_speed_source_that_follows_the_recipe_gives_the_speed(tree):
    changed = follow("A speed source", tree)
    assert len(changed) == 7
    run(tree, "-m", "host_sim.build.settings_stub")
    told = run(tree, "-m", "pytest", "-q", "-p", "no:cacheprovider",
               "tests/shared/test_speed_lines.py", "tests/shared/test_reported_speed.py",
               "tests/shared/test_settings.py", "tests/shared/test_slip.py",
               "tests/repo/test_core_rules.py")
    assert " passed" in told
    (tree / "trace.csv").write_text("time_s,speed_m_s\n0,0\n3,2\n20,2\n")
    figures = {}
    for name, sends in (("lines", 1), ("sentences", 0)):
        (tree / f"{name}.toml").write_text(SUPPLY_TOO_HIGH.replace(
            "[fitted]", '[fitted]\nspeed_source = "lines"').replace(
            '[twin.supply]\nopen = "17 V"', f"[twin.gnss]\nhz = 10\nlines = {sends}"))
        run(tree, "-m", "host_sim", "drive", "--machine", f"{name}.toml", "--speed-trace",
            "trace.csv", "--out", f"out/{name}")
        figures[name] = json.loads((tree / f"out/{name}/summary.json").read_text())
    lines = figures["lines"]
    assert lines["distance_m"] > 30.0, "it applied from the first metres on"
    assert abs(lines["controller_area_ha"] / lines["area_ha"] - 1.0) < 0.03
    assert figures["sentences"]["volume_l"] == 0, "what it does not understand is no speed"


def test_a_kind_of_machine_that_follows_the_recipe_can_be_tuned(tree):
    assert follow("A machine model", tree) == {"host_sim/plant/catalogue.py"}
    told = run(tree, "-m", "host_sim", "tune", "two_rows")
    assert told.startswith("two_rows\n") and "settling time" in told
    page = run(tree, "-c", "from host_sim.plant.reference import machines_page; "
                           "print(machines_page())")
    assert "| `two_rows` | A bar over two rows" in page


@pytest.mark.parametrize("name", ["A warning", "A setting", "A speed source", "A machine model",
                                  "A screen"])
def test_every_file_that_a_recipe_names_is_there(name):
    text = recipe(name)
    named = set(re.findall(r"`([a-z_]+/[\w./]+)`", text))
    assert len(named) >= 5
    missing = {file for file in named if not (REPO_ROOT / file).exists()} - MADE
    assert missing == set()
