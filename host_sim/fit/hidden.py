"""Whether the intervals of `fit` hold: machines whose parameters are hidden from it.

Each is a random build as `campaign` draws it, set up and tuned by its owner, and driven. `fit` is
given what the controller recorded and the kind of the machine; then the truth is looked at.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from dataclasses import dataclass
from functools import partial

import numpy as np

from host_sim.common.arguments import count
from host_sim.common.parallel import executor, run_all
from host_sim.common.progress import progress
from host_sim.fit.episode import LONGEST_S, episode_of
from host_sim.fit.estimate import TOLD, estimate
from host_sim.fit.quantities import CONFIDENCE, measures, point_of, quantities
from host_sim.fit.unknowns import values_of
from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.spec import MachineSpec
from host_sim.runs.measured import as_measured
from host_sim.runs.record import RunRecord
from host_sim.trials.acceptance import sequence as test_sequence
from host_sim.trials.campaign.build import Build, draw_build
from host_sim.trials.commissioning.commission import commission
from host_sim.trials.commissioning.performed import BenchError
from host_sim.twin.disturbances import CALM, FIELDS
from host_sim.twin.twin import Twin

BUILDS = 50
LEAST_PCT = 90.0
PARTS = "parts that the run tells", "parts that it cannot tell"


@dataclass(frozen=True)
class Guess:
    """One figure of one build: how many deviations it is off, and how well it is told."""

    name: str
    off: float
    told: float

    @property
    def inside(self) -> bool:
        return abs(self.off) <= CONFIDENCE


@dataclass(frozen=True)
class Uncovered:
    """What came of one build; a failure is the reason why its own procedures gave up."""

    seed: int
    kind: str
    guesses: tuple[Guess, ...] = ()
    noise: float = 0.0
    misfit_share: float = 0.0
    failure: str = ""


def try_hidden(seed: int, field: str = CALM, longest_s: float = LONGEST_S) -> Uncovered:
    """Draw, set up, drive and hide a build; fit it; compare."""
    build = draw_build(seed)
    try:
        episode = episode_of(f"build {seed}", _recorded(build, field), longest_s)
    except BenchError as error:
        return Uncovered(seed, build.kind, failure=str(error))
    found = estimate(machine_spec(build.kind), episode)
    point = point_of(found)
    truth = _in_the_field(build.spec, field)
    guesses = []
    for one, (_, _, measure) in zip(quantities(found, point), measures(point), strict=True):
        guesses.append(Guess(one.name if "flow" not in one.name else "curve",
                             (one.value - measure(truth)) / one.deviation, one.told))
    true = [unknown.z_of(value) for unknown, value
            in zip(found.unknowns, values_of(truth, found.unknowns), strict=True)]
    for unknown, z, at, deviation in zip(found.unknowns, found.z, true, found.deviations,
                                         strict=True):
        if unknown.name == "start_share":
            continue  # where the drive began, not where its liveliest stretch did
        guesses.append(Guess(PARTS[int(deviation > TOLD)], float(z - at) / deviation,
                             float(deviation)))
    return Uncovered(seed, build.kind, tuple(guesses), found.noise, found.misfit_share)


def _in_the_field(spec: MachineSpec, field: str) -> MachineSpec:
    """The machine with the air that the field adds to what is in its hoses."""
    air_m3 = FIELDS[field].get("air_m3", 0.0)
    return spec.override(manifold={"air_m3": spec.manifold.air_m3 + air_m3})


def _recorded(build: Build, field: str) -> RunRecord:
    """What the controller recorded of a drive through speeds and sections."""
    settings = commission(build.spec, build.seed, build.wish, build.slips).settings
    scenario = test_sequence.short_changes(settings).scenario(
        f"build {build.seed}", build.spec, settings, build.seed)
    scenario.field = field
    return as_measured(Twin(scenario).run())


def text(tried: list[Uncovered]) -> str:
    """The table: for each figure how often the truth was inside, and how well it was told."""
    lines = [f"{len(tried)} hidden builds, 95 % intervals", f"{'':28}{'inside':>9}{'of':>6}"
             f"{'width over that beforehand':>30}"]
    for actuator in ("pump", "valve"):
        by_name: dict[str, list[Guess]] = defaultdict(list)
        for one in tried:
            if (KINDS[one.kind]().valve is not None) == (actuator == "valve"):
                for guess in one.guesses:
                    by_name[guess.name].append(guess)
        lines.append(f"{actuator} machines")
        for name, guesses in by_name.items():
            inside = 100.0 * np.mean([guess.inside for guess in guesses])
            told = float(np.median([guess.told for guess in guesses]))
            lines.append(f"  {name:26}{inside:7.0f} %{len(guesses):6}{told:30.2f}")
    lines.append(f"all{covered_pct(tried):32.1f} %")
    lines += [f"  seed {one.seed}: {one.failure}" for one in tried if one.failure]
    return "\n".join(lines)


def covered_pct(tried: list[Uncovered], told_only: bool = True) -> float:
    """Share of the true values that are inside, of all that the runs tell, or of all."""
    guesses = [guess for one in tried for guess in one.guesses
               if not told_only or guess.name != PARTS[1]]
    return 100.0 * float(np.mean([guess.inside for guess in guesses]))


def main() -> int:
    """Print the table; the status is 0 where the intervals hold."""
    parser = argparse.ArgumentParser(prog="python -m host_sim.fit.hidden", description=__doc__)
    parser.add_argument("builds", nargs="?", type=count, default=BUILDS)
    parser.add_argument("seed", nargs="?", type=count, default=1)
    parser.add_argument("field", nargs="?", choices=FIELDS, default=CALM)
    args = parser.parse_args()
    with executor(None) as pool, progress("hiding and finding") as tell:
        tried = run_all(partial(try_hidden, field=args.field),
                        range(args.seed, args.seed + args.builds), pool, tell)
    print(text(tried))
    return 0 if covered_pct(tried) >= LEAST_PCT else 1


if __name__ == "__main__":
    sys.exit(main())
