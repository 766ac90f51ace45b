"""What a record must hold, by place: profiles as data, in the folder profiles/.

A profile names rules. A rule says for which kinds of product it asks for which elements, how they
are marked, what its source is and what that says of keeping the record. None is advice for other
places, products or years.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "profiles"
PLAIN = "plain"
ISO_DATE = "2026-05-04"  # a profile shows by an example how it writes a date
PREVAIL = (
    "The product label and the rules of the place of application prevail; where they differ from "
    "this page, they are right. Whether they ask for this record, for more, or for another form, "
    "is for the applicator to find out."
)
# Everything that a rule can ask for.
ELEMENTS = (
    "date", "time", "applicator", "certification_number", "made_for", "location", "site", "area",
    "rate", "placement", "wind", "temperature", "humidity", "sky", "trial", "block", "plot",
    "outlet", "pressure", "tank_loads", "product_name", "registration_number", "total", "analysis",
    "nutrients",
)


@dataclass(frozen=True)
class Rule:
    """One rule. `marks` has, by element that it asks for, how that is marked on the page."""

    name: str
    kinds: tuple[str, ...]
    marks: dict[str, str]
    words: str
    links: tuple[str, ...]

    def asked(self, element: str) -> tuple[str, str]:
        """Full name of what asks for an element, and its mark."""
        mark = self.marks[element]
        return (f"{self.name}{mark}" if mark.startswith("(") else self.name), mark


@dataclass(frozen=True)
class Profile:
    """A profile. `us` says which units come first, None that those of the run do."""

    name: str
    title: str
    us: bool | None
    iso_date: bool
    until: date | None
    rules: tuple[Rule, ...]

    def asks(self, element: str, kinds: Iterable[str]) -> tuple[str, ...]:
        """Full names of what asks for an element where there are products of these kinds."""
        return tuple(dict.fromkeys(rule.asked(element)[0] for rule in self.rules
                                   if element in rule.marks and set(kinds) & set(rule.kinds)))

    def mark(self, asked_by: str) -> str:
        """How what asks for an element is marked on the page."""
        return dict(rule.asked(element) for rule in self.rules for element in rule.marks)[asked_by]

    def sources(self, kinds: Iterable[str]) -> list[tuple[str, tuple[str, ...]]]:
        """Words and links of the rules that concern these kinds."""
        return [(rule.words, rule.links) for rule in self.rules
                if rule.words and set(kinds) & set(rule.kinds)]

    def written(self, day: date) -> str:
        """A date as this profile writes it: `2026-05-04` or `May 4, 2026`."""
        return day.isoformat() if self.iso_date else f"{day:%B} {day.day}, {day.year}"


def profile_names() -> list[str]:
    """Names of all profiles."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


@cache
def load_profile(name: str) -> Profile:
    """The profile of this name, which is one of `profile_names`."""
    data = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    rules = tuple(Rule(
        name=rule["name"], kinds=tuple(rule["kinds"]),
        marks=dict.fromkeys(rule.get("asks", ()), rule.get("mark", ""))
        | rule.get("paragraphs", {}),
        words=rule["words"], links=tuple(rule["links"])) for rule in data["rule"])
    units = data.get("units")
    return Profile(name, data["title"], None if units is None else units == "us",
                   data["date"] == ISO_DATE, data.get("until"), rules)
