"""The option `--units`: the same names and the same meaning in every verb that has it."""

from __future__ import annotations

import argparse

from host_sim.common.units import SYSTEMS, US


def add_units(parser: argparse.ArgumentParser, meaning: str) -> None:
    """Add `--units`; `meaning` says what is shown or read in them, and what holds without."""
    parser.add_argument("--units", choices=SYSTEMS, help=meaning)


def us_of(args: argparse.Namespace, otherwise: bool = False) -> bool:
    """Whether US customary units are asked for; `otherwise` where nothing is said."""
    return args.units == US if args.units else otherwise
