"""The one table of a comparison."""

from __future__ import annotations

from typing import Any

from host_sim.common.errors import plain
from host_sim.compare.score import Score, Tests
from host_sim.trials.acceptance.contenders import THE_CONTROLLER

NAME_WIDTH, VALUE_WIDTH = 46, 12
FAILED_SHOWN = 20


def score_text(score: Score) -> str:
    """Figures, claims and tests, ours on the left."""
    name = plain(score.variant.folder.name or score.variant.folder)
    lines = [f"{plain(score.variant.folder)}: {plain(score.variant.summary)}",
             _row("", "ours", name)]
    lines += _figures(score)
    if score.problem:
        lines.append(f"{name} could not be driven: {score.problem}")
    for machine, why in score.theirs.get("failed", {}).items():
        lines.append(f"{name} could not be driven, {machine}: {plain(why)}")
    lines += _claims(score) + _tests(score.tests)
    return "\n".join(lines)


def _row(words: str, ours: str, theirs: str) -> str:
    return f"{words:{NAME_WIDTH}}{ours:>{VALUE_WIDTH}}{theirs:>{VALUE_WIDTH}}".rstrip()


def _figures(score: Score) -> list[str]:
    """Of each machine and kind of change: when within 5 %, and the litres in the wrong place."""
    lines = []
    for machine, contenders in score.ours["machines"].items():
        theirs = score.theirs.get("machines", {}).get(machine)
        lines.append(f"{machine}: within 5 % after, s; in the wrong place, L")
        for part, row in contenders[THE_CONTROLLER]["rows"].items():
            other = theirs[THE_CONTROLLER]["rows"].get(part) if theirs else None
            lines.append(_row(f"  {part}", _said(row), _said(other) if other else "none"))
    ours, trace = score.ours["trace"], score.theirs.get("trace") or {}
    for words, key, digits in (("rate error, rms", "rate_error_rms_pct", 2),
                               ("within 5 % of the rate", "distance_within_5_pct", 1)):
        said = (f"{one[key]:.{digits}f} %" if key in one else "none" for one in (ours, trace))
        lines.append(_row(f"recorded drive: {words}", *said))
    return lines


def _said(row: dict[str, Any]) -> str:
    return f"{row['settle_5_s']:.2f}; {row['over_l'] + row['under_l']:.2f}"


def _claims(score: Score) -> list[str]:
    theirs = {claim["words"]: claim for claim in score.theirs.get("claims", [])}
    lines = ["claims of the acceptance test"]
    for claim in score.ours["claims"]:
        other = theirs.get(claim["words"])
        words = [f"  {claim['words']}", f"    {_holds(claim)}: {claim['closest']}"]
        if other:
            words[1] += f"   ->   {_holds(other)}: {other['closest']}"
        lines += words
    return lines


def _holds(claim: dict[str, Any]) -> str:
    return "holds" if claim["holds"] else "FAILS"


def _tests(tests: Tests) -> list[str]:
    lines = [f"tests of the core: {tests.passed} passed, {len(tests.failed)} failed"]
    if tests.problem:
        lines.append(f"  {plain(tests.problem)}")
    shown = list(tests.failed.items())[:FAILED_SHOWN]
    for name, why in shown:
        lines.append(f"  {plain(name)}" + (f": {plain(why)[:120]}" if why else ""))
    if len(tests.failed) > len(shown):
        lines.append(f"  and {len(tests.failed) - len(shown)} more")
    return lines
