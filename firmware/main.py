"""Runs after boot.py: the board with its outputs off, the application above it, for good."""

from boards.section_port import problem as too_many_sections
from boards.versions import problem as too_old

unfit = too_old() or too_many_sections()
if unfit:
    print(unfit)  # and start nothing: boot.py has every output at its safe level
else:
    import boards

    board = boards.chosen()
    try:
        from app.start_up import build

        build(board).run()
    finally:
        board.release()  # whatever ended it, outputs stay off and files can be exchanged
