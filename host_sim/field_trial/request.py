"""What a person asks `plots new` for, read from the command line with every problem told."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence

from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.common.unit_option import us_of
from host_sim.field_trial import designs
from host_sim.field_trial.designs import Unit
from host_sim.field_trial.layout import ALLEY, TrialGround, lay_out
from host_sim.field_trial.plan import MOST_PLOTS, Plan
from host_sim.field_trial.plan_file import NAME_LENGTH, checked_name
from host_sim.field_trial.plan_rules import problems_of
from host_sim.machine_file.machine import load_machine

LARGEST_SQUARE = 15
SHORTEST_ALLEY_M = 0.5  # in which the implement is lifted


def _random(names: Sequence[str], _: Sequence[str], count: int, seed: int) -> list[Unit]:
    return designs.completely_randomised(names, count, seed)


def _blocks(names: Sequence[str], _: Sequence[str], count: int, seed: int) -> list[Unit]:
    return designs.complete_blocks(names, count, seed)


def _square(names: Sequence[str], _: Sequence[str], count: int, seed: int) -> list[Unit]:
    return designs.latin_square(names, seed)


def _split(names: Sequence[str], wholes: Sequence[str], count: int, seed: int) -> list[Unit]:
    return designs.split_plot(wholes, names, count, seed)


Draw = Callable[[Sequence[str], Sequence[str], int, int], list[Unit]]
# Word for a design: what draws it, and the option that says how often a treatment comes.
DESIGNS: dict[str, tuple[Draw, str]] = {
    "completely-randomised": (_random, "replicates"),
    "blocks": (_blocks, "blocks"),
    "latin-square": (_square, ""),
    "split-plot": (_split, "blocks"),
}


class _Asked:
    """The options, and what is wrong with them."""

    def __init__(self, args: argparse.Namespace) -> None:
        self.args = args
        self.machine = load_machine(args.machine) if args.machine else None
        self.us = us_of(args, self.machine.us if self.machine else False)
        self.problems: list[str] = []

    def amount(self, option: str, quantity: str, text: str) -> float:
        """SI value of an option's text."""
        try:
            return units.parse(quantity, text, self.us)
        except ValueError as error:
            self.problems.append(f"--{option}: {error}")
            return 0.0

    def named(self, option: str) -> dict[str, float | None]:
        """Rate by name of `NAME=RATE` or `NAME`, in the order given."""
        found: dict[str, float | None] = {}
        for text in getattr(self.args, option) or []:
            name, equals, rate = (part.strip() for part in text.rpartition("=")
                                  ) if "=" in text else (text.strip(), "", "")
            try:
                checked_name(name)
            except ValueError as error:
                self.problems.append(f"--{option}: {error}")
            if name in found:
                self.problems.append(f"--{option}: {name} is there twice")
            found[name] = self.amount(option, "rate_ml_ha", rate) if equals else None
        return found


def plan_asked(args: argparse.Namespace) -> Plan:
    """Lay out what was asked for. Raises InputError with a line for everything that is wrong."""
    asked = _Asked(args)
    names, wholes = asked.named("treatment"), asked.named("whole")
    rates = _rates(asked, names, wholes)
    count = _count(asked, len(names), len(wholes))
    if sum(max(map(len, group), default=0) for group in (names, wholes)) >= NAME_LENGTH:
        asked.problems.append(f"--treatment: names are longer than {NAME_LENGTH} characters "
                              "together, which the display cannot show")
    ground = _ground(asked)
    if asked.problems:
        raise InputError(*asked.problems)
    draw, _ = DESIGNS[args.design]
    plan = lay_out(draw(list(names), list(wholes), count, args.seed), rates, ground, asked.us)
    found = dict.fromkeys(f"{column}: {words}" for _, column, words in problems_of(plan.plots))
    if found:
        raise InputError(*found)
    return plan


def _rates(asked: _Asked, names: dict[str, float | None], wholes: dict[str, float | None]
           ) -> dict[str, float]:
    """The rate of each treatment. In a split plot either the whole plots have them or the parts."""
    split = asked.args.design == "split-plot"
    if len(names) < 2:
        asked.problems.append("--treatment: give at least two, as in --treatment 'A=80 L/ha'")
    if split != bool(wholes) or (split and len(wholes) < 2):
        asked.problems.append("--whole: goes with --design split-plot, at least twice")
        return {}
    rated = [option for option, group in (("treatment", names), ("whole", wholes))
             if group and all(rate is not None for rate in group.values())]
    some = [rate for rate in (*names.values(), *wholes.values()) if rate is not None]
    if len(rated) != 1 or len(some) != len(wholes if rated == ["whole"] else names):
        where = "either every --treatment or every --whole" if split else "every --treatment"
        asked.problems.append(f"--treatment: {where} needs its rate, as in 'A=80 L/ha'")
        return {}
    group = wholes if rated == ["whole"] else names
    return {name: rate for name, rate in group.items() if rate is not None}


def _count(asked: _Asked, names: int, wholes: int) -> int:
    """How many blocks or replicates; the number of plots must be one that a plan can have."""
    args = asked.args
    _, option = DESIGNS[args.design]
    for other in ("blocks", "replicates"):
        if other != option and getattr(args, other) is not None:
            asked.problems.append(f"--{other}: does not go with --design {args.design}")
    count = getattr(args, option) if option else names
    if count is None or not 1 <= count <= MOST_PLOTS:
        asked.problems.append(f"--{option}: must be 1 to {MOST_PLOTS}")
        return 1
    if args.design == "latin-square" and names > LARGEST_SQUARE:
        asked.problems.append(f"--treatment: a Latin square has at most {LARGEST_SQUARE}")
    plots = count * names * max(wholes, 1)
    if plots > MOST_PLOTS:
        asked.problems.append(f"--{option or 'treatment'}: makes {plots} plots, more than "
                              f"{MOST_PLOTS}")
    return int(count)


def _ground(asked: _Asked) -> TrialGround:
    args = asked.args
    if (args.width is None) == (args.machine is None):
        asked.problems.append("--width: give either --width or --machine, whose bar is as wide")
    width_m = asked.amount("width", "distance_mm", args.width) if args.width else 1.0
    if asked.machine:
        width_m = sum(asked.machine.settings.widths_mm()) / 1000
    ground = TrialGround(asked.amount("length", "distance_mm", args.length), width_m,
                         asked.amount("alley", "distance_mm", args.alley),
                         asked.amount("buffer", "distance_mm", args.buffer), args.lift,
                         asked.amount("run-up", "distance_mm", args.run_up))
    if ground.lift == ALLEY and ground.alley_m < SHORTEST_ALLEY_M:
        least = units.text("distance_mm", SHORTEST_ALLEY_M, asked.us)
        asked.problems.append(f"--alley: must be at least {least} where the implement is lifted "
                              "in it")
    if ground.lift == ALLEY and ground.run_up_m > ground.alley_m / 2:
        asked.problems.append("--run-up: must be at most half of the alley")
    for option, value in (("alley", ground.alley_m), ("buffer", ground.buffer_m),
                          ("run-up", ground.run_up_m)):
        if value < 0:
            asked.problems.append(f"--{option}: must not be below zero")
    return ground
