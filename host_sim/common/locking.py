"""A lock on an open file that ends with the program, however it ends."""

from __future__ import annotations

import os
import sys

if sys.platform == "win32":
    import msvcrt

    FAR = 1 << 62  # beyond any content, for there a lock also keeps readers out

    def locked(file: int) -> bool:
        """Lock a file against others who do the same; returns whether it could be had."""
        try:
            os.lseek(file, FAR, os.SEEK_SET)
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
else:
    import fcntl

    def locked(file: int) -> bool:
        """Lock a file against others who do the same; returns whether it could be had."""
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
