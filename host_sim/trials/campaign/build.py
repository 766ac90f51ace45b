"""One build: a random machine, set up by its owner, tuned by itself, driven and judged.

Everything follows from the seed, so that any build can be looked at again.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import numpy as np

from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.spec import MachineSpec
from host_sim.plant.spread import vary
from host_sim.runs.record import Column, RunRecord
from host_sim.runs.truth import Truth, true_run
from host_sim.trials.acceptance import sequence as test_sequence
from host_sim.trials.acceptance.contenders import CONTENDERS, ORACLE, THE_CONTROLLER
from host_sim.trials.acceptance.judge import (
    BAND,
    STEADY_S,
    TICK_S,
    overshoot,
    rate_error,
    settling_s,
    span_of,
    steady_error,
    wrong_ml,
)
from host_sim.trials.acceptance.sequence import OFF, ON, STARTING, STEPS, Stage
from host_sim.trials.commissioning.commission import Wish, commission
from host_sim.trials.commissioning.owner import Slips, careful_slips
from host_sim.trials.commissioning.performed import BenchError
from host_sim.trials.drift import AS_TUNED, DRIFTS, Drift
from host_sim.twin.disturbances import CALM
from host_sim.twin.twin import Twin
from rate_control import faults
from rate_control.settings import Settings

ASKED_S = (1.0, 3.0)  # settling times that owners ask for
LATE_FACTOR = 2.0  # a build is late that needs more than this times its settling time
SWING_SHARE = 0.02  # a rate that swings by more than this either way surges,
CROSSINGS = 4  # if it goes through its mean at least so often in the last half of a stage


@dataclass(frozen=True)
class Build:
    """A drawn machine, the slips of its owner's hand and what the owner asks for."""

    seed: int
    kind: str
    spec: MachineSpec
    slips: Slips
    wish: Wish


@dataclass(frozen=True)
class BuildResult:
    """What came of a build. A failure is the reason why a procedure gave up, else empty.

    settled_s is the longest time to come within 5 % of the flow that a stage ends with, and
    settled_in that stage; the first start is left out, in which a valve comes from its stop.
    swing_pct is half of what the rate swings by, peak to peak, where it surges, else 0.
    steady_pct is the largest steady error of the rate: calibration, meter, speed sensor. Stages
    in which the controller says that the machine is at its limit count for nothing; limited is
    how many those were.
    oracle_s is what an oracle needs in the worst stage, for late builds in a calm field only.
    warnings are names of all faults and warnings that the controller showed.
    """

    seed: int
    kind: str
    asked_s: float
    drift: str = ""  # its name in drift.py; empty: as it was tuned
    failure: str = ""
    granted_s: float = 0.0
    settled_s: float = 0.0
    settled_in: str = ""
    worst_start_s: float = 0.0
    overshoot_pct: float = 0.0
    wrong_pct: float = 0.0
    steady_pct: float = 0.0
    swing_pct: float = 0.0
    limited: int = 0
    oracle_s: float | None = None
    warnings: tuple[str, ...] = ()

    @property
    def late(self) -> bool:
        """Whether it missed twice its settling time."""
        return self.settled_s > LATE_FACTOR * self.granted_s


def draw_build(seed: int) -> Build:
    """The build of a seed: any kind, every parameter with a spread drawn from it."""
    rng = Random(seed)
    kind = rng.choice(list(KINDS))
    spec = vary(machine_spec(kind), rng)
    slips = careful_slips(rng)
    return Build(seed, kind, spec, slips, Wish(settling_s=round(rng.uniform(*ASKED_S), 1)))


def try_build(seed: int, field: str = CALM) -> BuildResult:
    """Draw, set up, drive in a field and judge."""
    build = draw_build(seed)
    try:
        settings = commission(build.spec, seed, build.wish, build.slips).settings
    except BenchError as error:
        return BuildResult(seed, build.kind, build.wish.settling_s, failure=str(error))
    result = judged(build, settings, AS_TUNED, field)
    return _with_oracle(result, build, settings) if result.late and field == CALM else result


def try_drifts(seed: int, field: str = CALM) -> list[BuildResult]:
    """Draw and set up; then drive as tuned, and after each drift that can happen to it."""
    build = draw_build(seed)
    try:
        settings = commission(build.spec, seed, build.wish, build.slips).settings
    except BenchError as error:
        return [BuildResult(seed, build.kind, build.wish.settling_s, failure=str(error))]
    return [judged(build, settings, drift, field)
            for drift in (AS_TUNED, *DRIFTS) if drift.fits(build.spec)]


def judged(build: Build, settings: Settings, drift: Drift, field: str) -> BuildResult:
    """Drive a build that has been set up, and has drifted since, and judge it."""
    sequence = test_sequence.short_changes(settings)
    record, truth = drive_build(build, settings, THE_CONTROLLER, drift, field)
    stages = [stage for stage in sequence.stages[1:] if not at_limit(record, span_of(truth, stage))]
    errors = [rate_error(truth, span_of(truth, stage)) for stage in stages]
    times_s = [settled_to_end_s(error, stage, build.spec)
               for error, stage in zip(errors, stages, strict=True)]
    worst = int(np.argmax(times_s))
    return BuildResult(
        build.seed, build.kind, build.wish.settling_s, drift.name,
        granted_s=settings.settling_time_ms / 1e3,
        settled_s=times_s[worst],
        settled_in=f"{stages[worst].part} at {stages[worst].start_s:.0f} s",
        worst_start_s=stages[worst].start_s,
        overshoot_pct=100 * max((overshoot(error) for error, stage
                                 in zip(errors, stages, strict=True) if stage.part == STEPS),
                                default=0.0),
        wrong_pct=_wrong_pct(truth, stages),
        steady_pct=100 * max((steady_error(truth, span_of(truth, stage)) for stage in stages),
                             key=abs),
        swing_pct=100 * max(swing(error) for error in errors),
        limited=len(sequence.stages) - 1 - len(stages),
        warnings=tuple(faults.names(int(np.bitwise_or.reduce(record["faults"].astype(int))))),
    )


def at_limit(record: RunRecord, span: slice) -> bool:
    """Whether the controller said at the end of a stage that the machine can give no more or less.
    """
    return bool(record["saturated"][span][-steady_ticks():].any())


def drive_build(
    build: Build, settings: Settings, contender: str, drift: Drift = AS_TUNED, field: str = CALM
) -> tuple[RunRecord, Truth]:
    """A drive, with an exact speed sensor, and the truth of it."""
    even = build.spec.override(ground={"noise_m_s": 0.0})
    sequence = test_sequence.short_changes(settings)
    scenario = drift.befall(
        sequence.scenario(f"build {build.seed}", even, settings, build.seed))
    scenario.field = field
    record = Twin(scenario, contender=CONTENDERS[contender]).run()
    return record, true_run(record, scenario.section_width_m)


def _with_oracle(result: BuildResult, build: Build, settings: Settings) -> BuildResult:
    _, truth = drive_build(build, settings, ORACLE)
    stage = next(stage for stage in test_sequence.short_changes(settings).stages
                 if stage.start_s == result.worst_start_s)
    oracle_s = settled_to_end_s(rate_error(truth, span_of(truth, stage)), stage, build.spec)
    return BuildResult(**{**vars(result), "oracle_s": oracle_s})


def steady_ticks() -> int:
    """How much of the end of a stage counts as steady."""
    return round(STEADY_S / TICK_S)


def settled_to_end_s(error: Column, stage: Stage, spec: MachineSpec) -> float:
    """Time to come within the band around the flow that the stage ends with.

    It counts from when the change is complete: a section valve takes its time to open or close.
    """
    end = 1.0 + float(error[-steady_ticks():].mean())
    if end <= BAND:  # nothing comes out
        return stage.end_s - stage.start_s
    valve_s = {OFF: spec.sections.close_s, ON: spec.sections.open_s,
               STARTING: spec.sections.open_s}.get(stage.part, 0.0)
    changed = round((stage.changed_s - stage.start_s + valve_s) / TICK_S)
    return settling_s((1.0 + error) / end - 1.0, BAND, changed)


def swing(error: Column) -> float:
    """Half of the peak-to-peak swing in the last half of a stage where it surges, else 0.

    It surges if the rate crosses its mean at least CROSSINGS times there and swings by more
    than SWING_SHARE either way.
    """
    late = error[len(error) // 2:]
    around = late - late.mean()
    crossings = np.count_nonzero(np.diff(np.sign(around)))
    half = float(around.max() - around.min()) / 2.0
    return half if crossings >= CROSSINGS and half > SWING_SHARE else 0.0


def _wrong_pct(truth: Truth, stages: list[Stage]) -> float:
    """Volume in the wrong place over the volume wanted."""
    spans = [span_of(truth, stage) for stage in stages]
    wrong = sum(sum(wrong_ml(truth, span)) for span in spans)
    return 100.0 * wrong / sum(float(truth.target_ml[span].sum()) for span in spans)
