"""The mix against the limits of the labels, and against what a jar can measure."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from host_sim.application_record.amounts import VOLUME, Amount, Ratio
from host_sim.application_record.limits import CROSSED, UNKNOWN, WITHIN, Verdict
from host_sim.mixing.batches import Batch, BatchPart
from host_sim.mixing.mix_file import MixFile

MEASURED_WITHIN = Fraction(5, 100)  # half a step may be so much of what is measured: our choice
PREVAILS = "The product label and local rules prevail over this and over any plan."


def verdicts(mix: MixFile, batches: list[Batch]) -> list[Verdict]:
    """Every limit that the file names, kept or crossed; the worst ground of each counts."""
    return list(dict.fromkeys(verdict for batch in batches for part in batch.parts
                              for verdict in _of_part(batch, part)))


def _of_part(batch: Batch, part: BatchPart) -> Iterator[Verdict]:
    product = part.product
    rates = {ground.rate_m: ground.name for ground in batch.grounds}
    for limit, amount, kind in (
        (product.at_most, part.dose(max(rates)), part.kind),
        (product.at_most_in_mix, part.in_mix, part.kind),
        (product.mix_at_most, max(rates), VOLUME),
    ):
        if limit:
            where = "" if limit is product.at_most_in_mix else _where(batch, rates[max(rates)])
            yield _judge(product.name, part, limit, amount, kind, where, most=True)
    if product.mix_at_least:
        yield _judge(product.name, part, product.mix_at_least, min(rates), VOLUME,
                     _where(batch, rates[min(rates)]), most=False)


def _where(batch: Batch, ground: str) -> str:
    """On which ground, where there are several."""
    return f" on {ground}" if len(batch.grounds) > 1 or ground != batch.name else ""


def _judge(name: str, part: BatchPart, limit: Ratio, amount: Fraction, kind: str, where: str,
           most: bool) -> Verdict:
    of_mix = limit in (part.product.mix_at_most, part.product.mix_at_least)
    used = amount if of_mix or kind == limit.kinds[0] else part.as_kind(amount, limit.kinds[0])
    if used is None:
        return Verdict(UNKNOWN, f"{name}: {limit.text} is of another kind than its dose, and its "
                                "density is not given")
    crossed = used > limit.si if most else used < limit.si
    words = f"{'' if crossed else 'no '}{'more' if most else 'less'}"
    got = limit.over(used, Fraction(1)) + (" of mix" if of_mix else "") + where
    return Verdict(CROSSED if crossed else WITHIN,
                   f"{name}: {got}, {words} than the {limit.text.strip()} "
                   f"{'at most' if most else 'at least'} of its label")


def too_small(mix: MixFile, batch: Batch) -> Iterator[str]:
    """Amounts that the person's measure is too coarse for."""
    if mix.step is None:
        return
    for part in batch.parts:
        if part.kind != mix.step.unit.kind or part.product.undiluted:
            continue
        least = min(part.in_mix * fill for fill in batch.fills)
        if mix.step.si / 2 > MEASURED_WITHIN * least:
            amount = Amount(least / mix.step.unit.size, mix.step.unit)
            yield (f"{batch.name}: {amount} of {part.product.name} cannot be measured within "
                   f"{float(100 * MEASURED_WITHIN):g} % in steps of {mix.step}: use a finer "
                   "measure, or mix more and leave the rest")
