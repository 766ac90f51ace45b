"""The reference page of the matrix: what is noticed, how soon, and what nothing can notice."""

from __future__ import annotations

import math
from functools import cache

from host_sim.trials.trust.breaks import BREAKS, BY_NAME
from host_sim.trials.trust.case import OFF_S, WATCH_S, TrustOutcome
from host_sim.trials.trust.machines import KIND_NAMES, ready
from host_sim.trials.trust.matrix import MatrixRow, row, run_cases, singles

MACHINES = ("electric_m", "hydraulic", "inline_pd", "bypass_centrifugal")
BENCH_MACHINES = MACHINES[:1]
STOPS = "stops"

HEAD = f"""\
# On a bad day

Made by `make docs` from the catalogue in `host_sim/trials/trust/breaks.py`; do not edit it here.

Machines of four kinds are at work (`{"`, `".join(MACHINES)}`;
see [machines](machines.md)), each with the whole firmware on its board, section 2 switched off;
then something breaks. For {WATCH_S:g} s nobody does anything; then the master goes off for
{OFF_S:g} s and on again. *Told within* is from the break to the first fault or warning, or to the
moment when the controller stops of itself; where the time is more than {WATCH_S:g} s it was told
once the master was off. *Outputs off within* is when the controller itself had switched
everything off; a dash means that it goes on, as a warning lets it. What only some machines have
is tried on those.

`make trust` tries the same and every pair of faults on all {len(KIND_NAMES)} kinds, parked,
ready, applying and on the bench, and checks after every tick that no promise of
[requirements](../requirements.md) is broken. What to do about a fault: [find a
fault](../how_to/find_a_fault.md).

| when | told on | what is shown | told within | outputs off within |
|---|---|---|---|---|
"""

UNSEEN_HEAD = """
## What no sensor can see

Nothing was shown at work, on the machines that are named; the cure is a look at the machine, a
[catch](../how_to/catch_the_outlets.md), a [course](../how_to/calibrate_the_speed_sensor.md) or a
[check against the tank](../how_to/check_against_the_tank.md).

"""

RUNS_ON_HEAD = """
## What the controller cannot stop

The controller had switched everything off, and liquid still ran out. Shut a tap by hand; do not
rely on a switch to make it safe to work on the machine.

"""

ROLLS_ON_HEAD = """
## A bench that cannot see that the machine rolls

The bench ends at any motion, as far as a sensor tells of it. It went on though the machine rolled
away:

"""


@cache
def outcomes() -> list[TrustOutcome]:
    """The runs that the page is made of."""
    cases = singles(MACHINES, ("applying",)) + singles(BENCH_MACHINES, ("bench",))
    return run_cases(cases, None, lambda share: None)


def page() -> str:
    """The whole page."""
    rows = [row(entry.name, outcomes()) for entry in BREAKS]
    rows = [each for each in rows if each.runs]
    text = HEAD + "".join(_line(each) for each in rows)
    unseen = [f"- When {_what(each)}: {_on(each, each.unseen_on)}.{_later(each)}\n"
              for each in rows if each.unseen_on]
    runs_on = [f"- When {_what(each)}: {_on(each, each.runs_on_on)}.\n"
               for each in rows if each.runs_on_on]
    rolls_on = [f"- When {_what(each)}.\n" for each in rows if each.rolls_on]
    for head, lines in ((UNSEEN_HEAD, unseen), (RUNS_ON_HEAD, runs_on), (ROLLS_ON_HEAD, rolls_on)):
        text += head + "".join(lines) if lines else ""
    return text


def _line(each: MatrixRow) -> str:
    shown = ", ".join(f"`{name}`" for name in each.shown)
    if each.noticed and not shown:
        shown = STOPS
    cells = (_what(each), f"{each.noticed} of {each.runs}", shown or "nothing",
             _seconds(each.noticed_s), _seconds(each.safe_s))
    return "| " + " | ".join(cells) + " |\n"


def _what(each: MatrixRow) -> str:
    return BY_NAME[each.name].what


def _later(each: MatrixRow) -> str:
    later = BY_NAME[each.name].later
    return f" {later}." if later else ""


def _on(each: MatrixRow, machines: tuple[str, ...]) -> str:
    fitted = [name for name in MACHINES
              if ready(name).takes(BY_NAME[each.name])]
    return "on all of them" if len(machines) == len(fitted) else ", ".join(machines)


def _seconds(time_s: float | None) -> str:
    """Rounded up to a whole second, so that a page does not change with every tick."""
    return "-" if time_s is None else f"{math.ceil(round(time_s, 3))} s"
