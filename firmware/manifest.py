"""For a MicroPython image of one's own with this firmware frozen in.

    make -C ports/rp2 BOARD=RPI_PICO FROZEN_MANIFEST=/path/to/firmware/manifest.py

Frozen modules run from flash, so some 100 kB more heap stay free. boot.py and main.py are frozen
too, and go before files of the same name on the board.
"""

# ruff: noqa: F821 (the names are the manifest's)
include("$(PORT_DIR)/boards/manifest.py")
for name in ("app", "boards", "rate_control"):
    package(name)
module("boot.py")
module("main.py")
