"""The mix file: tank, area, rate and products, as a person and the labels state them.

docs/reference/mix_files.md describes it. Amounts keep the unit in which they were written.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

from host_sim.application_record.amounts import (
    AREA,
    MASS,
    VOLUME,
    Amount,
    Ratio,
    parse_amount,
    parse_ratio,
)
from host_sim.application_record.job import NUTRIENTS
from host_sim.common.errors import InputError
from host_sim.common.toml_source import TomlSource
from host_sim.common.toml_table import TomlTable

WAYS = ("per_area", "per_mix", "nutrient", "undiluted")  # to say how much product there is
MOST_PRODUCTS = 20
MOST_RINSES = 10
_AIM = re.compile(r"(.*?)\s*\b(" + "|".join(NUTRIENTS) + r")\b\s*(/.*)")
_ANALYSIS = re.compile(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)")

T = TypeVar("T")


@dataclass(frozen=True)
class MixProduct:
    """One product. Exactly one of `per_area`, `per_mix`, `aim` and `undiluted` is given.

    `aim` is a mass of `nutrient` for an area, `share` what the product has of it by mass. The rest
    are limits of its label: dose for an area, concentration, and volume of mix for an area.
    """

    name: str
    per_area: Ratio | None = None
    per_mix: Ratio | None = None
    aim: Ratio | None = None
    undiluted: bool = False
    nutrient: str = ""
    share: Fraction = Fraction(0)
    density: Ratio | None = None
    at_most: Ratio | None = None
    at_most_in_mix: Ratio | None = None
    mix_at_least: Ratio | None = None
    mix_at_most: Ratio | None = None


@dataclass(frozen=True)
class MixFile:
    """A whole file. `rate` is None where the products say it; `area` where a plan does."""

    title: str
    tank: Amount
    products: tuple[MixProduct, ...]
    rate: Ratio | None = None
    area: Amount | None = None
    plan: Path | None = None
    reserve: Amount | None = None
    rinse: Amount | None = None
    rinses: int = 3
    step: Amount | None = None
    jars: bool = False


def read_mix(path: Path) -> MixFile:
    """The mix in a file. Raises InputError with a line for everything that is wrong."""
    source = TomlSource(path)
    problems: list[str] = []
    top = TomlTable(source, (), source.data, problems)
    title, plan = top.text("title", path.stem), top.text("plan", "")
    tank = _amount(top, "tank", VOLUME)
    if "tank" not in top:
        top.refuse("tank", "is missing")
    mix = MixFile(
        title=title or path.stem,
        tank=tank or parse_amount("1 L"),
        products=_products(source, top, problems),
        rate=_ratio(top, "rate", (VOLUME,), AREA),
        area=_amount(top, "area", AREA),
        plan=path.parent / plan if plan else None,
        reserve=_amount(top, "reserve", VOLUME),
        rinse=_amount(top, "rinse", VOLUME),
        rinses=top.whole("rinses", 1, MOST_RINSES, 3) or 3,
        step=_amount(top, "step", VOLUME, MASS),
        jars=bool(top.flag("jars")),
    )
    _check_whole(top, mix)
    top.finish()
    if problems:
        raise InputError(*problems)
    return mix


def _check_whole(top: TomlTable, mix: MixFile) -> None:
    undiluted = [product for product in mix.products if product.undiluted]
    if undiluted and len(mix.products) > 1:
        top.refuse("product", f"{undiluted[0].name} is undiluted, so it has to be the only one")
    if mix.plan and mix.area:
        top.refuse("area", "comes from the plan")
    if mix.reserve and mix.reserve.si >= mix.tank.si:
        top.refuse("reserve", "is as much as the tank holds")


def _products(source: TomlSource, top: TomlTable, problems: list[str]) -> tuple[MixProduct, ...]:
    tables = top.any("product", [])
    if not isinstance(tables, list) or not 1 <= len(tables) <= MOST_PRODUCTS:
        top.refuse("product", f"1 to {MOST_PRODUCTS} products are written as [[product]]")
        return ()
    found = []
    for index, data in enumerate(tables):
        table = TomlTable(source, ("product", index), data, problems)
        found.append(_product(table))
        table.finish()
    return tuple(found)


def _product(table: TomlTable) -> MixProduct:
    name = table.text("name") or ""
    share, nutrient, aim = Fraction(0), "", None
    text = table.text("nutrient", "") or ""
    match = _AIM.fullmatch(text)
    if match:
        nutrient = match[2]
        aim = _parsed(table, "nutrient", parse_ratio, f"{match[1]}{match[3]}")
        if aim and aim.kinds != (MASS, AREA):
            table.refuse("nutrient", "must be a mass for an area, as in '40 kg N/ha'")
    elif text:
        table.refuse("nutrient", f"must be a mass of {' or '.join(NUTRIENTS)} for an area, as in "
                                 f"'40 kg N/ha', is '{text}'")
    product = MixProduct(
        name=name, aim=aim, undiluted=bool(table.flag("undiluted")),
        per_area=_ratio(table, "per_area", (VOLUME, MASS), AREA),
        per_mix=_ratio(table, "per_mix", (VOLUME, MASS), VOLUME),
        density=_ratio(table, "density", (MASS,), VOLUME),
        at_most=_ratio(table, "at_most", (VOLUME, MASS), AREA),
        at_most_in_mix=_ratio(table, "at_most_in_mix", (VOLUME, MASS), VOLUME),
        mix_at_least=_ratio(table, "mix_at_least", (VOLUME,), AREA),
        mix_at_most=_ratio(table, "mix_at_most", (VOLUME,), AREA))
    analysis = _ANALYSIS.fullmatch(table.text("analysis", "") or "0-0-0")
    if not analysis or sum(Fraction(part) for part in analysis.groups()) > 100:
        table.refuse("analysis", "must be percent of N, P2O5 and K2O, as in '28-0-0'")
    else:
        share = Fraction(analysis[1 + NUTRIENTS.index(nutrient or "N")]) / 100
        nutrient = nutrient or ("N" if share else "")
    given = [way for way in WAYS if way in table]
    if product.undiluted and "nutrient" in given:
        given.remove("undiluted")  # the aim then says the rate
    if len(given) != 1:
        table.refuse("", f"needs one of {', '.join(WAYS)}")
    if aim and (not share or not product.density):
        table.refuse("nutrient", f"needs an analysis with {nutrient} in it, and the density")
    return replace(product, share=share, nutrient=nutrient)


def _amount(table: TomlTable, key: str, *kinds: str) -> Amount | None:
    amount = _parsed(table, key, parse_amount, table.text(key, "") or "")
    if amount and amount.unit.kind not in kinds:
        table.refuse(key, f"must be a {' or '.join(kinds)}, is '{amount}'")
    return amount


def _ratio(table: TomlTable, key: str, kinds: tuple[str, ...], per: str) -> Ratio | None:
    ratio = _parsed(table, key, parse_ratio, table.text(key, "") or "")
    if ratio and (ratio.kinds[0] not in kinds or ratio.kinds[1] != per):
        table.refuse(key, f"must be a {' or '.join(kinds)} for each {per}, is '{ratio.text}'")
        return None
    return ratio


def _parsed(table: TomlTable, key: str, parse: Callable[[str], T], text: str) -> T | None:
    if not text:
        return None
    try:
        return parse(text)
    except ValueError as error:
        table.refuse(key, str(error))
        return None
