"""A mix in words and tables: for a person beside the tank, and for a program."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from host_sim.application_record.amounts import AREA, MASS, UNITS, VOLUME, Amount
from host_sim.common.data_package import INTEGER, NUMBER, TEXT, Column, Table
from host_sim.mixing.batches import Batch, BatchPart
from host_sim.mixing.checks import PREVAILS, too_small, verdicts
from host_sim.mixing.mix_file import MixFile

# Units that a person measures in, small to large; the largest that gives at least 1 is taken.
READABLE = {
    (VOLUME, False): ("mL", "L"), (VOLUME, True): ("fl oz", "gal"),
    (MASS, False): ("g", "kg"), (MASS, True): ("oz wt", "lb"),
    (AREA, False): ("m2", "ha"), (AREA, True): ("ft2", "ac"),
}
WATER = "water"
RINSING = ("Rinse {count} times with {each} each{stays}. Put the rinse water onto ground that was "
           "treated, as far as the label permits.")

TABLE = Table("mix", "A row for each product, and for the water, of each fill of each batch.", (
    Column("batch", TEXT, "what is mixed: the whole, or one treatment"),
    Column("fill", INTEGER, "number of the fill of its batch, from 1 on"),
    Column("item", TEXT, "product, or water"),
    Column("kind", TEXT, "whether it is measured by volume or by mass", choices=(VOLUME, MASS)),
    Column("amount", NUMBER, "litres of a volume, kilograms of a mass"),
), key=("batch", "fill", "item"))


def amount_text(kind: str, si: Fraction, us: bool) -> str:
    """An amount to four digits, in a unit that a person measures it in."""
    small, large = (UNITS[label] for label in READABLE[kind, us])
    unit = large if si >= large.size else small
    return str(Amount(si / unit.size, unit))


def rate_text(rate_m: Fraction, us: bool) -> str:
    volume, area = (UNITS[label] for label in (("gal", "ac") if us else ("L", "ha")))
    return f"{Amount(rate_m * area.size / volume.size, volume)}/{area.label}"


def lines(mix: MixFile, batches: list[Batch], us: bool) -> Iterator[str]:
    """Everything that is printed."""
    yield mix.title
    for batch in batches:
        yield from _batch(mix, batch, us)
    for verdict in verdicts(mix, batches):
        yield str(verdict)
    for batch in batches:
        yield from too_small(mix, batch)
    if mix.rinse:
        yield _rinsing(mix, us)
    yield PREVAILS


def _batch(mix: MixFile, batch: Batch, us: bool) -> Iterator[str]:
    yield ""
    reserve = f", {amount_text(VOLUME, mix.reserve.si, us)} of it in reserve" if mix.reserve else ""
    yield (f"{batch.name}: {amount_text(VOLUME, batch.volume, us)} for "
           f"{amount_text(AREA, batch.area_m2, us)}{reserve}")
    for ground in batch.grounds:
        doses = [_dose(part, ground.rate_m, us) for part in batch.parts]
        place = f" on {amount_text(AREA, ground.area_m2, us)}" if len(batch.grounds) > 1 else ""
        name = f"{ground.name}: " if len(batch.grounds) > 1 else ""
        yield f"  {name}{rate_text(ground.rate_m, us)}{place}, that is {', '.join(doses)}"
    for number, fill, times in _alike(batch.fills):
        label = "fill" if len(batch.fills) > 1 or not mix.jars else "jar"
        which = f"{number}" if times == 1 else f"{number} to {number + times - 1}, each"
        yield f"  {label} {which}: {amount_text(VOLUME, fill, us)}"
        for part in batch.parts:
            yield f"    {part.product.name}: {amount_text(part.kind, part.in_mix * fill, us)}"
        yield f"    {WATER}: {amount_text(VOLUME, batch.water(fill), us)}"


def _alike(fills: tuple[Fraction, ...]) -> Iterator[tuple[int, Fraction, int]]:
    """Fills that are the same, told once: number of the first, volume, how many."""
    for number, fill in enumerate(fills, start=1):
        if number == 1 or fill != fills[number - 2]:
            yield number, fill, sum(other == fill for other in fills[number - 1 :])


def _dose(part: BatchPart, rate_m: Fraction, us: bool) -> str:
    """What an area gets of a product, and of the nutrient in it."""
    area = UNITS["ac" if us else "ha"]
    dose = part.dose(rate_m) * area.size
    words = f"{amount_text(part.kind, dose, us)}/{area.label} of {part.product.name}"
    nutrient = part.nutrient(dose)
    if nutrient is not None:
        mass = UNITS["lb" if us else "kg"]
        words += f" ({Amount(nutrient / mass.size, mass)} {part.product.nutrient}/{area.label})"
    return words


def _rinsing(mix: MixFile, us: bool) -> str:
    """Each rinse thins what was left behind: left / (left + water), and so on."""
    assert mix.rinse
    left = mix.reserve.si if mix.reserve else Fraction(0)
    each = mix.rinse.si / mix.rinses
    share_pct = float(100 * (left / (left + each)) ** mix.rinses)
    stays = f"; {share_pct:.2g} % of the product in the reserve stays" if left else ""
    return RINSING.format(count=mix.rinses, each=amount_text(VOLUME, each, us), stays=stays)


def rows(batches: list[Batch]) -> Iterator[dict[str, Any]]:
    """The rows of TABLE."""
    for batch in batches:
        for number, fill in enumerate(batch.fills, start=1):
            items = [(part.product.name, part.kind, part.in_mix * fill) for part in batch.parts]
            for name, kind, amount in (*items, (WATER, VOLUME, batch.water(fill))):
                size = 1000 if kind == VOLUME else 1
                yield {"batch": batch.name, "fill": number, "item": name, "kind": kind,
                       "amount": float(amount * size)}
