"""Where tables are printed: on a terminal, or in a pipe as wide as they need."""

from __future__ import annotations

from rich.console import Console


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Let the command line end it as it ends all others, and not with a status of its own."""
        raise


def console(pipe_width: int | None = None) -> Console:
    """Standard output; `pipe_width` in characters, where it is no terminal."""
    found = _Console(highlight=False)
    return found if found.is_terminal else _Console(highlight=False, width=pipe_width)
