"""`pip install .`: the command works in any folder, without the checkout that it was made from."""

from __future__ import annotations

from pathlib import Path

from host_sim import REPO_ROOT
from host_sim.__main__ import COMMAND
from tests.support.installed import command


def test_what_the_demonstration_needs_comes_along(site: Path) -> None:
    """That the command drives in any folder, tests/host/docs/test_field_day.py shows."""
    for name in ("host_sim/scenarios/plot_bar.toml", "host_sim/scenarios/plot_bar.machine.toml",
                 "host_sim/data/combine-log-1hz.csv"):
        assert (site / name).read_bytes() == (REPO_ROOT / name).read_bytes()


def test_every_verb_has_help_that_names_the_command(site: Path, tmp_path: Path) -> None:
    verbs = [path.stem.replace("_", "-") for path in (REPO_ROOT / "host_sim/verbs").glob("*.py")]
    for verb in sorted(verbs):
        if verb == "--init--":
            continue
        done = command(site, tmp_path, verb, "--help")
        assert done.returncode == 0, done.stderr
        assert f"{COMMAND} {verb}" in done.stdout
        assert "python -m" not in done.stdout


def test_errors_name_the_command(site: Path, tmp_path: Path) -> None:
    done = command(site, tmp_path, "drive", "nowhere.toml")
    assert done.returncode == 2
    assert done.stderr.startswith(f"{COMMAND} drive: nowhere.toml: ")


def test_the_pages_of_the_project_are_not_written_into_the_installed_package(
        site: Path, tmp_path: Path) -> None:
    before = sorted(site.rglob("*.md"))
    for more in ([], ["--check"]):
        done = command(site, tmp_path, "settings", "docs", *more)
        assert done.returncode == 2
        assert done.stderr == (f"{COMMAND} settings: docs: the pages are in the project's tree: "
                               "run it in a checkout\n")
    assert sorted(site.rglob("*.md")) == before


def test_firmware_for_a_board_and_its_self_test_come_along(site: Path) -> None:
    tree = site / "host_sim" / "installed_tree"
    for name in ("firmware/boot.py", "firmware/main.py", "firmware/manifest.py",
                 "tests/contract/on_board.py"):
        assert (tree / name).read_bytes() == (REPO_ROOT / name).read_bytes()
