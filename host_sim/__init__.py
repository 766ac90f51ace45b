"""Host twin of the liquid application rate controller.

Importing this package puts `firmware/` on the import path, so that
`from rate_control.x import y` and `from app.x import y` name the very same
modules here and on a board.
"""

from __future__ import annotations

import sys
from pathlib import Path

REPO_ROOT = Path(__file__).resolve().parent.parent
FIRMWARE_DIR = REPO_ROOT / "firmware"

if str(FIRMWARE_DIR) not in sys.path:
    sys.path.insert(0, str(FIRMWARE_DIR))
