"""Speed, and place, from a CAN bus in the place of a serial receiver's sentences.

This module is loaded where the setting can_use asks for it. It is polled between ticks, takes at
most one frame of each of the chip's two buffers at a time, and writes what they say where the
sentences of gnss.py go: the speed into the tick's inputs, the place into position.py.
"""

from app.can_messages import (
    COURSE_PGN,
    GROUND_SPEED_PGN,
    POSITION_PGN,
    WHEEL_SPEED_PGN,
    CanMessages,
)
from app.gnss import CAN_GNSS, CAN_WHEEL
from app.mcp2515 import CRYSTALS_MHZ, NO_MESSAGE, Mcp2515
from rate_control.intmath import ticks_diff
from rate_control.units import BY_BOTH, BY_GNSS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from app.files import LogFiles
    from app.mcp2515 import CanPort

PERIOD_MS = 5
BUFFERS = 2
STALE_US = 150000  # after such a pause what waits in the chip is too old
CHECK_US = 1000000
SENDER_US = 2500000  # after such a silence another sender is listened to
DAMAGED_CHECKS = 3
NOT_WIRED = "CAN: set CAN_MHZ in wiring.py to 8 or 16, CAN_SELECT in the pins"
NO_ANSWER = "CAN: the chip does not answer"
DAMAGED = "CAN: all frames are damaged: CAN_MHZ, bit rate, wires"
NO_SLIP = "CAN: the speed of wheels tells no slip, it is not used"

# value of can_use: messages for the two buffers
MESSAGES = ((0, 0), (GROUND_SPEED_PGN, GROUND_SPEED_PGN), (WHEEL_SPEED_PGN, WHEEL_SPEED_PGN),
            (COURSE_PGN, POSITION_PGN))

RESET, CONFIGURE, WORK = range(3)


def fit(application: "Application", _: "LogFiles | None" = None) -> None:
    """Give an application its speed from the CAN bus, and its position where that is wanted."""
    settings = application.controller.settings
    port = application.board.can_port()
    if port is None or port.mhz not in CRYSTALS_MHZ:
        application.notes.append(NOT_WIRED)
    elif settings.can_use == CAN_WHEEL and settings.speed_source == BY_BOTH:
        application.notes.append(NO_SLIP)
    else:
        receiver = CanReceiver(application, port)
        application.jobs.add("CAN", PERIOD_MS, receiver.poll)


class CanReceiver:
    """Follows one sender at a time of each message. What is wrong is told in the notes."""

    def __init__(self, application: "Application", port: "CanPort") -> None:
        use = application.controller.settings.can_use
        self._pgns = MESSAGES[use]
        self.chip = Mcp2515(port, self._pgns[0], self._pgns[1])
        self._messages = CanMessages()
        self._application = application
        self._position = application.position if use == CAN_GNSS else None
        if self._position is not None:
            self._position.reader = self._messages
        self._state = RESET
        self._polled_us = self._checked_us = application.board.now_us() - CHECK_US
        self._taken = self._damaged = self._damaged_checks = 0
        self._senders = [-1, -1]
        self._heard_us = [0, 0]

    def poll(self) -> None:
        """Take what has come, or start the chip by a step."""
        now_us = self._application.board.now_us()
        due = ticks_diff(now_us, self._checked_us) >= CHECK_US
        if self._state != WORK:
            self._start(now_us, due)
            return
        fresh = ticks_diff(now_us, self._polled_us) <= STALE_US
        self._polled_us = now_us
        chip = self.chip
        for _ in range(BUFFERS):
            if not chip.take():
                break
            if fresh and chip.pgn != NO_MESSAGE:
                self._take(now_us)
        if due:
            self._checked_us = now_us
            self._check()

    def _start(self, now_us: int, due: bool) -> None:
        """Start it in two steps; where it does not answer, try again a second later."""
        if self._state == RESET:
            if due:
                self._checked_us = now_us
                self.chip.reset()
                self._state = CONFIGURE
        elif self.chip.configure():
            self._polled_us = now_us
            self._state = WORK
        else:
            self._lose(NO_ANSWER)

    def _lose(self, why: str) -> None:
        """Begin anew, and say why."""
        self._state = RESET
        self._tell(why)

    def _check(self) -> None:
        """See whether the chip is well, and whether it understands anything."""
        chip = self.chip
        if not chip.check():
            self._lose(NO_ANSWER)
            return
        understood = chip.frames != self._taken or chip.damaged == self._damaged
        self._taken = chip.frames
        self._damaged = chip.damaged
        self._damaged_checks = 0 if understood else self._damaged_checks + 1
        if self._damaged_checks == DAMAGED_CHECKS:
            self._tell(DAMAGED)

    def _tell(self, text: str) -> None:
        notes = self._application.notes
        if text not in notes:  # until a person has read it
            notes.append(text)

    def _take(self, now_us: int) -> None:
        """Take a frame, if it is of the sender that is followed.

        That is the first one that knew what it told: some say for ever that they do not.
        """
        chip = self.chip
        if chip.pgn not in self._pgns:
            return
        which = 0 if chip.pgn == self._pgns[0] else 1
        sender = self._senders[which]
        if sender not in (-1, chip.sender):
            silent_us = ticks_diff(now_us, self._heard_us[which])
            if 0 <= silent_us < SENDER_US:
                return
        messages = self._messages
        tells_speed = messages.take(chip.pgn, chip.data)
        if tells_speed:
            self._application.inputs.report(BY_GNSS, now_us, messages.speed_mm_s, messages.valid)
        knows = messages.valid if tells_speed else messages.quality
        if knows or sender == chip.sender:
            self._senders[which] = chip.sender
            self._heard_us[which] = now_us
        if self._position is not None:
            self._position.follow(now_us)
