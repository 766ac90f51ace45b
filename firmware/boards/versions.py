"""The oldest MicroPython that has what each kind of board asks for: the one table of versions."""

import sys

# rp2: Timer(hard=) came with 1.26; esp32: RMT(resolution_hz=) with 1.27
OLDEST = {"rp2": (1, 26), "esp32": (1, 27)}


def problem(platform: str = sys.platform,
            version: tuple = sys.implementation.version) -> str:
    """Return why this MicroPython cannot run the firmware, one line; "" where it can.

    version is (major, minor, ...). A platform that is not in the table has no board at all.
    """
    if platform not in OLDEST:
        return "this firmware has no board for %s" % platform
    oldest = OLDEST[platform]
    if tuple(version[:2]) >= oldest:
        return ""
    return ("MicroPython %d.%d is too old for this firmware: on %s it needs %d.%d or newer"
            % (version[0], version[1], platform, oldest[0], oldest[1]))
