"""The arithmetic of mixing: what goes into the tank, fill by fill. Exact fractions, SI inside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from host_sim.application_record.amounts import MASS, VOLUME
from host_sim.common.errors import InputError
from host_sim.field_trial.plan import Plan
from host_sim.mixing.mix_file import MixFile, MixProduct

MOST_FILLS = 200
PLAN_PLACES = 12  # decimals of a plan's rate and lengths that count


@dataclass(frozen=True)
class TreatedGround:
    """What is to be treated alike: a name, its area in m2, and the rate of mix in m3/m2."""

    name: str
    area_m2: Fraction
    rate_m: Fraction


@dataclass(frozen=True)
class BatchPart:
    """A product in a batch: `in_mix` of it in SI for each m3 of mix, a volume or a mass.

    `share` and `density` turn it into a nutrient.
    """

    product: MixProduct
    kind: str
    in_mix: Fraction

    def dose(self, rate_m: Fraction) -> Fraction:
        """Of the product for each m2 at a rate of the mix."""
        return self.in_mix * rate_m

    def as_kind(self, amount: Fraction, kind: str) -> Fraction | None:
        """An amount of it as a volume or a mass, None where the density is not known."""
        if kind == self.kind:
            return amount
        if self.product.density is None:
            return None
        density = self.product.density.si
        return amount * density if kind == MASS else amount / density

    def nutrient(self, amount: Fraction) -> Fraction | None:
        """Mass of nutrient in an amount of it."""
        mass = self.as_kind(amount, MASS)
        return None if mass is None or not self.product.share else mass * self.product.share


@dataclass(frozen=True)
class Batch:
    """One mix: where it goes, its parts, and the volumes in m3 of the fills that make it."""

    name: str
    grounds: tuple[TreatedGround, ...]
    parts: tuple[BatchPart, ...]
    fills: tuple[Fraction, ...]

    @property
    def volume(self) -> Fraction:
        return sum(self.fills, Fraction(0))

    @property
    def area_m2(self) -> Fraction:
        return sum((ground.area_m2 for ground in self.grounds), Fraction(0))

    def water(self, volume: Fraction) -> Fraction:
        """Water in so much mix. What a dry product takes up is not known and not counted."""
        return volume * (1 - sum(part.in_mix for part in self.parts if part.kind == VOLUME))


def batches_of(path: Path, mix: MixFile, plan: Plan | None, width_m: float | None
               ) -> list[Batch]:
    """The batches of a mix file. Raises InputError, naming the file, where it does not add up."""
    grounds = list(_grounds(path, mix, plan, width_m))
    groups = [[ground] for ground in grounds] if mix.jars else [grounds]
    return [_batch(path, mix, group) for group in groups]


def _grounds(path: Path, mix: MixFile, plan: Plan | None, width_m: float | None
             ) -> Iterator[TreatedGround]:
    if plan is None:
        if mix.area is None:
            raise InputError(f"{path}: area: is missing, and so is a plan")
        yield TreatedGround(mix.title, mix.area.si, _rate(path, mix))
        return
    for name in plan.treatments:
        plots = [plot for plot in plan.plots if plot.treatment == name and plot.treated]
        widths = [plot.width_m or width_m for plot in plots]
        if not all(widths):
            raise InputError(f"{path}: plan: does not say how wide its plots are: give --machine")
        area = sum((_exact(plot.length_m) * _exact(width or 0)
                    for plot, width in zip(plots, widths, strict=True)), Fraction(0))
        if plots:
            yield TreatedGround(name, area, _exact(plots[0].rate_m))


def _exact(value: float) -> Fraction:
    """A number of a plan as it was meant, without the dust of binary fractions."""
    return Fraction(f"{value:.{PLAN_PLACES}f}")


def _rate(path: Path, mix: MixFile) -> Fraction:
    """The rate of the mix; of an undiluted product with an aim it follows from the aim."""
    product = mix.products[0]
    if product.undiluted and product.aim:
        if mix.rate:
            raise InputError(f"{path}: rate: follows from the nutrient of {product.name}")
        return _dose(product)[1]
    if mix.rate is None:
        raise InputError(f"{path}: rate: is missing")
    return mix.rate.si


def _dose(product: MixProduct) -> tuple[str, Fraction]:
    """Kind and amount of a product for an area that its dose or its aim asks for."""
    if product.aim:
        assert product.density
        return VOLUME, product.aim.si / product.share / product.density.si
    assert product.per_area
    return product.per_area.kinds[0], product.per_area.si


def _batch(path: Path, mix: MixFile, grounds: Sequence[TreatedGround]) -> Batch:
    parts = tuple(_part(path, mix, product, grounds) for product in mix.products)
    reserve = mix.reserve.si if mix.reserve else Fraction(0)
    volume = sum((ground.area_m2 * ground.rate_m for ground in grounds), reserve)
    if sum(part.in_mix for part in parts if part.kind == VOLUME) > 1:
        raise InputError(f"{path}: product: takes more room than there is mix")
    count = -(-volume // mix.tank.si)
    if count > MOST_FILLS:
        raise InputError(f"{path}: tank: would have to be filled {count} times, more than "
                         f"{MOST_FILLS}")
    fills = [mix.tank.si] * (int(count) - 1)
    name = grounds[0].name if len(grounds) == 1 else mix.title
    return Batch(name, tuple(grounds), parts, (*fills, volume - sum(fills)))


def _part(path: Path, mix: MixFile, product: MixProduct,
          grounds: Sequence[TreatedGround]) -> BatchPart:
    """How much of a product is in the mix that goes onto these grounds."""
    if product.undiluted:
        return BatchPart(product, VOLUME, Fraction(1))
    if product.per_mix:
        return BatchPart(product, product.per_mix.kinds[0], product.per_mix.si)
    kind, dose = _dose(product)
    rates = {ground.rate_m for ground in grounds}
    if mix.rate:
        return BatchPart(product, kind, dose / mix.rate.si)
    if len(rates) > 1:
        raise InputError(f"{path}: rate: is missing: the plan has several, so say for which the "
                         f"dose of {product.name} holds; or mix each treatment by itself, "
                         "jars = true")
    return BatchPart(product, kind, dose / rates.pop())
