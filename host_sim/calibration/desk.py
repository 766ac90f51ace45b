"""The calibration procedures by hand: the classes that run on a board, fed with typed numbers.

So a person who counted pulses with any instrument, or only wants the arithmetic, gets the very
answer that the controller would give.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import host_sim  # noqa: F401  (puts firmware/ on the path before the next imports)
from app import quantity_text
from host_sim.common import units
from host_sim.common.errors import InputError
from rate_control.procedures import FAILED, catalogue
from rate_control.procedures.low_flow_catch import LowFlowCatch
from rate_control.procedures.meter_catch import MeterCatch
from rate_control.procedures.procedure import COMPLETE, ENTER, MARK
from rate_control.procedures.runs import CountedRuns
from rate_control.records import Decided, Measured
from rate_control.settings import Settings
from rate_control.units import TICK_MS

UNIT_SUFFIX = re.compile(r"_(ul_s|mm_s|g_l|ml_ha|permille|mm|ul|ml|ms|g)$")

TIME_MAX_MS = 3_600_000

# parameters that the command line works out by itself
IMPLIED = ("outlets", "customary")


def by_hand() -> list[Any]:
    """Rows of the catalogue that need no pump to be driven."""
    rows: tuple[Any, ...] = catalogue.CATALOGUE
    return [row for row in rows if not row[catalogue.NEEDS_BENCH]]


def options(row: Any) -> dict[str, Any]:
    """The parameters of a procedure that a person gives, by the name of their option."""
    return {
        UNIT_SUFFIX.sub("", param[catalogue.P_NAME]).replace("_", "-"): param
        for param in row[catalogue.PARAMS]
        if param[catalogue.P_NAME] not in IMPLIED
    }


def is_flag(param: Any) -> bool:
    """Whether a parameter is a plain yes or no."""
    return param[catalogue.P_QUANTITY] == "" and param[catalogue.P_HIGH] == 1


def parameters(row: Any, given: Mapping[str, Any], count: int, us: bool) -> dict[str, int]:
    """The parameters from the texts of the options; `count` is the number of amounts.

    Raises InputError naming the option.
    """
    values: dict[str, int] = {}
    for option, param in options(row).items():
        if given.get(option):
            values[param[catalogue.P_NAME]] = typed("--" + option, param[1:4], given[option], us)
    names = [param[catalogue.P_NAME] for param in row[catalogue.PARAMS]]
    values.update((name, value) for name, value in (("outlets", max(count, 1)),
                                                    ("customary", int(us))) if name in names)
    return values


def perform(row: Any, values: dict[str, int], settings: Settings, amounts: Sequence[str],
            us: bool, course_time: str | None = None) -> Any:
    """The procedure with every amount entered, completed where it is precise enough.

    Raises InputError naming the amount that is refused.
    """
    procedure, problem = catalogue.make(row[catalogue.NAME], values, settings)
    if problem:
        raise InputError(problem)
    if procedure.state == FAILED:
        raise InputError(procedure.reason)
    if course_time:
        _time_course(procedure, typed("--course-time", ("time_ms", TICK_MS, TIME_MAX_MS),
                                       course_time, us))
    for index, amount in enumerate(amounts):
        place = f"{_kind(procedure)} {index + 1}: {amount}"
        if isinstance(procedure, CountedRuns):
            _run(procedure, place, amount, us)
        else:
            _enter(procedure, place, amount, us)
    if amounts and not procedure.needs_more():
        procedure.act(COMPLETE)
    return procedure


def _kind(procedure: Any) -> str:
    return "run" if isinstance(procedure, CountedRuns) else "amount"


def _run(procedure: Any, place: str, text: str, us: bool) -> None:
    """One run from `PULSES`, `PULSES=AMOUNT` where an amount is caught, or with `@TIME`."""
    wanted = _run_form(procedure)
    match = re.fullmatch(r"([^=@]*)(=[^=@]*)?(@[^=@]*)?", text)
    given = match and "PULSES" + ("=AMOUNT" if match[2] else "") + ("@TIME" if match[3] else "")
    if not match or given != wanted:
        raise InputError(f"{place}: must be {wanted}")
    pulses = typed(place, ("", 0, 10**8), match[1], us)
    _act(procedure, place, MARK)
    if match[3]:
        _count(procedure, 1)
        _pass_time(procedure, typed(place, ("time_ms", TICK_MS, TIME_MAX_MS), match[3][1:], us))
        pulses -= 1
    _count(procedure, pulses)
    _act(procedure, place, MARK)
    if match[2]:
        _enter(procedure, place, match[2][1:], us)


def _run_form(procedure: Any) -> str:
    """How a run is written: what the procedure needs of it."""
    if isinstance(procedure, LowFlowCatch):
        return "PULSES=AMOUNT@TIME"
    return "PULSES=AMOUNT" if isinstance(procedure, MeterCatch) else "PULSES"


def _count(procedure: Any, pulses: int) -> None:
    """One tick with so many pulses."""
    measured = Measured()
    measured.speed_pulses = measured.flow_pulses = pulses
    procedure.step(measured, Decided())


def _pass_time(procedure: Any, time_ms: int) -> None:
    """The ticks of a time without pulses, less the one that ends it."""
    for _ in range(-(-time_ms // TICK_MS) - 1):
        _count(procedure, 0)


def _enter(procedure: Any, place: str, text: str, us: bool) -> None:
    entry = procedure.entry()
    if entry is None:
        raise InputError(f"{place}: is one too many")
    _act(procedure, place, ENTER, typed(place, entry[1:], text, us))


def _time_course(procedure: Any, time_ms: int) -> None:
    """Let the time of a course pass between two marks, in the ticks of the controller."""
    _act(procedure, "--course-time", MARK)
    _pass_time(procedure, time_ms)
    _count(procedure, 0)
    _act(procedure, "--course-time", MARK)


def _act(procedure: Any, place: str, action: str, value: int | None = None) -> None:
    problem = procedure.act(action, value)
    if problem:
        raise InputError(f"{place}: {problem}")


def typed(place: str, field: Sequence[Any], text: str, us: bool) -> int:
    """A typed number within (quantity, low, high)."""
    quantity, low, high = field
    try:
        if quantity:
            return units.whole(quantity, text, us, low, high)
        value = int(quantity_text.read(quantity, text, us))
        if not low <= value <= high:
            raise ValueError(f"must be {low} to {high}, is {text}")
    except ValueError as error:
        raise InputError(f"{place}: {error}") from None
    return value
