"""For a MicroPython image of one's own with this firmware frozen in; `make firmware` comes first.

    make -C ports/rp2 BOARD=RPI_PICO FROZEN_MANIFEST=/path/to/firmware/manifest.py

What is frozen is build/frozen, which `make firmware` writes: constants in their places, and no
tuple with numbers that freezing would turn into long ones (host_sim/build/freezing.py). Frozen
modules run from flash, so some 100 kB more heap stay free. boot.py and main.py are frozen too,
and go before files of the same name on the board.
"""

# ruff: noqa: F821 (the names are the manifest's)
include("$(PORT_DIR)/boards/manifest.py")
for name in ("app", "boards", "rate_control"):
    package(name, base_path="../build/frozen", opt=3)
module("boot.py", base_path="../build/frozen", opt=3)
module("main.py", base_path="../build/frozen", opt=3)
