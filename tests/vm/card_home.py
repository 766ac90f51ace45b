"""Run programs as mpremote does on a board with a card.

    card_home.py SECTORS PROGRAM ...

SECTORS has a line for each sector of the card: number and hexadecimal. A
PROGRAM is a file; all run one after the other with the same names.
"""

import sys
from binascii import unhexlify

from tests.support.card_rig import TimedCard

programs = []
for name in sys.argv[2:]:
    with open(name) as file:
        programs.append(file.read())
card = TimedCard(1 << 20)
with open(sys.argv[1]) as file:
    for line in file:
        number, content = line.split()
        card.sectors[int(number)] = unhexlify(content)


class Board:
    """The package boards, and the board that it gives."""

    def card_port(self):
        """See Board."""
        return card


    @classmethod
    def chosen(cls):
        """See boards."""
        return cls()


sys.modules["boards"] = Board
names = {}
for program in programs:
    exec(program, names)
