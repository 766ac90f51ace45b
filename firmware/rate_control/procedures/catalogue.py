"""Every procedure in one table; screens, link and command line are made from it.

A row is (name, class, needs bench, parameters, meaning). The class stands in the module of that
name, which is loaded when it is made: a small board has no room for all of them. A parameter is
(name, quantity, low, high, default, meaning): its value is an int in the internal unit of the
quantity, a key of the table of units (app/units_text.py); "" is a plain number.
"""

from rate_control.procedures.procedure import entry_problem
from rate_control.units import SPEED_MAX_MM_S

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from typing import Any

    from rate_control.procedures.procedure import Procedure
    from rate_control.settings import Settings
    from rate_control.totals import Totals

NAME, CLASS, NEEDS_BENCH, PARAMS, MEANING = range(5)
P_NAME, P_QUANTITY, P_LOW, P_HIGH, P_DEFAULT, P_MEANING = range(6)

_PRECISION = ("precision_permille", "share_permille", 1, 50, 5, "precision wanted")
_CATCH = (
    ("weighed", "", 0, 1, 0, "0 volume in a jug, 1 mass on a scale"),
    ("density_g_l", "density_g_l", 500, 2500, 998, "of what is weighed; water 0.998 kg/L"),
    ("jug_step_ul", "catch_ul", 0, 1000000, 10000, "finest step of the jug"),
    ("scale_step_g", "mass_g", 0, 1000, 5, "finest step of the scale, if weighed"),
    _PRECISION,
)

CATALOGUE = (
    ("course", "Course", 0, (
        ("distance_mm", "distance_mm", 30000, 2000000, 100000, "between the stakes, by tape"),
        _PRECISION,
    ), "pulses of the speed sensor on a measured course"),
    ("meter_catch", "MeterCatch", 0, _CATCH, "pulses of the flow meter for a caught amount"),
    ("low_flow_catch", "LowFlowCatch", 0, _CATCH + (
        ("flow_ul_s", "flow_ul_s", 0, 10000000, 0, "flow of the meter catch; 0 not known"),
    ), "what the flow meter loses at a low flow"),
    ("outlet_catch", "OutletCatch", 0, (
        ("outlets", "", 1, 72, 7, "how many outlets are caught"),
        ("time_ms", "time_ms", 5000, 600000, 60000, "how long each is caught"),
        ("rated_ul_s", "outlet_flow_ul_s", 0, 1000000, 0, "rated flow of an outlet; 0 not known"),
        ("jug_step_ul", "catch_ul", 0, 1000000, 5000, "finest step of the jug"),
    ), "worn and blocked outlets by their catch"),
    ("plot_catch", "PlotCatch", 0, (
        ("width_mm", "width_mm", 50, 20000, 500, "width that one outlet serves"),
        ("customary", "", 0, 1, 0, "1: 1/128 acre, ounces are gal/ac"),
        ("distance_mm", "distance_mm", 0, 2000000, 0, "course driven; 0 that of the method"),
        ("times", "", 1, 20, 1, "course times that a catch lasts"),
        ("jug_step_ul", "catch_ul", 0, 1000000, 5000, "finest step of the jug"),
        ("precision_permille", "share_permille", 1, 100, 20, "precision wanted"),
    ), "rate from a catch on 1/128 acre or 10 m2"),
    ("tank_check", "TankCheck", 0, (
        ("meter_ml", "volume_ml", 0, 1000000000, 0, "by meter; 0 takes the job totals"),
        ("tank_step_ml", "volume_ml", 0, 500000, 5000, "finest step of the tank's scale"),
        ("precision_permille", "share_permille", 1, 50, 10, "precision wanted"),
    ), "meter against tank over a whole job"),
    ("pump_curve", "PumpCurveProcedure", 1, (
        ("density_g_l", "density_g_l", 500, 2500, 1000, "of what is in the tank now"),
    ), "which demand gives which flow, on the bench"),
    ("step_test", "StepTest", 1, (
        ("speed_mm_s", "speed_mm_s", 100, SPEED_MAX_MM_S, 2000, "working speed to test at"),
        ("settling_time_ms", "time_ms", 300, 30000, 1500, "wanted until within 5 %"),
    ), "delay and lag of the machine, on the bench"),
)


def row(name: str) -> "tuple | Any":
    """Return the row of a procedure, or None where there is no such procedure."""
    for entry in CATALOGUE:
        if entry[NAME] == name:
            return entry
    return None


def defaults(name: str) -> dict[str, int]:
    """Return the parameters of a procedure by name, each at its default."""
    return {param[P_NAME]: param[P_DEFAULT] for param in row(name)[PARAMS]}


def make(name: str, values: dict, settings: "Settings",
         totals: "Totals | None" = None) -> "tuple[Procedure | Any, str]":
    """Return (procedure, "") for a dict of parameters; what is left out has its default.

    Bad parameters are refused as a whole: (None, every problem in one line). totals are the
    job's (see totals.py), for those that compare with it.
    """
    entry = row(name)
    if entry is None:
        return None, "%s: no such procedure" % name
    params = defaults(name)
    problems = ["%s: no such parameter" % given for given in values if given not in params]
    params.update(values)
    for param in entry[PARAMS]:
        fault = entry_problem(param, params[param[P_NAME]])
        if fault:
            problems.append("%s: %s" % (param[P_NAME], fault))
    if problems:
        return None, "; ".join(problems)
    module = __import__("rate_control.procedures." + name, None, None, (entry[CLASS],))
    return getattr(module, entry[CLASS])(settings, params, totals), ""
