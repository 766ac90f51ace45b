"""The reference pages that are made from tables, and from runs on the twin."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import host_sim
from app import quantity_text
from host_sim.build import operator_reference
from host_sim.build.limits_page import limits_page
from host_sim.build.link_reference import link_page
from host_sim.machine_file.homes import HOMES, key_of
from host_sim.machine_file.reference import machine_file_page
from host_sim.plant.reference import machines_page
from host_sim.trials import faults
from host_sim.trials.trust import page as bad_day
from host_sim.twin.disturbances_page import disturbances_page
from rate_control import settings as table
from rate_control.procedures import catalogue
from rate_control.settings_table import ADVICE, MEANING, TABLE

DIRECTORY = host_sim.REPO_ROOT / "docs" / "reference"

SETTINGS_HEAD = """\
# Settings

Made from `firmware/rate_control/settings_table.py` by `make docs`; do not edit it here.

Every setting of the controller. Inside, and over the link, whole numbers throughout, in the unit
that the name ends in; displays and files show and take them in the units that you choose, a
[machine file](machine_file.md) under the key that stands below the name. Bad settings are
refused as a whole, with every problem named, and the last good ones stay. They are never taken
while outputs are on, and afterwards the master switch must be seen off, then on.

All in a file: `python -m host_sim settings export --out my_machine.toml`. Compare two:
`python -m host_sim settings diff before.toml after.toml`.

| setting | what it is | range | default | when to change it |
|---|---|---|---|---|
"""

PROCEDURES_HEAD = """\
# Procedures

Made from `firmware/rate_control/procedures/catalogue.py` by `make docs`; do not edit it here.

Every calibration and test, with what it wants to know before it begins. They are the same at
the display, over the link and in `python -m host_sim calibrate`. None changes a setting by
itself: it shows the old value, the new one and the difference, and waits for a person. How to
do each, with a jug and a stopwatch: [how-tos](../how_to/README.md).
"""

PARAMETERS_HEAD = """
| parameter | what it is | range | default |
|---|---|---|---|
"""


def settings_page() -> str:
    """The page of all settings."""
    return SETTINGS_HEAD + "".join(_setting_row(entry) for entry in TABLE)


def procedures_page() -> str:
    """The page of all procedures."""
    return PROCEDURES_HEAD + "".join(_procedure(entry) for entry in catalogue.CATALOGUE)


PAGES: dict[str, Callable[[], str]] = {
    "settings.md": settings_page,
    "procedures.md": procedures_page,
    "machines.md": machines_page,
    "disturbances.md": disturbances_page,
    "machine_file.md": machine_file_page,
    "link.md": link_page,
    "operator_interface.md": operator_reference.page,
    "faults.md": faults.page,
    "bad_day.md": bad_day.page,
    "limits.md": limits_page,
}


def pages() -> dict[str, str]:
    """The text of every page by file name."""
    return {name: make() for name, make in PAGES.items()}


def _setting_row(entry: Any) -> str:
    quantity = quantity_text.of_setting(entry)
    words = quantity_text.choices(entry)
    unit = "" if words else entry[table.UNIT]
    count = "" if entry[table.COUNT] == 1 else f" ({entry[table.COUNT]} numbers)"
    name = entry[table.NAME]
    return _cells(
        f"`{entry[table.NAME]}`" + (f"<br>`{key_of(name)}`" if name in HOMES else ""),
        entry[MEANING] + count,
        _range(quantity, entry[table.LOW], entry[table.HIGH], unit)
        + "".join(f"<br>{entry[table.LOW] + value}: {word}"
                  for value, word in enumerate(words)),
        _default(quantity, entry[table.DEFAULT]),
        entry[ADVICE],
    )


def _procedure(entry: Any) -> str:
    name, _, needs_bench, params, meaning = entry
    drives = " It drives the pump itself." if needs_bench else ""
    text = f"\n## {name}\n\n{meaning[0].upper()}{meaning[1:]}.{drives}\n"
    return text + PARAMETERS_HEAD + "".join(
        _cells(f"`{param}`", words, _range(quantity, low, high, ""), _default(quantity, default))
        for param, quantity, low, high, default, words in params
    )


def _cells(*cells: str) -> str:
    return "| " + " | ".join(cells) + " |\n"


def _range(quantity: str, low: int, high: int, unit: str) -> str:
    """Both ends in the internal unit, then as shown in both systems."""
    lines = [f"{low} to {high} {unit}".strip()]
    for us in (False, True) if quantity else ():
        number = quantity_text.show(quantity, low, us).split(" ", 1)[0]
        _add(lines, f"{number} to {quantity_text.show(quantity, high, us)}")
    return "<br>".join(lines)


def _default(quantity: str, value: Any) -> str:
    if not isinstance(value, int):
        return f"{value[0]} to {value[-1]}"
    lines = [str(value)]
    for us in (False, True) if quantity else ():
        _add(lines, quantity_text.show(quantity, value, us))
    return "<br>".join(lines)


def _add(lines: list[str], line: str) -> None:
    """Where both systems show the same, once is enough."""
    if line not in lines:
        lines.append(line)
