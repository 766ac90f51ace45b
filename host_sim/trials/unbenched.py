"""A pump machine that was only sized, with learning at work off and on, beside the same one tuned.

Each build is drawn: its parts are off their catalogue by the spreads that stand with them
(plant/pump_spec.py, chosen, of no source), its outlets by OUTLET_OFF besides. `size` knows the
catalogue alone; what it predicts is the curve and the look-ahead. The owner has done the meter's
catch and the ground-speed course.

All three drive the same way: so many metres at work, a stop with the master switch off, and as much
again, which is judged in truth by the metre of each section.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from random import Random

import numpy as np

from host_sim.common.parallel import run_all
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.spec import MachineSpec
from host_sim.plant.spread import vary
from host_sim.runs.record import RunRecord
from host_sim.runs.summary import metre_figures
from host_sim.runs.truth import ground_of, true_run
from host_sim.sizing.machine import PUMP_CLASSES, Outlet, SizedMachine
from host_sim.sizing.predicted import predicted_settings
from host_sim.trials.commissioning.commission import commission
from host_sim.trials.commissioning.owner import SPACING_M, careful_slips, owner_settings
from host_sim.twin.disturbances import ORDINARY
from host_sim.twin.hands import Event
from host_sim.twin.scenario import Scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from rate_control.settings import Settings, build
from rate_control.units import AREA_PER_RATE, SWITCH_IMPLEMENT, SWITCH_MASTER

KINDS = ("electric_s", "electric_m", "electric_l")
OUTLET_OFF = 0.05  # ISO 10625 permits 5 % of a new nozzle; the rest of a bar errs less
LEARN_M = 200.0
SPEEDS_M_S = (1.4, 2.2)  # to and fro, so that more than one point of the curve is seen
SWING_S = 20.0
BEGIN_S = 3.0  # of the first pass
STAND_S = 6.0
FLOW_SHARE = 0.45  # of the tuned machine's highest flow, at the mean of the speeds
PASS_M_S = sum(SPEEDS_M_S) / 2
PASS_S = LEARN_M / PASS_M_S
AIM = 1.2  # times the error of the tuned machine
NOISE = 0.02  # of an error: less is no difference


@dataclass(frozen=True)
class Unbenched:
    """Errors of one build by the metre, rms in percent, after the stop."""

    seed: int
    kind: str
    tuned_pct: float
    sized_pct: float
    learned_pct: float

    @property
    def of_tuned(self) -> float:
        """Its error after learning over that of the tuned machine."""
        return self.learned_pct / self.tuned_pct

    @property
    def of_sized(self) -> float:
        """Its error with learning on over that with learning off."""
        return self.learned_pct / self.sized_pct


def drawn(seed: int) -> tuple[str, MachineSpec, Random]:
    """The kind and the true machine of a seed."""
    rng = Random(seed)
    kind = KINDS[seed % len(KINDS)]
    spec = vary(machine_spec(kind), rng)
    flow = spec.sections.orifice_flow_m3_s * rng.uniform(1 - OUTLET_OFF, 1 + OUTLET_OFF)
    return kind, spec.override(sections={"orifice_flow_m3_s": flow}), rng


def sized_settings(kind: str, spec: MachineSpec, rng: Random) -> Settings:
    """The owner's, with the curve that `size` predicts from the catalogue."""
    parts = machine_spec(kind).sections
    outlet = Outlet(kind, parts.orifice_flow_m3_s, parts.orifice_pressure_pa, (1e5, 4e5))
    sized = SizedMachine(outlet, SPACING_M, tuple(parts.orifice_count), check_pa=parts.check_pa,
                         density_kg_m3=spec.liquid.density_kg_m3,
                         pump=PUMP_CLASSES[kind[-1].upper()])
    settings, problems = build(owner_settings(spec, careful_slips(rng)) | predicted_settings(sized))
    assert settings is not None, problems
    return settings


def try_unbenched(seed: int, field: str = ORDINARY) -> Unbenched:
    """Drive a build in its three ways."""
    kind, spec, rng = drawn(seed)
    sized = sized_settings(kind, spec, rng)
    entered = sized.as_dict()
    tuned = commission(spec, seed, entered=entered).settings
    rate = (FLOW_SHARE * tuned.curve_flow_ul_s[-1] * AREA_PER_RATE
            / (1e3 * PASS_M_S * tuned.total_width_mm()))
    errors = [error_pct(drive(spec, with_changes(settings, rate_ml_ha=round(rate),
                                                 curve_learning=learning), seed, field),
                        settings)
              for settings, learning in ((tuned, 0), (sized, 0), (sized, 1))]
    return Unbenched(seed, kind, *errors)


def with_changes(settings: Settings, **changes: int) -> Settings:
    """Other settings."""
    changed, problems = build(changes, settings)
    assert changed is not None, problems
    return changed


def drive(spec: MachineSpec, settings: Settings, seed: int, field: str = ORDINARY,
          faults: dict[str, float] | None = None) -> RunRecord:
    """At work, a stop, at work again; faults act from the start."""
    return Twin(scenario(spec, settings, seed, field, faults)).run()


def scenario(spec: MachineSpec, settings: Settings, seed: int, field: str = ORDINARY,
             faults: dict[str, float] | None = None) -> Scenario:
    """The drive of both passes."""
    begin, again = BEGIN_S, BEGIN_S + PASS_S + STAND_S
    low, high = SPEEDS_M_S
    points = [(0.0, PASS_M_S)]
    for start_s in (begin, again):
        swings = np.arange(0.0, PASS_S - 1.0, SWING_S / 2)
        points += [(start_s + at_s, high if index % 2 else low)
                   for index, at_s in enumerate(swings.tolist())]
        points += [(start_s + PASS_S, low)]
        if start_s == begin:
            points += [(start_s + PASS_S + 1.0, 0.0), (again - 1.5, 0.0)]
    events = [Event("acts", at_s=0.0, faults=faults)] if faults else []
    for start_s in (begin, again):
        events += [Event("master on", at_s=start_s - 1.0, on=SWITCH_MASTER),
                   Event("down", at_s=start_s, on=SWITCH_IMPLEMENT),
                   Event("up", at_s=start_s + PASS_S, off=SWITCH_IMPLEMENT),
                   Event("master off", at_s=start_s + PASS_S + 0.5, off=SWITCH_MASTER)]
    times_s, speeds = zip(*points, strict=True)
    one = Scenario("unbenched", spec, settings, SpeedTrace("to and fro", times_s, speeds), seed,
                   events)
    return dataclasses.replace(one, field=field)


def error_pct(record: RunRecord, settings: Settings) -> float:
    """By the metre of the second pass, rms."""
    widths_m = [width / 1e3 for width in settings.widths_mm()]
    truth = true_run(record, widths_m)
    second = truth.permitted & (truth.time_s > BEGIN_S + PASS_S + STAND_S / 2)
    figures = metre_figures(ground_of(truth, second), widths_m, "")
    return float(figures["rms_pct"])


def run_unbenched(builds: int, seed: int, pool: Executor | None,
                  tell: Callable[[float], None], field: str = ORDINARY) -> list[Unbenched]:
    """Try so many builds, with seeds from `seed` on."""
    return run_all(partial(try_unbenched, field=field), range(seed, seed + builds), pool, tell)


def table(found: list[Unbenched]) -> list[str]:
    """The lines to print."""
    lines = [f"{'build':>6} {'kind':<11}{'tuned %':>9}{'sized %':>9}{'learned %':>11}"
             f"{'of tuned':>10}{'of sized':>10}"]
    lines += [f"{one.seed:>6} {one.kind:<11}{one.tuned_pct:>9.2f}{one.sized_pct:>9.2f}"
              f"{one.learned_pct:>11.2f}{one.of_tuned:>10.2f}{one.of_sized:>10.2f}"
              for one in found]
    worse = sum(one.of_sized > 1 + NOISE for one in found)
    near = sum(one.of_tuned <= AIM for one in found)
    lines.append(f"{near} of {len(found)} at most {AIM} times the tuned machine's error; "
                 f"{worse} worse than with learning off, by more than {100 * NOISE:.0f} % of it")
    return lines


def as_json(found: list[Unbenched], field: str) -> dict[str, object]:
    """The figures of `unbenched --json`."""
    return {"field": field, "builds": [
        dataclasses.asdict(one) | {"of_tuned": one.of_tuned, "of_sized": one.of_sized}
        for one in found]}
