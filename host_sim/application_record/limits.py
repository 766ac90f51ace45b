"""The dose that was used against the dose that was stated: within its limits, or not.

A machine that puts on half as much again as it was asked to gives a record in which every
element is there. So each product is compared, and the outcome stands at the top.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from host_sim.application_record.amounts import AREA, MASS, UNITS, Amount, Ratio, figure
from host_sim.application_record.job import OTHER, JobProduct

# How far the dose used may be off the stated one. "Within 5 % of the intended rate" is what
# surveys call right: University of Nebraska-Lincoln Extension, G1756,
# http://extensionpublications.unl.edu/assets/html/g1756/build/g1756.htm
LIMIT_PCT = 5

CROSSED, WITHIN, UNKNOWN = "LIMIT CROSSED", "within limits", "NOT COMPARED"


@dataclass(frozen=True)
class Verdict:
    """What a comparison gave: one of the three words above, and the numbers."""

    word: str
    numbers: str

    @property
    def bad(self) -> bool:
        return self.word != WITHIN

    def __str__(self) -> str:
        return f"{self.word}: {self.numbers}"


def verdicts(
    product: JobProduct, name: str, total: Amount | None, area_m2: Fraction, us: bool
) -> Iterator[Verdict]:
    """The product's dose against the stated one, and against the most that is allowed."""
    stated = product.stated or product.per_area
    limits = [(ratio, judge) for ratio, judge in ((stated, _stated), (product.at_most, _at_most))
              if ratio]
    if product.kind == OTHER and not limits:
        return  # water, an adjuvant: nobody stated a dose
    if total is None:
        yield Verdict(UNKNOWN, f"{name}: its total is missing, so its dose is not known")
        return
    if not area_m2:
        yield Verdict(UNKNOWN, f"{name}: no area was counted, so its dose is not known")
        return
    if not limits:
        used = _in_words(total, area_m2, us)
        yield Verdict(UNKNOWN, f"{name}: {used} used; the job file states no dose")
    for limit, judge in limits:
        amount = _same_kind(total, limit, product.density)
        if amount is None:
            yield Verdict(UNKNOWN, f"{name}: {limit.text} and the total of {total} are mass and "
                                   "volume, and the job file states no density")
        else:
            yield judge(name, limit, amount / area_m2)


def _stated(name: str, stated: Ratio, used: Fraction) -> Verdict:
    off_pct = 100 * (used / stated.si - 1)
    way = "above" if off_pct > 0 else "short"
    crossed = abs(off_pct) > LIMIT_PCT
    limit = f"the limit is {LIMIT_PCT} %" if crossed else f"within the limit of {LIMIT_PCT} %"
    return Verdict(CROSSED if crossed else WITHIN,
                   f"{name}: {stated.over(used, Fraction(1))} used, {stated.text.strip()} stated, "
                   f"{figure(abs(off_pct))} % {way}; {limit}")


def _at_most(name: str, most: Ratio, used: Fraction) -> Verdict:
    crossed = used > most.si
    words = "more than" if crossed else "no more than"
    return Verdict(CROSSED if crossed else WITHIN,
                   f"{name}: {most.over(used, Fraction(1))} used, {words} the "
                   f"{most.text.strip()} allowed at most")


def _same_kind(total: Amount, limit: Ratio, density: Ratio | None) -> Fraction | None:
    """The total in SI, as mass where the limit is one and as volume where it is one."""
    kind = limit.kinds[0]
    if total.unit.kind == kind:
        return total.si
    if density is None:
        return None
    return total.si * density.si if kind == MASS else total.si / density.si


def _in_words(total: Amount, area_m2: Fraction, us: bool) -> str:
    area = UNITS["ac" if us else "ha"]
    assert area.kind == AREA
    return Ratio(total, Amount(Fraction(1), area), f"/{area.label}").over(total.si, area_m2)
