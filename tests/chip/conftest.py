"""The image for the emulated chip comes from the person who runs the tests."""

import os
from pathlib import Path

import pytest

from host_sim.build.firmware import build

NO_IMAGE = "no MicroPython image for the RP2040 given: make chip UF2=path/to/image.uf2"


@pytest.fixture(scope="session")
def uf2():
    """Path of the image that was given."""
    path = os.environ.get("CHIP_UF2")
    if not path:
        pytest.skip(NO_IMAGE)
    if not Path(path).is_file():
        pytest.fail(f"{path}: no such file")
    return Path(path)


@pytest.fixture(scope="session")
def firmware_files(tmp_path_factory):
    """The firmware as it goes onto a board."""
    folder = tmp_path_factory.mktemp("build") / "firmware"
    build(folder)
    return folder
