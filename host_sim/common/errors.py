"""The one exception that a person, not a programmer, caused."""

from __future__ import annotations


class InputError(Exception):
    """Bad input from a person; `str(error)` is the one clear line to show.

    The line names the file, the line and the field where there is one. Raise it
    before anything is written; the command line ends with exit status 2.
    """
