"""What was found of a machine, in words: figures with their intervals, and what is still open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable

from host_sim.common import units
from host_sim.fit.estimate import TOLD, Estimate
from host_sim.fit.quantities import CONFIDENCE, Quantity
from host_sim.fit.unknowns import Unknown
from host_sim.machine_file.twin_keeping import shown
from host_sim.plant.units import BAR_PA, ML_M3

LEANS = 3.0  # deviations beforehand from which on a part is unlike its kind
FL_OZ_PSI = 29.5735295625 * 14.503773773  # mL/bar in one: exact definitions, rounded
NAME_WIDTH, VALUE_WIDTH = 24, 14

Show = Callable[[float, bool], str]
SHOWN: dict[str, Show] = {
    "share": lambda value, us: f"{100 * value:.2f} %",
    "flow": lambda value, us: units.text("flow_ul_s", max(value, 0.0), us),
    "time": lambda value, us: f"{1e3 * value:.0f} ms" if value < 1.0 else f"{value:.2f} s",
    "compliance": lambda value, us: (
        f"{value * BAR_PA / ML_M3 / FL_OZ_PSI:.4f} fl oz/psi" if us
        else f"{value * BAR_PA / ML_M3:.1f} mL/bar"),
}

STEPS = "steps of the flow, sharp ones: a step test on the bench, or changes of the rate"
RANGE = ("flows from the lowest to the highest, up and down: the pump curve on the bench. "
         "Motor, slip and friction stay mixed even then; together they make the curve above")
SECTIONS = "each section off and on again, for five seconds at a steady speed"
STOPS = "stops: lift the implement at a high flow, several times"
LOW = "a drive at the lowest flow that the meter still reads, then slower until it stops"
GAUGE = "nothing that a flow meter sees: a pressure gauge at the manifold"
# What would tell a parameter, by table and name.
WOULD_TELL = {
    **{("pump", name): RANGE for name in (
        "resistance_ohm", "emf_v_s", "displacement_m3_rad", "leak_m3_s_pa", "friction_nm",
        "dead_share", "full_share", "exponent", "oil_flow_m3_s", "motor_efficiency")},
    ("pump", "breakaway_nm"): "starts from standstill with a duty that rises slowly",
    ("pump", "play_share"): "slow changes of the flow up and down: the pump curve on the bench",
    ("pump", "inertia_kg_m2"): STEPS,
    ("pump", "lag_s"): STEPS,
    ("pump", "shutoff_pa"): GAUGE, ("pump", "droop_pa"): GAUGE, ("pump", "flow_m3_s"): GAUGE,
    ("valve", "flow_m3_s"): "the valve driven wide open",
    ("valve", "rangeability"): "the valve driven from shut to wide open: the pump curve on the "
                               "bench",
    ("valve", "travel_s"): "the valve driven from one end to the other",
    ("valve", "play_share"): "small corrections in turn up and down",
    ("valve", "start_s"): "small corrections, each by a short pulse",
    ("valve", "overrun_s"): "small corrections, each by a short pulse",
    ("valve", "start_share"): "a start from a valve that was run to its end",
    ("manifold", "compliance_m3_pa"): STEPS, ("manifold", "after_meter_share"): STEPS,
    ("manifold", "air_m3"): "the same steps at a low and at a high pressure",
    ("manifold", "relief_pa"): "full duty with a single section on, until the relief valve opens",
    ("manifold", "main_m"): GAUGE, ("manifold", "main_fittings"): GAUGE,
    ("sections", "wear"): SECTIONS + "; catching the outlets tells it without a drive",
    ("sections", "check_pa"): "flows so low that the check valves begin to shut",
    ("sections", "valve_flow_m3_s"): GAUGE, ("sections", "hose_m"): GAUGE,
    ("sections", "hose_fittings"): GAUGE,
    ("sections", "open_s"): SECTIONS, ("sections", "close_s"): SECTIONS,
    ("meter", "pulses_per_m3"): "a catch test: docs/how_to/calibrate_the_flow_meter.md",
    ("meter", "lag_s"): STEPS + ", at a low flow",
    ("meter", "floor_share"): LOW, ("meter", "coast_s"): STOPS,
    ("supply", "resistance_ohm"): "nothing more: the board measures the supply itself",
}


def fit_text(title: str, found: Estimate, figures: list[Quantity], us: bool) -> str:
    """Everything that is printed."""
    episode = found.episode
    lines = [f"{title}, {episode.duration_s:.0f} s, {len(episode.pulses)} readings of the meter; "
             f"the twin's rate is {100 * found.misfit_share:.1f} % off in the root mean square"]
    if episode.left_out_s > 1.0:
        lines.append(f"the liveliest unbroken stretch; {episode.left_out_s:.0f} s of the run are "
                     "not used")
    lines.append(f"  {'':{NAME_WIDTH}}{'found':>{VALUE_WIDTH}}   95 % interval")
    lines += [_figure(figure, us) for figure in figures]
    return "\n".join(lines + _unlike(found) + _open(found))


def _figure(figure: Quantity, us: bool) -> str:
    show = SHOWN[figure.kind]
    low, high = figure.interval
    text = (f"  {figure.name:{NAME_WIDTH}}{show(figure.value, us):>{VALUE_WIDTH}}   "
            f"{show(max(low, 0.0), us)} to {show(high, us)}")
    return text + (", hardly told by this run" if figure.told > TOLD else "")


def _unlike(found: Estimate) -> list[str]:
    """Parts that are far from what such a machine has."""
    far = [unknown.key for unknown, z, deviation
           in zip(found.unknowns, found.z, found.deviations, strict=True)
           if abs(z) - CONFIDENCE * deviation > LEANS]
    return [f"unlike a machine of kind {found.spec.kind}: {', '.join(far)}"] if far else []


def _open(found: Estimate) -> list[str]:
    """What the run cannot tell, by what would."""
    groups: dict[str, list[str]] = defaultdict(list)
    for unknown, deviation in zip(found.unknowns, found.deviations, strict=True):
        if deviation > TOLD:
            names = groups[WOULD_TELL[unknown.table, unknown.name]]
            name = f"{unknown.table}.{unknown.name}"
            if name not in names:
                names.append(name)
    if not groups:
        return []
    lines = ["what this run cannot tell (these keep about what such a machine has):"]
    for would, names in groups.items():
        lines += [f"  {', '.join(names)}", f"    would tell: {would}"]
    return lines


def interval_note(unknown: Unknown, z: float, deviation: float, us: bool) -> str:
    """The 95 % interval of a parameter, for a comment in a machine file."""
    if deviation > TOLD:
        return "hardly told by the run"
    low, high = (shown(unknown.name, unknown.value(z + side * CONFIDENCE * deviation), us)
                 for side in (-1, 1))
    return f"{low} to {high}"
