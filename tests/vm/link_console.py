"""An application that runs in real time with its link on the console, as on a board.

    link_console.py SECONDS

Ends by itself after SECONDS; it parks, for nobody moves a switch.
"""

import sys
import time

from app.link import Link
from boards.console_port import ConsolePort
from rate_control.units import TICK_US
from tests.support.link_rig import LinkRig


def main():
    """Tick twenty times a second, and poll the link in between."""
    rig = LinkRig()
    link = Link(ConsolePort(), rig.application)
    due_us = time.ticks_us()
    ticks_left = int(sys.argv[1]) * 1000000 // TICK_US
    while ticks_left:
        link.poll()
        if time.ticks_diff(time.ticks_us(), due_us) >= 0:
            due_us = time.ticks_add(due_us, TICK_US)
            rig.ticks(1, 0, 400, 0, polls=0)
            ticks_left -= 1
        time.sleep_ms(1)


main()
