"""Where the elements of a record come from, and what those sources say of keeping it.

They are named as what they are: one federal rule and one state's list. Neither is advice for
other places, products or years.
"""

from __future__ import annotations

NUTRIENT = "nutrient record"

CFR = "7 CFR 110.3"
CFR_SOURCE = "http://edocket.access.gpo.gov/cfr_2006/janqtr/7cfr110.3.htm"
AMS_SOURCE = "https://www.ams.usda.gov/rules-regulations/pesticide-records/understanding"
MARYLAND_SOURCE = "https://studylib.net/doc/14800863/"

PREVAIL = (
    "The product label and the rules of the place of application prevail; where they differ from "
    "this page, they are right. Whether they ask for this record, for more, or for another form, "
    "is for the applicator to find out."
)
# Kind of product: what the sources ask for and which periods they name.
SOURCES = {
    "pesticide": (
        f"Marked (a)(1) to (a)(5): elements of {CFR}(a), United States, records of certified "
        "applicators on restricted use pesticides, as of January 1, 2006. Amount is of the "
        "product, not of the mix. Periods named there: recorded within 14 days of the "
        "application, kept for 2 years.",
        (CFR_SOURCE, AMS_SOURCE),
    ),
    "fertilizer": (
        "Marked N: field-by-field nutrient quantity, rate, timing, type and analysis, as listed by "
        "the nutrient management program of Maryland, United States, January 2003. Period named "
        "there: kept for 3 years.",
        (MARYLAND_SOURCE,),
    ),
}


def paragraph(number: int) -> str:
    """The paragraph of 7 CFR 110.3(a) that asks for an element."""
    return f"{CFR}(a)({number})"


def mark(rule: str) -> str:
    """A rule as it is marked beside an entry."""
    return "N" if rule == NUTRIENT else rule.removeprefix(CFR)
