"""A release: what is in it, that it is the same bytes each time, and what is refused."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from host_sim import REPO_ROOT
from host_sim.build import firmware, release
from host_sim.common.errors import InputError
from host_sim.common.versions import PROJECT, project_version
from tests.repo.tree import name_of, repository_files

TOP = f"{PROJECT}-{project_version()}-firmware/"
MAKE_BOTH = """
import sys
from pathlib import Path
from host_sim.build import release
from tests.repo.tree import name_of, repository_files
release.make_bundle(Path(sys.argv[1]), release.epoch_s())
release.make_wheel(Path(sys.argv[1]), release.epoch_s(), [name_of(p) for p in repository_files()])
"""


def made(folder: Path, seed: str, zone: str, mask: int) -> dict[str, bytes]:
    """Wheel and bundle by name, from a Python, a time zone and file modes of their own."""
    folder.mkdir()
    environment = os.environ | {"PYTHONHASHSEED": seed, "TZ": zone}
    environment |= {"PYTHONPATH": os.pathsep.join((str(REPO_ROOT), str(REPO_ROOT / "firmware")))}
    environment.pop(release.EPOCH_VARIABLE, None)
    subprocess.run([sys.executable, "-c", MAKE_BOTH, str(folder)], cwd=REPO_ROOT, check=True,
                   env=environment, umask=mask)
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two builds, one and two."""
    folder = tmp_path_factory.mktemp("release")
    made(folder / "one", "1", "UTC", 0o022)
    made(folder / "two", "2", "Asia/Tokyo", 0o077)
    return folder


def test_two_builds_are_equal_byte_by_byte(built: Path) -> None:
    one, two = ({path.name: path.read_bytes() for path in (built / name).iterdir()}
                for name in ("one", "two"))
    assert sorted(one) == [f"{PROJECT}-{project_version()}-firmware.zip",
                           f"{PROJECT.replace('-', '_')}-{project_version()}-py3-none-any.whl"]
    assert one == two


def test_the_bundle_holds_bytecode_frozen_sources_and_instructions(built: Path) -> None:
    with zipfile.ZipFile(built / "one" / f"{TOP[:-1]}.zip") as bundle:
        names = bundle.namelist()
        page = bundle.read(f"{TOP}README.md").decode()
        package = bundle.read(f"{TOP}build/firmware/package.json").decode()
        assert {entry.date_time for entry in bundle.infolist()} == {(2020, 1, 1, 0, 0, 0)}
    assert names == sorted(names)
    sources = firmware.sources()
    wanted = {f"build/firmware/{firmware.board_name(path, compiled=True)}" for path in sources}
    wanted |= {f"build/frozen/{firmware.board_name(path, compiled=False)}" for path in sources}
    wanted |= {"build/firmware/package.json", "firmware/manifest.py", "README.md", "LICENSE",
               "CHANGELOG.md"}
    assert set(names) == {TOP + name for name in wanted}
    assert page.startswith(f"# Firmware {project_version()} ")
    assert "{" not in page
    assert f'"version": "{project_version()}"' in package


def test_the_manifest_finds_in_the_bundle_what_it_freezes(built: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(built / "one" / f"{TOP[:-1]}.zip") as bundle:
        bundle.extractall(tmp_path)
    place = tmp_path / TOP / "firmware"
    asked = []

    def freeze(name: str, base_path: str, opt: int) -> None:
        asked.append(name)
        assert (place / base_path / name).exists()

    exec((place / "manifest.py").read_text(),
         {"include": lambda path: None, "package": freeze, "module": freeze})
    assert "main.py" in asked


def test_the_wheel_holds_the_twin_its_command_and_the_version(built: Path) -> None:
    wheel, = (built / "one").glob("*.whl")
    with zipfile.ZipFile(wheel) as file:
        names = set(file.namelist())
        about = next(name for name in names if name.endswith(".dist-info/METADATA"))
        assert f"\nVersion: {project_version()}\n" in file.read(about).decode()
        starters = file.read(about.replace("METADATA", "entry_points.txt")).decode()
    assert "rate-twin = host_sim.__main__:main" in starters
    twin = {name_of(path) for path in repository_files() if name_of(path).startswith("host_sim/")}
    assert twin <= names
    assert "host_sim/installed_tree/firmware/main.py" in names
    assert any(name.endswith("/licenses/LICENSE") for name in names)


def test_checksums_are_those_that_sha256sum_reads(tmp_path: Path) -> None:
    for name in ("b.zip", "a.whl"):
        (tmp_path / name).write_bytes(name.encode())
    text = release.sums(list(tmp_path.iterdir()))
    assert text == "".join(f"{hashlib.sha256(name.encode()).hexdigest()}  {name}\n"
                           for name in ("a.whl", "b.zip"))


@pytest.mark.parametrize("text", ["", "soon", "-1", "1.5", "315532799", "4354819200", "1" * 30])
def test_a_time_that_a_zip_file_cannot_carry_is_refused(
        text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(release.EPOCH_VARIABLE, text)
    with pytest.raises(InputError, match=release.EPOCH_VARIABLE):
        release.epoch_s()


def test_the_stated_time_is_that_of_every_entry(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(release.EPOCH_VARIABLE, "951782400")  # 2000-02-29, by `date --utc`
    release.write_zip(tmp_path / "some.zip", {"b": b"2", "a": b"1"}, release.epoch_s())
    with zipfile.ZipFile(tmp_path / "some.zip") as file:
        assert [(entry.filename, entry.date_time) for entry in file.infolist()] == [
            ("a", (2000, 2, 29, 0, 0, 0)), ("b", (2000, 2, 29, 0, 0, 0))]


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small tree with a history, in place of the project's."""
    (tmp_path / "CITATION.cff").write_text(f"version: {project_version()}\n")
    (tmp_path / "CHANGELOG.md").write_text("## Unreleased\n")
    for words in (["init", "--quiet"], ["add", "."],
                  ["-c", "user.name=a", "-c", "user.email=a@example.org", "commit", "--quiet",
                   "--message", "Begin"]):
        subprocess.run(["git", *words], cwd=tmp_path, check=True)
    monkeypatch.setattr(release, "REPO_ROOT", tmp_path)
    return tmp_path


def refused(checkout: Path) -> str:
    """The one line with which a release is refused; nothing is written."""
    target = checkout / "out"
    with pytest.raises(InputError) as told:
        release.release(target)
    assert not target.exists()
    assert "\n" not in str(told.value)
    return str(told.value)


def test_what_is_not_committed_is_refused(checkout: Path) -> None:
    assert release.tracked_files() == ["CHANGELOG.md", "CITATION.cff"]
    (checkout / "new.py").write_text("")
    assert refused(checkout).startswith("new.py: is not committed")


def test_a_tree_without_history_is_refused(checkout: Path) -> None:
    (checkout / ".git").rename(checkout / "away")
    assert "no history" in refused(checkout)


def test_a_citation_of_another_version_is_refused(checkout: Path) -> None:
    assert release.citation_problem() == ""
    (checkout / "CITATION.cff").write_text("cff-version: 1.2.0\nversion: 9.9.9\n")
    subprocess.run(["git", "update-index", "--assume-unchanged", "CITATION.cff"], cwd=checkout,
                   check=True)
    assert refused(checkout).startswith("CITATION.cff: version: is not ")


def test_a_changelog_without_the_version_is_told(checkout: Path) -> None:
    assert f"no heading '## {project_version()}'" in release.changelog_warning()
    (checkout / "CHANGELOG.md").write_text(f"## Unreleased\n\n## {project_version()} (2026)\n")
    assert release.changelog_warning() == ""


def test_a_release_takes_the_place_of_the_last_one(
        checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And one that fails while it is made leaves the last one whole."""
    target = checkout / "out"

    def make(folder: Path, *_: object) -> Path:
        path = folder / "made.zip"
        path.write_bytes(b"new")
        return path

    monkeypatch.setattr(release, "tracked_files", list)
    monkeypatch.setattr(release, "make_wheel", make)
    monkeypatch.setattr(release, "make_bundle", make)
    target.mkdir()
    (target / "old.whl").write_bytes(b"old")
    assert [path.name for path in release.release(target)] == ["SHA256SUMS", "made.zip"]

    def fail(*_: object) -> Path:
        raise RuntimeError("the compiler's words")

    monkeypatch.setattr(release, "make_bundle", fail)
    with pytest.raises(RuntimeError):
        release.release(target)
    assert [path.name for path in sorted(target.iterdir())] == ["SHA256SUMS", "made.zip"]
