"""What goes onto a board: the list for the package installer, the manifest, the bytecode."""

import json

from host_sim import FIRMWARE_DIR
from host_sim.board.flash import BYTECODE
from host_sim.build import firmware as firmware_build

MPY_MAGIC = ord("M")  # MicroPython documentation, ".mpy files": first byte M, second the version


def test_package_json_lists_every_file():
    assert firmware_build.PACKAGE_JSON.read_text() == firmware_build.package_json(), (
        "run make firmware"
    )


def test_every_listed_file_is_there():
    listed = json.loads(firmware_build.PACKAGE_JSON.read_text())
    assert all((FIRMWARE_DIR / source).is_file() for _, source in listed["urls"])
    assert listed["version"] == firmware_build.version()


def test_manifest_freezes_every_folder_and_both_starters():
    asked = []
    names = {
        "include": lambda path: None,
        "package": lambda name: asked.append(name),
        "module": lambda name: asked.append(name),
    }
    exec((FIRMWARE_DIR / "manifest.py").read_text(), names)
    tops = {path.relative_to(FIRMWARE_DIR).parts[0] for path in firmware_build.sources()}
    assert set(asked) == tops


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
