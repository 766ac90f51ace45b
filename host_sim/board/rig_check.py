"""A board through the acceptance sequence on the bench rig, beside the twin with the same settings.

The board is what is tested: its own settings, its own program, real pins. The rig plays the
machine and the hands; rates are sent over the link. Both runs are judged by the same judge.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from host_sim.board.link_client import LinkClient, Refused
from host_sim.board.rig_line import RigError, RigLine, Row
from host_sim.board.rig_numbers import rig_numbers
from host_sim.common.errors import InputError
from host_sim.plant.spec import MachineSpec
from host_sim.runs.record import RunRecord
from host_sim.runs.recorder import section_column
from host_sim.runs.truth import Truth, true_run
from host_sim.trials.acceptance import sequence
from host_sim.trials.acceptance.judge import TICK_S, JudgedRow, judge
from host_sim.trials.acceptance.sequence import FALLING, Sequence
from host_sim.trials.acceptance.trial import DrivenSequence, Trial, rates_of
from host_sim.twin.flashed import opening_contacts
from host_sim.twin.hands import Hands
from host_sim.twin.twin import Twin
from rate_control.interlock import APPLYING, READY
from rate_control.settings import Settings, build, row

TWIN, RIG = "twin", "bench rig"
START_RATE_S = 2.0  # of the sequence: the master is on, the implement still up
SILENT_S = 3.0
# How far the rig may fall behind the twin: its pulses come a step later than the twin's, and a
# board on a cable hears of a new rate later than one whose knob is turned.
LATER_S = 0.5
MORE_WRONG = 1.25
LITRES_MORE = 0.02
TRUTHS = 8  # columns of a row before those of the sections
MILLISECONDS, WAY_UM, SPEED, FLOW, PRESSURE, CLOSED, DUTY, MASK = range(TRUTHS)

Tell = Callable[[float], None]


@dataclass(frozen=True)
class RigOutcome:
    """Both runs as one trial, what the rig said of itself, and where the board fell behind."""

    trial: Trial
    late_ms: float
    notes: list[str]
    behind: list[str]


@dataclass(frozen=True)
class Task:
    """What is driven: a sequence, and the rates that are sent while it runs, by time."""

    sequence: Sequence
    rates: list[tuple[float, int]]
    first_rate_ml_ha: int
    notes: list[str]


def settings_of(client: LinkClient) -> Settings:
    """The board's settings. Raises InputError where it could not apply with them."""
    status = client.ask("status")
    if status["settings"] != "taken on":
        raise InputError(f"the board's settings are {status['settings']}: put a machine's there "
                         "(board settings set) and take them on at the board first")
    values = client.ask("settings.get")["values"]
    settings, problems = build({name: values[name] for name in values if row(name)})
    if settings is None or problems:
        raise InputError("the board's settings are not valid here: " + "; ".join(problems))
    return settings


def task_for(settings: Settings, short: bool = False) -> Task:
    """The whole sequence; without the resetting of rates where the settings forbid those."""
    unit_l_ha = sequence.unit_rate_l_ha(settings)
    start, top = (1000 * unit_l_ha * hundreds
                  for hundreds in (sequence.START_HUNDREDS, max(FALLING)))
    highest = settings.highest_rate_ml_ha
    if not 0 < start <= highest:
        raise InputError(f"the board's highest rate must be {start // 1000} L/ha or more for the "
                         f"start of the sequence, is {highest / 1000:g} L/ha")
    notes = []
    if top > highest and not short:
        short = True
        notes.append(f"rate up and rate down left out: they go to {top // 1000} L/ha, the board's "
                     f"highest rate is {highest / 1000:g} L/ha")
    driven = sequence.short_changes(settings) if short else sequence.changes(settings)
    rates = [(START_RATE_S, start)]
    rates += [(event.at_s, event.rate_ml_ha) for event in driven.events
              if event.at_s is not None and event.rate_ml_ha not in (None, rates[-1][1])]
    return Task(driven, rates, start if short else top, notes)


def contacts(task: Sequence, settings: Settings) -> list[tuple[float, int]]:
    """Which contacts are closed from when on, as the rig takes it."""
    hands = Hands(task.events, settings.section_count, settings.rate_ml_ha)
    opening = opening_contacts(settings)
    found = [(0.0, hands.switches ^ opening)]
    for at_s in sorted({event.when for event in task.events}):
        hands.act(at_s, 0.0)
        found.append((at_s, hands.switches ^ opening))
    return found


class RigRun:
    """One run of the rig with a board at its pins."""

    def __init__(self, client: LinkClient, rig: RigLine, task: Task, settings: Settings) -> None:
        self._client = client
        self._rig = rig
        self._task = task
        self._settings = settings
        self._rows: list[Row] = []
        self._wanted: list[int] = []

    def drive(self, spec: MachineSpec, tell: Tell = lambda share: None) -> RunRecord:
        """Drive the sequence to its end. Raises RigError, LinkError or InputError."""
        rig, driven = self._rig, self._task.sequence
        rig.greet()
        rig.ask("load", plant=rig_numbers(spec), speed=driven.speed,
                switches=contacts(driven, self._settings))
        self._set_rate(self._task.first_rate_ml_ha)
        rig.start()
        try:
            self._follow(tell)
        finally:
            if rig.over is None:
                rig.ask("rest")
        return self._record()

    def _follow(self, tell: Tell) -> None:
        rates = list(self._task.rates)
        wanted = self._task.first_rate_ml_ha
        heard_s = self._client.now_s()
        while self._rig.over is None:
            for told in self._rig.take():
                heard_s = self._client.now_s()
                self._rows.append(told)
                self._wanted.append(wanted)
                time_s = told[MILLISECONDS] / 1e3
                tell(time_s / self._task.sequence.now_s)
                while rates and rates[0][0] <= time_s + TICK_S / 2:
                    wanted = rates.pop(0)[1]
                    self._set_rate(wanted)
            if self._client.now_s() - heard_s > SILENT_S:
                raise RigError("the rig has fallen silent")

    def _set_rate(self, rate_ml_ha: int) -> None:
        try:
            self._client.ask("rate.set", rate_ml_ha=rate_ml_ha)
        except Refused as refused:
            raise InputError(f"the board refuses a rate of {rate_ml_ha / 1000:g} L/ha: {refused}: "
                             "did its master switch arm it?") from refused

    def _record(self) -> RunRecord:
        if len(self._rows) < 2:
            raise RigError("the rig has sent no rows")
        table = np.array(self._rows, dtype=np.float64)
        steps = np.diff(table[:, MILLISECONDS])
        if not np.all(steps == TICK_S * 1e3):
            at_s = table[int(np.flatnonzero(steps != TICK_S * 1e3)[0]), MILLISECONDS] / 1e3
            raise RigError(f"rows of the rig are missing after {at_s:.2f} s: was the host busy?")
        hands = table[:, CLOSED].astype(int) ^ opening_contacts(self._settings)
        columns = {
            "time_s": table[:, MILLISECONDS] / 1e3,
            "true_distance_m": table[:, WAY_UM] * 1e-6,
            "hand_switches": hands.astype(np.float64),
            "wanted_ml_ha": np.array(self._wanted, dtype=np.float64),
            "state": np.where(table[:, MASK] > 0, APPLYING, READY).astype(np.float64),
        }
        columns |= {section_column(index): table[:, TRUTHS + index] * 1e-3
                    for index in range(table.shape[1] - TRUTHS)}
        return RunRecord(columns, {"settings": self._settings.as_dict()})


def check_on_rig(name: str, spec: MachineSpec, client: LinkClient, rig: RigLine,
                 tell: Tell = lambda share: None, short: bool = False) -> RigOutcome:
    """Drive the board, drive the twin with the board's settings, judge both."""
    settings = settings_of(client)
    task = task_for(settings, short)
    record = RigRun(client, rig, task, settings).drive(spec, tell)
    widths_m = [width_mm / 1000 for width_mm in settings.widths_mm()]
    even = spec.override(ground={"noise_m_s": 0.0})  # the rig's ground is even
    scenario = task.sequence.scenario(name, even, settings, 1)
    driven = {TWIN: _judged(task, true_run(Twin(scenario).run(), widths_m)),
              RIG: _judged(task, true_run(record, widths_m))}
    trial = Trial(name, spec.actuator, settings, task.sequence, driven)
    late_ms = (rig.over or {}).get("late_us", 0) / 1e3
    return RigOutcome(trial, late_ms, task.notes, behind(driven[TWIN].rows, driven[RIG].rows))


def _judged(task: Task, truth: Truth) -> DrivenSequence:
    return DrivenSequence(judge(task.sequence, truth), [], truth.time_s, *rates_of(truth))


def behind(twin: dict[str, JudgedRow], board: dict[str, JudgedRow]) -> list[str]:
    """Where the board on the rig does worse than the twin by more than the rig explains."""
    found = []
    for part, best in twin.items():
        own = board[part]
        if own.settle_5_s > best.settle_5_s + LATER_S:
            found.append(f"{part}: within 5 % after {own.settle_5_s:.2f} s, the twin after "
                         f"{best.settle_5_s:.2f} s")
        if own.wrong_l > MORE_WRONG * best.wrong_l + LITRES_MORE:
            found.append(f"{part}: {own.wrong_l:.3f} L in the wrong place, the twin "
                         f"{best.wrong_l:.3f} L")
    return found


