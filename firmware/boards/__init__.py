"""Boards: what stands between the portable firmware and the pins."""

import sys

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from boards.board import Board


def chosen() -> "Board":
    """Return the board that this firmware runs on, with every output off.

    A board is made once, so this is called once. Raises RuntimeError where none fits.
    """
    if sys.platform == "rp2":
        from boards.rp2_board import Rp2Board
        return Rp2Board()
    if sys.platform == "esp32":
        from boards.esp32_board import Esp32Board
        return Esp32Board()
    raise RuntimeError("no board for " + sys.platform)
