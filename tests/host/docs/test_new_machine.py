"""Set up, regulating valve, hydraulic motor, record a job: files are sound, commands run.

The entries of the menu that the pages name are those of the table of settings.
"""

from __future__ import annotations

import csv
import re
import shlex
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.machine_file.machine import load_machine
from rate_control.settings_table import GROUP, LABEL, NAME, TABLE
from rate_control.units import BYPASS_VALVE

HOW_TO = REPO_ROOT / "docs" / "how_to"
PAGES = ("set_up_a_machine", "use_a_regulating_valve", "use_a_hydraulic_motor", "record_a_job")
ENTRIES = {(entry[GROUP], entry[LABEL]): entry[NAME] for entry in TABLE if entry[GROUP]}
GROUPS = {group for group, _ in ENTRIES}
PATH = re.compile(r"\*\*(" + "|".join(sorted(GROUPS)) + r")\*\*, \*\*([^*]+)\*\*"
                  r"(?: and \*\*([^*]+)\*\*)?")


def text_of(page: str) -> str:
    return (HOW_TO / f"{page}.md").read_text(encoding="utf-8")


def commands(page: str) -> list[list[str]]:
    """The command lines of the page that need no board, as words behind `python -m host_sim`."""
    lines = [line for block in re.findall(r"^```sh\n(.*?)^```", text_of(page), re.M | re.S)
             for line in block.replace("\\\n", " ").splitlines()]
    assert all(line.startswith("python -m host_sim ") for line in lines)
    return [shlex.split(line)[3:] for line in lines]


def named_entries(page: str) -> list[tuple[str, str]]:
    """(group, label) of each entry of the menu that the page names."""
    return [(group, label) for group, *labels in PATH.findall(text_of(page))
            for label in labels if label]


@pytest.mark.parametrize("page", [page for page in PAGES if page != "use_a_regulating_valve"])
def test_the_commands_of_a_page_run(
    page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "host_sim").symlink_to(REPO_ROOT / "host_sim")
    for block in re.findall(r"^```toml\n(.*?)^```", text_of(page), re.M | re.S):
        Path("my_machine.toml").write_text(block, encoding="utf-8")
    for words in commands(page):
        assert main(words) == 0, words


def test_a_page_with_a_file_uses_it() -> None:
    assert {page for page in PAGES if commands(page)} == set(PAGES) - {"use_a_hydraulic_motor"}


def test_the_bypass_bar_learns_and_starts_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    page = "use_a_regulating_valve"
    Path("my_machine.toml").write_text(re.search(r"^```toml\n(.*?)^```", text_of(page),
                                                 re.M | re.S)[1], encoding="utf-8")
    before = load_machine(Path("my_machine.toml")).settings
    assert before.actuator == BYPASS_VALVE
    for words in commands(page):
        assert main(words) == 0
    after = load_machine(Path("my_machine.toml")).settings
    for name in ("valve_lost_ms", "valve_play_ms", "curve_share_ul_s", "loop_lag_ms"):
        assert getattr(after, name) != getattr(before, name), name
    with Path("left_shut/run.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if int(row["section_mask"])]
    flow_of = [1000 * float(row["true_flow_ml_s"]) / int(row["target_ul_s"]) for row in rows]
    second = 20  # ticks
    assert flow_of[second] == pytest.approx(3, abs=0.1)
    assert len(rows) == pytest.approx(2 * second, abs=second / 2)  # then it is switched off


@pytest.mark.parametrize("page", PAGES)
def test_the_menu_has_what_the_page_names(page: str) -> None:
    assert [entry for entry in named_entries(page) if entry not in ENTRIES] == []


def test_the_set_up_page_names_what_a_new_machine_needs() -> None:
    needed = {"section_count", "section_width_mm", "actuator", "implement_open_is_down",
              "longest_pass_m", "highest_rate_ml_ha", "valve_travel_ms"}
    assert needed <= {ENTRIES[entry] for entry in named_entries("set_up_a_machine")}
