"""How much product there is in the mix that was applied, and how much of each nutrient."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from host_sim.application_record.amounts import MASS, UNITS, Amount, Ratio
from host_sim.application_record.job import NUTRIENTS, JobProduct
from host_sim.common.errors import InputError


@dataclass(frozen=True)
class AppliedMix:
    """The work that the amounts are taken from: area in m2, volume of mix in m3.

    `wanted_m` is the rate asked for, in m3/m2, None where it was changed during the work.
    """

    area_m2: Fraction
    volume_m3: Fraction
    wanted_m: Fraction | None


@dataclass(frozen=True)
class Dose:
    """The total of a product, not of the mix, and how it was worked out."""

    total: Amount
    how: str


def dose(product: JobProduct, applied: AppliedMix, us: bool) -> Dose | None:
    """The amount of a product; None where the job file does not say how much.

    It is the concentration times the volume of mix that was applied, unless the total is known.
    Raises InputError where the job file says too little.
    """
    volume_m3 = applied.volume_m3
    if product.total:
        return Dose(product.total, "measured by the applicator")
    if product.undiluted:
        unit = UNITS["gal" if us else "L"]
        return Dose(Amount(volume_m3 / unit.size, unit), "all of the liquid applied")
    if product.per_mix:
        ratio = product.per_mix
        return Dose(ratio.amount.same(ratio.si * volume_m3), f"{ratio.text} x volume of mix")
    if product.per_area:
        ratio = product.per_area
        concentration = ratio.si / _made_for(product, applied)
        return Dose(ratio.amount.same(concentration * volume_m3),
                    f"{ratio.text} in {_words(product)} x volume of mix")
    return None


def _made_for(product: JobProduct, applied: AppliedMix) -> Fraction:
    """The rate of mix for which the product was measured out, in m3/m2."""
    if product.mixed_for:
        return product.mixed_for.si
    if applied.wanted_m is None:
        raise InputError(f"{product.place}.mixed_for: is missing; the rate was changed during the "
                         "run, so say for which rate the mix was made")
    return applied.wanted_m


def _words(product: JobProduct) -> str:
    return product.mixed_for.text if product.mixed_for else "the rate asked for"


def per_area(product: JobProduct, total: Amount, area_m2: Fraction, us: bool) -> str:
    """The total for the area, in the units of the label."""
    label = "ac" if us else "ha"
    in_words = product.per_area or Ratio(total, Amount(Fraction(1), UNITS[label]), f"/{label}")
    return in_words.over(total.si, area_m2)


def nutrients(product: JobProduct, total: Amount, us: bool) -> Iterator[tuple[str, Amount]]:
    """The mass of each nutrient in a total; none where its mass is not known."""
    if total.unit.kind == MASS:
        mass_kg = total.si
    elif product.density:
        mass_kg = total.si * product.density.si
    else:
        return
    unit = UNITS["lb" if us else "kg"]
    for name, percent in zip(NUTRIENTS, product.analysis, strict=bool(product.analysis)):
        if percent:
            yield name, Amount(mass_kg * percent / 100 / unit.size, unit)
