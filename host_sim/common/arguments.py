"""Arguments of the commands behind `make`, which are too small for a verb."""

from __future__ import annotations

import argparse


def takes_nothing(module: str, text: str | None) -> None:
    """Answer --help, and refuse everything else in a line."""
    argparse.ArgumentParser(prog=f"python -m {module}", description=text).parse_args()


def count(text: str) -> int:
    """A number of things to try, from 1 on."""
    try:
        number = int(text)
    except ValueError:
        number = 0
    if number < 1:
        raise argparse.ArgumentTypeError(f"must be a whole number from 1 on, is '{text}'")
    return number
