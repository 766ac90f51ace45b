"""The image for the emulated chip comes from the person who runs the tests."""

import os
from pathlib import Path

import pytest

from host_sim.build.firmware import build
from tests.chip.emulated_chip import holds

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
def frozen(uf2):
    """Whether the firmware is frozen into the image."""
    return holds(uf2, b"rate_control/controller.py")


@pytest.fixture(scope="session")
def firmware_files(frozen, tmp_path_factory):
    """The firmware as it goes onto a board's file system: nothing where it is frozen."""
    folder = tmp_path_factory.mktemp("build") / "firmware"
    if frozen:
        folder.mkdir()
    else:
        build(folder)
    return folder
