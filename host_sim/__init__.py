"""Host twin of the liquid application rate controller.

Importing this package puts `firmware/` on the import path, so that
`from rate_control.x import y` and `from app.x import y` name the very same
modules here and on a board.

REPO_ROOT is the project's tree: the checkout that this package lies in, or, where the package
is installed, the part of that tree which came along (`force-include` in pyproject.toml).
"""

from __future__ import annotations

import sys
from pathlib import Path

PACKAGE_DIR = Path(__file__).resolve().parent
CHECKED_OUT = (PACKAGE_DIR.parent / "firmware" / "boot.py").is_file()
REPO_ROOT = PACKAGE_DIR.parent if CHECKED_OUT else PACKAGE_DIR / "installed_tree"
FIRMWARE_DIR = REPO_ROOT / "firmware"

if str(FIRMWARE_DIR) not in sys.path:
    sys.path.insert(0, str(FIRMWARE_DIR))
