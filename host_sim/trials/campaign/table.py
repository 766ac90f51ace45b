"""A campaign as text."""

from __future__ import annotations

from host_sim.plant.catalogue import KINDS
from host_sim.trials.campaign.build import CROSSINGS, LATE_FACTOR, SWING_SHARE, BuildResult
from host_sim.trials.campaign.session import ON_TIME_LEAST_PCT, PERCENTILES, WORST, Campaign
from host_sim.trials.drift import AS_TUNED, DRIFTS, Drift

OFF_PCT = 5.0
WITHIN_LEAST_PCT = 95.0  # of the valve machines after a drift, within OFF_PCT
ROWS = (
    ("settling, s", "settled_s", 2),
    ("beyond after a speed step, %", "overshoot_pct", 1),
    ("in the wrong place, % of the volume", "wrong_pct", 1),
    ("steady error, %", "steady_pct", 1),
)


def campaign_text(campaign: Campaign) -> str:
    """Everything, ready to print."""
    blocks = [_distribution(campaign)] if campaign.tuned else []
    blocks += [_list(f"gave up ({len(campaign.failed)})", campaign.failed, _failure),
               _list(f"late ({len(campaign.late)})", campaign.late, _lateness),
               _list(f"surging ({len(campaign.surging)})", campaign.surging, _surge)]
    blocks.append(_claims(campaign))
    return "\n\n".join(block for block in blocks if block)


def drift_text(results: list[BuildResult]) -> str:
    """What became of the builds after each drift, valves and pumps apart."""
    lines = [f"{'':<60}{'builds':>8}{'within 5 %':>12}{'within 10 %':>13}{'worst':>9}"
             f"{'off, silent':>13}{'surging':>9}"]
    for valves in (False, True):
        lines.append("regulating valves" if valves else "pumps")
        for drift in (AS_TUNED, *DRIFTS):
            some = [result for result in results if not result.failure
                    and result.drift == drift.name and (KINDS[result.kind]().valve is not None)
                    == valves]
            if some:
                lines.append(_drift(drift, some))
    failed = sum(bool(result.failure) for result in results)
    return "\n".join([*lines, f"gave up while they were set up: {failed}", "",
                      *_drift_claims(results)])


def _drifted_valves(results: list[BuildResult]) -> list[tuple[Drift, list[BuildResult]]]:
    """Each drift with the builds that have a regulating valve and were driven after it."""
    valves = [result for result in results
              if not result.failure and KINDS[result.kind]().valve is not None]
    pairs = [(drift, [result for result in valves if result.drift == drift.name])
             for drift in DRIFTS]
    return [pair for pair in pairs if pair[1]]


def within_pct(results: list[BuildResult]) -> float:
    """Which share of builds has no steady error beyond OFF_PCT."""
    within = sum(abs(result.steady_pct) <= OFF_PCT for result in results)
    return 100.0 * within / len(results)


def silent(results: list[BuildResult]) -> list[BuildResult]:
    """Those that are further off and show no warning."""
    return [result for result in results
            if abs(result.steady_pct) > OFF_PCT and not result.warnings]


def _drift_claims(results: list[BuildResult]) -> list[str]:
    by_drift = _drifted_valves(results)
    if not by_drift:
        return ["claims", "  none: there is no regulating valve among these builds"]
    lowest, worst = min(by_drift, key=lambda pair: within_pct(pair[1]))
    share = within_pct(worst)
    unnamed = [f"{result.seed} ({result.drift})" for _, found in by_drift
               for result in silent(found)]
    return [
        "claims",
        f"  {_verdict(share >= WITHIN_LEAST_PCT)}  regulating valves, after each drift: at least "
        f"{WITHIN_LEAST_PCT:.0f} % of builds within {OFF_PCT:.0f} % from 20 s on; lowest: "
        f"{share:.1f} %, {lowest.words}",
        f"  {_verdict(not unnamed)}  and the rest named by a warning; not named: "
        f"{', '.join(unnamed) or 'none'}",
    ]


def drifts_hold(results: list[BuildResult]) -> bool:
    """Whether both claims about drift hold."""
    return all(within_pct(found) >= WITHIN_LEAST_PCT and not silent(found)
               for _, found in _drifted_valves(results))


def _drift(drift: Drift, results: list[BuildResult]) -> str:
    errors = [abs(result.steady_pct) for result in results]
    unnamed = len(silent(results))
    within, wide = (100 * sum(error <= limit for error in errors) / len(errors)
                    for limit in (OFF_PCT, 2 * OFF_PCT))
    surging = sum(result.swing_pct > 0.0 for result in results)
    return (f"  {drift.words:<58}{len(results):>8}{within:>12.1f}"
            f"{wide:>13.1f}{max(errors):>9.1f}{unnamed:>13}{surging:>9}")


def _distribution(campaign: Campaign) -> str:
    builds, tuned = len(campaign.results), len(campaign.tuned)
    lines = [f"{builds} builds, {tuned} tuned by their own procedures; {campaign.answered} asked "
             "for more than the machine can do, and were told what it can",
             f"{'':<38}{'median':>9}" + "".join(f"{f'{p} %':>9}" for p in PERCENTILES[1:-1])
             + f"{'worst':>9}"]
    for words, name, digits in ROWS:
        values = campaign.percentiles(name).values()
        lines.append(f"  {words:<36}" + "".join(f"{value:>9.{digits}f}" for value in values))
    return "\n".join(lines)


def _list(title: str, results: list[BuildResult], words: object) -> str:
    if not results:
        return ""
    assert callable(words)
    lines = [f"  {words(result)}" for result in results[:WORST]]
    if len(results) > WORST:
        lines.append(f"  and {len(results) - WORST} more: --json lists all")
    return "\n".join([title, *lines])


def _failure(result: BuildResult) -> str:
    return f"seed {result.seed:<6} {result.kind:<19} {result.failure}"


def _lateness(result: BuildResult) -> str:
    oracle = result.oracle_s if result.oracle_s is not None else 0.0
    return (f"seed {result.seed:<6} {result.kind:<19} {result.settled_s:.2f} s, settling time "
            f"{result.granted_s:.2f} s, {result.settled_in}; an oracle {oracle:.2f} s")


def _surge(result: BuildResult) -> str:
    return f"seed {result.seed:<6} {result.kind:<19} {result.swing_pct:.1f} % either way"


def _claims(campaign: Campaign) -> str:
    on_time = campaign.on_time_pct >= ON_TIME_LEAST_PCT
    return "\n".join([
        "claims",
        f"  {_verdict(on_time)}  {ON_TIME_LEAST_PCT:.0f} % settle within {LATE_FACTOR:g} x their "
        f"settling time: {campaign.on_time_pct:.1f} %",
        f"  {_verdict(not campaign.surging)}  none surges (more than {100 * SWING_SHARE:.0f} % "
        f"either way, {CROSSINGS} crossings of the mean or more in the last half of a stage): "
        f"{len(campaign.surging)}",
    ])


def _verdict(holds: bool) -> str:
    return "holds" if holds else "FAILS"


def holds(campaign: Campaign) -> bool:
    """Whether both claims hold."""
    return campaign.on_time_pct >= ON_TIME_LEAST_PCT and not campaign.surging
