"""The outcomes of `overlap` as lines of text."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from host_sim.common import units
from host_sim.trials.overlap import Outcome

FT2_M2 = 0.3048**2


def table(found: Sequence[Sequence[Outcome]], us: bool) -> list[str]:
    """A line a way: overlap on average, against by hand, as a share of the ground; the skips."""
    area = "ft2" if us else "m2"
    length = units.unit("distance_mm", us)
    lines = [f"{'':30}{'overlap':>12}{'less than':>11}{'of the':>8}{'longest':>10}{'skipped':>10}",
             f"{'':30}{'(' + area + ')':>12}{'by hand':>11}{'ground':>8}"
             f"{'skip (' + length + ')':>10}{'(' + area + ')':>10}"]
    by_hand = _mean(found[0], "overlap_m2")
    for each in found:
        overlap = _mean(each, "overlap_m2")
        less = "" if each is found[0] else f"{100 * (1 - overlap / by_hand):.0f} %"
        share = 100 * overlap / _mean(each, "ground_m2")
        longest_m = max(one.longest_skip_m for one in each)
        lines.append(f"{each[0].way.words:30}{_area(overlap, us):>12}{less:>11}{share:>6.1f} %"
                     f"{units.shown('distance_mm', longest_m, us):>10.2f}"
                     f"{_area(_mean(each, 'skipped_m2'), us):>10}")
    return lines


def _mean(each: Sequence[Outcome], name: str) -> float:
    return float(np.mean([getattr(one, name) for one in each]))


def _area(square_m: float, us: bool) -> str:
    return f"{square_m / FT2_M2 if us else square_m:.1f}"
