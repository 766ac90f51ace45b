"""Runs after boot.py: the board with its outputs off, the application above it, for good."""

import boards

board = boards.chosen()
try:
    from app.start_up import build

    build(board).run()
finally:
    board.release()  # whatever ended it, outputs stay off and files can be exchanged
