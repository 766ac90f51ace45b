"""What goes onto a board: the list for the package installer, the manifest, the bytecode."""

import json

from host_sim import FIRMWARE_DIR
from host_sim.board.flash import BYTECODE
from host_sim.build import firmware as firmware_build
from host_sim.common.versions import project_version

MPY_MAGIC = ord("M")  # MicroPython documentation, ".mpy files": first byte M, second the version


def listed(files):
    return [pair[0] for pair in json.loads(firmware_build.package_json(files))["urls"]]


def test_package_lists_the_bytecode_and_main_last(tmp_path):
    """An installer goes through the list from its top: what breaks off leaves no main.py."""
    files = firmware_build.build(tmp_path / "firmware")
    names = listed(files)
    assert sorted(names) == sorted(file.name for file in files)
    assert names[-1] == "main.py"
    assert [name for name in names if name.endswith(".py")] == ["boot.py", "main.py"]
    assert all((tmp_path / "firmware" / name).is_file() for name in names)


def test_source_is_listed_with_a_warning(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(firmware_build, "SOURCE_DIR", tmp_path / "source")
    monkeypatch.setattr("sys.argv", ["firmware", "--source"])
    firmware_build.main()
    package = json.loads((tmp_path / "source" / "package.json").read_text())
    assert package["urls"][-1] == ["main.py", "main.py"]
    assert ["app/link.py", "app/link.py"] in package["urls"]
    assert package["version"] == project_version()
    assert "more memory than an RP2040 has" in capsys.readouterr().err


def test_manifest_freezes_every_folder_and_both_starters():
    """And from build/frozen alone: the source as it is would reset for ever."""
    asked, places = [], set()

    def freeze(name, base_path, opt):
        asked.append(name)
        places.add((FIRMWARE_DIR / base_path).resolve())

    names = {"include": lambda path: None, "package": freeze, "module": freeze}
    exec((FIRMWARE_DIR / "manifest.py").read_text(), names)
    tops = {path.relative_to(FIRMWARE_DIR).parts[0] for path in firmware_build.sources()}
    assert set(asked) == tops
    assert places == {firmware_build.FROZEN_DIR.resolve()}


def test_build_makes_bytecode_of_the_version_that_flash_asks_for(tmp_path):
    files = firmware_build.build(tmp_path / "firmware")
    compiled = [file for file in files if file.name.endswith(".mpy")]
    assert {file.name for file in files} - {file.name for file in compiled} == {
        "boot.py", "main.py",
    }  # fmt: skip
    heads = {file.built.read_bytes()[:2] for file in compiled}
    assert heads == {bytes((MPY_MAGIC, BYTECODE))}


def test_table_adds_up(tmp_path):
    files = firmware_build.build(tmp_path / "firmware")
    table = firmware_build.size_table(files)
    assert f"{sum(file.size for file in files):,}" in table
    assert all(file.name in table for file in files)
