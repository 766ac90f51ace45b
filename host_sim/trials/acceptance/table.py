"""The acceptance test as text: a table of rows for each machine, then the claims."""

from __future__ import annotations

from host_sim.common import units
from host_sim.plant.units import ML_M3
from host_sim.trials.acceptance.session import AcceptanceOutcome
from host_sim.trials.acceptance.trial import DrivenSequence, Trial

HEADINGS = ("within 10 %", "within 5 %", "beyond", "too much", "too little", "CV", "mean dev.")
WIDTHS = (12, 11, 8, 10, 11, 8, 10)
NAME_WIDTH = 24
DRIFT_WIDTH = 60
LITRES_ML = 1e3


def acceptance_text(outcome: AcceptanceOutcome, us: bool) -> str:
    """Everything, ready to print."""
    blocks = [trial_text(trial, us) for trial in outcome.trials]
    if outcome.trace:
        blocks.append(_trace(outcome))
    blocks.append(_claims(outcome))
    return "\n\n".join(blocks)


def trial_text(trial: Trial, us: bool) -> str:
    lines = [f"{trial.machine}: {_rates(trial, us)}",
             " " * NAME_WIDTH + "".join(f"{h:>{w}}" for h, w in zip(HEADINGS, WIDTHS, strict=True)),
             " " * NAME_WIDTH + "".join(f"{u:>{w}}" for u, w in zip(_unit_row(us), WIDTHS,
                                                                    strict=True))]
    first = next(iter(trial.driven.values()))
    for part in first.rows:
        lines.append(part)
        lines += [_row(name, part, driven, us) for name, driven in trial.driven.items()]
    return "\n".join([*lines, "", *_drifted(trial, us)] if trial.drifted else lines)


def _drifted(trial: Trial, us: bool) -> list[str]:
    """The controller's changes again, all together, after each drift."""
    volume = units.unit("volume_ml", us)
    lines = [f"{f'{trial.machine} after drift':<{DRIFT_WIDTH}}within 5 %  too much too little"
             "  steady error  warnings",
             " " * DRIFT_WIDTH + f"{'s':>10}{volume:>10}{volume:>11}{'%':>14}"]
    for drifted in trial.drifted:
        over, under = (units.shown("volume_ml", litres * LITRES_ML * ML_M3, us)
                       for litres in (drifted.over_l, drifted.under_l))
        lines.append(f"  {drifted.words:<{DRIFT_WIDTH - 2}}{drifted.settle_5_s:>10.2f}{over:>10.3f}"
                     f"{under:>11.3f}{drifted.steady_pct:>+14.1f}  {' '.join(drifted.warnings)}"
                     .rstrip())
    return lines


def _rates(trial: Trial, us: bool) -> str:
    unit_l_ha = trial.sequence.unit_l_ha
    text = units.text("rate_ml_ha", unit_l_ha * 1e-7, us)
    if unit_l_ha == 100:
        return f"{text} is the unit of the series, as in the standard"
    return f"{text} stands for 100 L/ha, so that 500 L/ha is within the machine's range"


def _unit_row(us: bool) -> tuple[str, ...]:
    volume = units.unit("volume_ml", us)
    return ("s", "s", "%", volume, volume, "%", "%")


def _row(name: str, part: str, driven: DrivenSequence, us: bool) -> str:
    row = driven.rows[part]
    over, under = (units.shown("volume_ml", litres * LITRES_ML * ML_M3, us)
                   for litres in (row.over_l, row.under_l))
    spreads = [spread for spread in driven.spreads if spread.level.startswith(part)]
    cells = [f"{row.settle_10_s:.2f}", f"{row.settle_5_s:.2f}", f"{row.overshoot_pct:.1f}",
             f"{over:.3f}", f"{under:.3f}"]
    if spreads:
        cells.append(f"{max(spread.cv_pct for spread in spreads):.2f}")
        worst = max((spread.mean_deviation_pct for spread in spreads), key=abs)
        cells.append(f"{worst:+.2f}")
    padded = "".join(f"{cell:>{w}}" for cell, w in zip(cells, WIDTHS, strict=False))
    return f"  {name:<{NAME_WIDTH - 2}}{padded}".rstrip()


def _trace(outcome: AcceptanceOutcome) -> str:
    lines = ["recorded drive of the demonstration",
             " " * NAME_WIDTH + f"{'rms':>8}{'within 5 %':>12}{'within 10 %':>13}",
             " " * NAME_WIDTH + f"{'%':>8}{'% of way':>12}{'% of way':>13}"]
    for name, figures in outcome.trace.items():
        rms, five, ten = figures.values()
        lines.append(f"  {name:<{NAME_WIDTH - 2}}{rms:>8.2f}{five:>12.2f}{ten:>13.2f}")
    return "\n".join(lines)


def _claims(outcome: AcceptanceOutcome) -> str:
    lines = ["claims"]
    for claim in outcome.claims:
        verdict = "holds" if claim.holds else "FAILS"
        lines.append(f"  {verdict}  {claim.words}; closest: {claim.closest}")
        if len(claim.exceptions) > 1:
            lines += [f"           {text}" for text in claim.exceptions]
    return "\n".join(lines)
