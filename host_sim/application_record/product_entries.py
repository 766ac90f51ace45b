"""The entries of a product: what it is, how much of it, and how much of each nutrient."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from host_sim.application_record.amounts import figure
from host_sim.application_record.doses import AppliedMix, Dose, dose, nutrients, per_area
from host_sim.application_record.entries import JOB, WORKED, Entry, Writer
from host_sim.application_record.job import FERTILIZER, PESTICIDE, JobProduct
from host_sim.application_record.profiles import Profile
from host_sim.common import units


def product_entries(
    group: str, product: JobProduct, applied: AppliedMix, us: bool, profile: Profile
) -> Iterator[Entry]:
    """All entries of a product. Raises InputError where the job file says too little of it."""
    pesticide, fertilizer = product.kind == PESTICIDE, product.kind == FERTILIZER

    def asks(element: str) -> tuple[str, ...]:
        return profile.asks(element, (product.kind,))

    yield Entry(group, "kind", product.kind, JOB)
    yield Entry(group, "name", product.name, JOB,
                rules=asks("product_name"))
    if asks("registration_number") or pesticide or product.registration_number:
        yield Entry(group, "registration no.", product.registration_number, JOB,
                    rules=asks("registration_number"))
    found = dose(product, applied, us)
    value, unit, also = Writer(us).product(found.total) if found else ("", "", "")
    yield Entry(group, "total of product, not mix", value, found.how if found else JOB,
                unit, also, rules=asks("total"))
    if found and applied.area_m2:
        yield Entry(group, "for the area",
                    per_area(product, found.total, applied.area_m2, us), WORKED)
    if fertilizer:
        yield from _fertilizer(group, product, found, applied, us, profile)


def _fertilizer(
    group: str, product: JobProduct, found: Dose | None, applied: AppliedMix, us: bool,
    profile: Profile,
) -> Iterator[Entry]:
    asked = profile.asks("nutrients", (product.kind,))
    analysis = "-".join(figure(share) for share in product.analysis)
    yield Entry(group, "analysis, N-P2O5-K2O", analysis, JOB, "% of mass" if analysis else "",
                rules=profile.asks("analysis", (product.kind,)))
    masses = list(nutrients(product, found.total, us)) if found else []
    if not masses:
        yield Entry(group, "quantity of nutrients", "", JOB, rules=asked)
    for name, mass in masses:
        also = ""
        if applied.area_m2:
            area = Fraction(units.shown("area_m2", float(applied.area_m2), us))
            also = f"{figure(mass.count / area)} {mass.unit.label}/{units.unit('area_m2', us)}"
        yield Entry(group, name, figure(mass.count), WORKED, mass.unit.label, also,
                    rules=asked)
