"""Amounts of a product as a label states them: `1.2 L/ha`, `16 fl oz/ac`, `2 qt/100 gal`.

An amount keeps the unit that it was written in, because a record states the amount in the
measure of the label.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.units_text import ACRE_MCM2, FOOT_UM, GALLON_NL, POUND_UG

VOLUME, MASS, AREA = "volume", "mass", "area"

_GALLON_M3 = Fraction(GALLON_NL, 10**12)
_POUND_KG = Fraction(POUND_UG, 10**9)
_FOOT_M = Fraction(FOOT_UM, 10**6)


@dataclass(frozen=True)
class AmountUnit:
    """A unit of volume, mass or area; `size` is in m3, kg or m2, exactly."""

    label: str
    kind: str
    size: Fraction


# US liquid and avoirdupois measures: NIST Handbook 44, appendix C (from memory).
UNITS = {unit.label: unit for unit in (
    AmountUnit("mL", VOLUME, Fraction(1, 10**6)),
    AmountUnit("L", VOLUME, Fraction(1, 1000)),
    AmountUnit("fl oz", VOLUME, _GALLON_M3 / 128),
    AmountUnit("pt", VOLUME, _GALLON_M3 / 8),
    AmountUnit("qt", VOLUME, _GALLON_M3 / 4),
    AmountUnit("gal", VOLUME, _GALLON_M3),
    AmountUnit("g", MASS, Fraction(1, 1000)),
    AmountUnit("kg", MASS, Fraction(1)),
    AmountUnit("oz wt", MASS, _POUND_KG / 16),
    AmountUnit("lb", MASS, _POUND_KG),
    AmountUnit("m2", AREA, Fraction(1)),
    AmountUnit("ha", AREA, Fraction(10_000)),
    AmountUnit("ft2", AREA, _FOOT_M**2),
    AmountUnit("ac", AREA, Fraction(ACRE_MCM2, 10**7)),
)}
_BY_PLAIN_LABEL = {label.lower().replace(" ", ""): unit for label, unit in UNITS.items()}
_DIGITS = r"\d{1,12}"  # more than any amount needs, and few enough to work with
_COUNTED = re.compile(
    rf"\s*({_DIGITS}(?:\.{_DIGITS})?|\.{_DIGITS})?\s*([a-z][a-z ]*2?)\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Amount:
    """A volume, mass or area, in the unit that it was written in."""

    count: Fraction
    unit: AmountUnit

    @property
    def si(self) -> Fraction:
        """In m3, kg or m2."""
        return self.count * self.unit.size

    def __str__(self) -> str:
        return f"{figure(self.count)} {self.unit.label}"

    def same(self, si: Fraction) -> Amount:
        """Another amount in the same unit."""
        return Amount(si / self.unit.size, self.unit)

    def to(self, label: str) -> Amount:
        """The same amount in another unit of its kind."""
        return Amount(self.si / UNITS[label].size, UNITS[label])


@dataclass(frozen=True)
class Ratio:
    """An amount for each other amount: of product for an area, of product in a volume of mix."""

    amount: Amount
    per: Amount
    text: str

    @property
    def si(self) -> Fraction:
        return self.amount.si / self.per.si

    @property
    def kinds(self) -> tuple[str, str]:
        return self.amount.unit.kind, self.per.unit.kind

    def over(self, amount: Fraction, of: Fraction) -> str:
        """Another ratio of `amount` to `of`, both in SI, in the units of this one."""
        count = amount / of * self.per.si / self.amount.unit.size
        _, _, per = self.text.partition("/")
        return f"{figure(count)} {self.amount.unit.label}/{per.strip()}"


def parse_amount(text: str) -> Amount:
    """`2.5 L`. ValueError, with a reason to show, if it is not a number with a known unit."""
    match = _COUNTED.fullmatch(text)
    if not match or match[1] is None:
        raise ValueError(f"'{text}' is not a number with a unit")
    return Amount(_positive(match[1]), _unit(match[2]))


def parse_ratio(text: str) -> Ratio:
    """`1.2 L/ha` or `2 qt/100 gal`. ValueError, with a reason to show, if it is neither."""
    left, slash, right = text.partition("/")
    if not slash or "/" in right:
        raise ValueError(f"'{text}' must be one amount over another, as in '1.2 L/ha'")
    match = _COUNTED.fullmatch(right)
    if not match:
        raise ValueError(f"'{right.strip()}' is not a unit, nor a number with one")
    return Ratio(parse_amount(left), Amount(_positive(match[1] or "1"), _unit(match[2])), text)


def figure(value: Fraction) -> str:
    """A number, not below zero, with four digits; all of them where more are before the point."""
    decimals = 3 - math.floor(math.log10(value)) if value else 0
    text = f"{float(value):.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _positive(digits: str) -> Fraction:
    value = Fraction(Decimal(digits))
    if value <= 0:
        raise ValueError("must be above zero")
    return value


def _unit(label: str) -> AmountUnit:
    plain = label.lower().replace(" ", "")
    if plain == "oz":
        raise ValueError("'oz' can be a volume or a weight: write 'fl oz' or 'oz wt'")
    if plain not in _BY_PLAIN_LABEL:
        raise ValueError(f"unit '{label.strip()}' is none of {', '.join(UNITS)}")
    return _BY_PLAIN_LABEL[plain]
