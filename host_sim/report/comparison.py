"""Two runs side by side: figures, what differs in their settings, and what makes it unfair."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from host_sim.report.settings_used import settings_used
from host_sim.report.words import Teller, minutes, spoken
from host_sim.runs.record import RunRecord

FAR_PCT = 5.0  # ways or wanted rates that differ by more are no fair comparison


@dataclass(frozen=True)
class ComparedRun:
    """A run, its figures (see summary.py), and the name that it was given by."""

    name: str
    record: RunRecord
    figures: dict[str, Any]


Say = Callable[[Teller, dict[str, Any]], str]


def _percent(name: str, digits: int) -> Say:
    def say(_: Teller, figures: dict[str, Any]) -> str:
        value = figures[name]
        return "none" if value is None else f"{value:.{digits}f} %"

    return say


# What is compared: words, and how a figure is said.
ROWS: tuple[tuple[str, Say], ...] = (
    ("time", lambda tell, figures: minutes(figures["sim_seconds"])),
    ("distance", lambda tell, figures: tell.length(figures["distance_m"])),
    ("area", lambda tell, figures: tell.area(figures["area_ha"])),
    ("volume", lambda tell, figures: tell.volume(figures["volume_l"])),
    ("mean rate", lambda tell, figures: tell.rate(figures["mean_rate_l_ha"])),
    ("wanted", lambda tell, figures: tell.rate(figures["target_l_ha"])),
    ("within 5 % of the rate", _percent("distance_within_5_pct", 1)),
    ("within 10 % of the rate", _percent("distance_within_10_pct", 1)),
    ("rms rate error", _percent("rate_error_rms_pct", 2)),
    ("metres within 5 % of the rate", _percent("metre_within_5_pct", 1)),
    ("rms error by metre", _percent("metre_rms_pct", 2)),
    ("mean rate error", _percent("rate_error_mean_pct", 2)),
    ("half of the distance within", _percent("rate_error_p50_pct", 2)),
    ("95 % of the distance within", _percent("rate_error_p95_pct", 2)),
    ("99 % of the distance within", _percent("rate_error_p99_pct", 2)),
    ("time below the meter floor", _percent("coasting_pct", 1)),
    ("time at the machine's limit", _percent("at_limit_pct", 1)),
    ("lifts", lambda tell, figures: str(figures["lifts"])),
    ("faults", lambda tell, figures: spoken(figures["faults"]) or "none"),
    ("warnings", lambda tell, figures: spoken(figures["warnings"]) or "none"),
)


def figure_rows(ours: ComparedRun, theirs: ComparedRun, us: bool) -> list[tuple[str, str, str]]:
    """Words, figure of this run, figure of the other."""
    runs = [(Teller(run.figures, us), run.figures) for run in (ours, theirs)]
    return [(words, say(*runs[0]), say(*runs[1])) for words, say in ROWS]


def setting_rows(ours: ComparedRun, theirs: ComparedRun,
                 us: bool) -> list[tuple[str, str, str, str]]:
    """Name, values of both and meaning of every setting in which they differ."""
    shown = [{name: (value, meaning) for name, value, meaning
              in settings_used(run.record.about["settings"], us)} for run in (ours, theirs)]
    none = ("not known", "")
    rows = []
    for name in dict.fromkeys([*shown[0], *shown[1]]):
        (first, meaning), (second, other) = (side.get(name, none) for side in shown)
        if first != second:
            rows.append((name, first, second, meaning or other))
    return rows


def fact_rows(ours: ComparedRun, theirs: ComparedRun) -> list[tuple[str, str, str]]:
    """What else the runs do not share: machine, speed trace, seed, versions."""
    first, second = (dict(_facts(run.record.about)) for run in (ours, theirs))
    return [(name, first.get(name, "none"), second.get(name, "none"))
            for name in dict.fromkeys([*first, *second]) if first.get(name) != second.get(name)]


def _facts(about: dict[str, Any]) -> Iterator[tuple[str, str]]:
    yield "speed", about["speed_trace"]["name"]
    yield "seed", str(about["seed"])
    for part, values in about["machine"].items():
        if isinstance(values, dict):
            yield from ((f"machine: {part}.{name}", str(value)) for name, value in values.items())
        else:
            yield f"machine: {part}", str(values)
    for group in ("board", "versions"):
        yield from ((name, str(value)) for name, value in about.get(group, {}).items())


def verdict(ours: ComparedRun, theirs: ComparedRun) -> list[str]:
    """The comparison in words: which kept its rate better, and whether that is a fair question."""
    sentences = []
    within = [run.figures["distance_within_5_pct"] for run in (ours, theirs)]
    rms = [run.figures["rate_error_rms_pct"] for run in (ours, theirs)]
    if None not in within:
        sentences.append(
            f"This run kept {within[0]:.1f} % of its distance within 5 % of the rate wanted, "
            f"{theirs.name} {within[1]:.1f} %. The rms error is {rms[0]:.2f} % here and "
            f"{rms[1]:.2f} % there.")
    return sentences + list(_unfair(ours, theirs))


def _unfair(ours: ComparedRun, theirs: ComparedRun) -> Iterator[str]:
    measured = [bool(run.record.about.get("measured")) for run in (ours, theirs)]
    if measured[0] != measured[1]:
        yield ("One of them is the truth of a simulated machine and the other a controller's own "
               "measure: they cannot be compared fairly.")
    if all(measured):
        yield ("Both are what controllers measured themselves: a meter that is off shows in "
               "neither.")
    for words, name in (("ways", "distance_m"), ("rates wanted", "target_l_ha")):
        first, second = (run.figures[name] for run in (ours, theirs))
        if first and second and abs(100 * (first / second - 1)) > FAR_PCT:
            yield f"Their {words} differ: what follows is no fair comparison."
