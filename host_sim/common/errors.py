"""The one exception that a person, not a programmer, caused, and how a message is shown."""

from __future__ import annotations


def plain(text: object) -> str:
    r"""A text as one line without anything that could steer a terminal.

    Names of files and texts out of them may hold whatever somebody put there: an escape
    character is shown as the four characters \x1b, a new line as \n.
    """
    return "".join(
        character if character.isprintable()
        else character.encode("unicode_escape").decode("ascii")
        for character in str(text))


class InputError(Exception):
    """Bad input from a person; `str(error)` is what to show, a clear line for each problem.

    A line names the file, the line and the field where there is one. Raise it before anything
    is written; the command line ends with exit status 2.
    """

    def __init__(self, *lines: str) -> None:
        """Each argument is a line; it is made plain here, for all messages alike."""
        super().__init__(*(plain(line) for line in lines))

    def __str__(self) -> str:
        return "\n".join(self.args)
