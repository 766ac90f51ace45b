"""Amounts of product and of nutrients, against worked examples that others published."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.application_record.amounts import UNITS, figure, parse_amount, parse_ratio
from host_sim.application_record.doses import AppliedMix, dose, nutrients, per_area
from host_sim.application_record.job import JobProduct
from host_sim.common.errors import InputError


def si(text):
    return parse_amount(text).si


def work(area, volume, wanted_m=None):
    return AppliedMix(si(area), si(volume), wanted_m)


def test_pounds_for_a_field_of_a_published_example():
    """3.5 acres at 15 gal/ac take 52.5 gal of mix; at 3 lb/ac they take 10.5 lb of product.

    Source: Agriculture Reference, example 4,
    http://what-when-how.com/Tutorial/topic-166581h5j/Agrochemical-and-Pesticide-Safety-128.html
    """
    product = JobProduct("pesticide", "x", per_area=parse_ratio("3 lb/ac"),
                      mixed_for=parse_ratio("15 gal/ac"))
    found = dose(product, work("3.5 ac", "52.5 gal"), us=True)
    assert str(found.total) == "10.5 lb"
    assert per_area(product, found.total, si("3.5 ac"), us=True) == "3 lb/ac"


def test_nitrogen_of_a_published_example():
    """28-0-0 at 10.65 lb/gal holds 2.982 lb N in a gallon, so 25.15 gal/ac bring 75 lb N.

    Source: Setting the Sprayer Flow Rate for Non-Water Solutions, University of Nebraska, 2016,
    https://cropwatch.unl.edu/2016/setting-sprayer-flow-rate-non-water-solutions
    """
    product = JobProduct("fertilizer", "x", undiluted=True, density=parse_ratio("10.65 lb/gal"),
                      analysis=(Fraction(28), Fraction(0), Fraction(0)))
    found = dose(product, work("1 ac", "25.151 gal"), us=True)
    (name, mass), = nutrients(product, found.total, us=True)
    assert (name, mass.unit.label) == ("N", "lb")
    assert float(mass.count) == pytest.approx(75.0, abs=0.01)


def test_nitrogen_and_phosphate_of_another():
    """10-34-0 at 11.4 lb/gal: 1.1 lb N and 3.9 lb P2O5 in a gallon.

    Source: University of Nebraska, https://passel2.unl.edu/view/lesson/d01bf6ce5f62/3
    """
    product = JobProduct("fertilizer", "x", density=parse_ratio("11.4 lb/gal"),
                      analysis=(Fraction(10), Fraction(34), Fraction(0)))
    found = {name: float(mass.count)
             for name, mass in nutrients(product, parse_amount("1 gal"), us=True)}
    assert found == pytest.approx({"N": 1.1, "P2O5": 3.9}, abs=0.05)


def test_units_are_exact():
    """16 oz in a pound, 128 fl oz, 8 pt and 4 qt in a gallon, 43,560 ft2 in an acre.

    Source: NIST Handbook 44, appendix C (from memory).
    """
    assert si("16 oz wt") == si("1 lb") == Fraction("0.45359237")
    assert si("128 fl oz") == si("8 pt") == si("4 qt") == si("1 gal") == Fraction("0.003785411784")
    assert si("43560 ft2") == si("1 ac") == Fraction("4046.8564224")


@given(st.sampled_from(sorted(UNITS)), st.decimals("0.01", "99999", places=2))
def test_what_is_written_reads_back(label, count):
    amount = parse_amount(f"{count} {label}")
    again = parse_amount(str(amount))
    assert again.unit is amount.unit
    assert float(again.count) == pytest.approx(float(amount.count), rel=5e-3)


@pytest.mark.parametrize(("text", "says"), [
    ("L", "is not a number with a unit"),
    ("1.2", "is not a number with a unit"),
    ("-1 L", "is not a number with a unit"),
    ("1,5 L", "is not a number with a unit"),
    ("0 L", "must be above zero"),
    ("8 oz", "write 'fl oz' or 'oz wt'"),
    ("3 cups", "unit 'cups' is none of mL, L, fl oz"),
])
def test_what_is_no_amount(text, says):
    with pytest.raises(ValueError, match=says):
        parse_amount(text)


@pytest.mark.parametrize("text", ["1 L", "1 L/ha/d", "1/ha", "L/ha", "1 L/", "1 L/-2 ha"])
def test_what_is_no_ratio(text):
    with pytest.raises(ValueError):
        parse_ratio(text)


@pytest.mark.parametrize(("value", "text"), [
    ("0", "0"), ("0.00123", "0.00123"), ("0.0125646", "0.01256"), ("0.99996", "1"),
    ("0.25", "0.25"), ("1.23456", "1.235"), ("12", "12"), ("149.605", "149.6"),
    ("1200", "1200"), ("123456.7", "123457"),
])
def test_four_digits(value, text):
    assert figure(Fraction(value)) == text


# Ways to say how much.


def test_the_amount_goes_with_the_mix_that_went_out():
    """Mixed for 80 L/ha but applied at 95: there is more product on the field, and it says so."""
    product = JobProduct("pesticide", "x", per_area=parse_ratio("1.2 L/ha"),
                      mixed_for=parse_ratio("80 L/ha"))
    found = dose(product, work("2 ha", "190 L"), us=False)
    assert str(found.total) == "2.85 L"
    assert per_area(product, found.total, si("2 ha"), us=False) == "1.425 L/ha"


def test_without_a_rate_of_mix_the_rate_asked_for_serves_where_there_is_one():
    product = JobProduct("pesticide", "x", per_area=parse_ratio("1 L/ha"),
                         place="a.toml:3: product 1")
    found = dose(product, work("1 ha", "100 L", Fraction(100, 10**7)), us=False)
    assert str(found.total) == "1 L"
    with pytest.raises(InputError, match="a.toml:3: product 1.mixed_for: is missing"):
        dose(product, work("1 ha", "100 L"), us=False)


@pytest.mark.parametrize(("product", "total"), [
    (JobProduct("other", "x", total=parse_amount("2.5 gal")), "2.5 gal"),
    (JobProduct("other", "x", per_mix=parse_ratio("2 qt/100 gal")), "1 qt"),
    (JobProduct("other", "x", undiluted=True), "50 gal"),
])
def test_other_ways_to_say_how_much(product, total):
    assert str(dose(product, work("3 ac", "50 gal"), us=True).total) == total


def test_what_is_not_said_is_not_made_up():
    product = JobProduct("fertilizer", "x", analysis=(Fraction(28), Fraction(0), Fraction(0)))
    assert dose(product, work("1 ha", "100 L"), us=False) is None
    assert list(nutrients(product, parse_amount("10 L"), us=False)) == []
