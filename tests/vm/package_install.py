"""Install a package over HTTP with MicroPython's own installer.

    package_install.py URL FOLDER

Exits with 1 where it breaks off; the installer itself only prints that it did.
"""

import sys

import mip

printed = []
mip.print = lambda *words: printed.append(" ".join(str(word) for word in words))
mip.install(sys.argv[1], target=sys.argv[2])
print(printed[-1])
if printed[-1] != "Done":
    sys.exit(1)
