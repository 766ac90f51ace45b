"""The reference page of the machine file, made from the tables that its reader reads by."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from host_sim.machine_file.homes import (
    FITTED,
    FROM_DATA_SHEET,
    GROUPS,
    HOMES,
    LEARNED,
    SETTINGS,
    WANTED,
    key_of,
)
from host_sim.machine_file.pressure_file import KEYS
from host_sim.machine_file.values import written_example
from host_sim.sizing.fields import FIELDS, PART_KEYS
from rate_control.settings import row
from rate_control.settings_table import MEANING

HEAD = """\
# Machine file

Made from `host_sim/machine_file/` by `make docs`; do not edit it here.

One TOML file is your machine: what is fitted, how the controller is to work with it, what was
learned, and your notes. `size --out` writes it, with the pump curve that the data sheets promise;
`calibrate --into` and `tune --into` put in what they find; `board settings set` and `get` carry it
to a board and back; `drive`, `panel`, `faults`, `acceptance` and `report` take it with `--machine`,
and a [scenario](scenario_files.md) names one.
Without a scenario a file is driven as its `[wanted]` says: a pass for each rate, at the slowest,
the middle and the fastest speed.
[One walk through all of it](../tutorial/from_idea_to_field_day.md).
`host_sim/scenarios/plot_bar.machine.toml` is the machine of `make demo`.

```toml
title = "Plot bar"
units = "metric"
notes = "The left hose is new."

[wanted]
rate = ["80 L/ha", "100 L/ha"]
speed = "6 to 10 km/h"

[fitted]
actuator = "PWM pump"
sections = [3, 3]
spacing = "0.5 m"
outlet = "03"
pump = "M"
meter = "450 pulses/L"
meter_range = "1 to 10 L/min"
speed_sensor = "130 pulses/m"

[settings]
rate = "80 L/ha"
settling_time = "1.5 s"

[learned.meter]
date = 2026-05-04
how = "tank check by hand"
k_factor = "452.1 pulses/L"
```

> **Caution.** Settings of another machine make this one apply another rate. Before a file goes onto
> a board, compare widths, meter and speed sensor with the machine, and try it with clean water. The
> product label and local rules prevail.

**Quantities.** A text with a unit is read in that unit, whatever the units of the file:
`"20 gal/ac"`, `"5 ft"`, `"1700 pulses/gal"`. A bare number is in the unit in which the system of
the file shows that quantity: `rate = 80` is 80 L/ha in a metric file, 80 gal/ac in a US one. The
same holds for options such as `--set rate=20`. A value that is written has as few decimals as lead
back to the very same number in the controller.

**Mistakes.** All of a file are told at once, each with file, line and key, in the unit that was
typed. A key that is not described here is an error that names the nearest one. Then the exit
status is 2, and nothing is written.

**Writing.** Comments, order and everything else stay as they are. What the file held is kept beside
it as `FILE.before`; to undo, copy it back. A file that would not be sound is not written.

## Top level

| key | what it is |
|---|---|
| `title` | name of the machine; the file's name where it is left out |
| `units` | `"metric"` (where it is left out) or `"us"`: of bare numbers, and of what is shown |
| `notes` | whatever you want to remember |
"""

TABLES = {
    WANTED: "What the machine is to do; `size` asks for it.",
    FITTED: "What is on the machine, by tape and data sheet. The widths of the sections are "
            "`section_widths` or, without them, outlets times their distance; there is no default.",
    SETTINGS: "How the controller is to work with it. What is left out has its default; ranges are "
              "on the page [settings](settings.md).",
    LEARNED: "What a calibration or a procedure has found, a table for each, with the `date` and "
             "`how`. It goes before what a data sheet says under `fitted`.",
}

PRESSURE = """
## `[pressure]`

[A pressure sensor](../how_to/use_a_pressure_sensor.md), where there is one. It is no setting:
`pressure` makes a file of it for the board, and the twin has it by itself.
"""

TWIN = """
## `[twin]`

Only for the twin; a board never sees it. `kind` is one of the kinds on the page
[machines](machines.md); it says what no data sheet does: inertia, lags, hoses. Without it a machine
with a pump is of the electric kind whose pump is nearest to yours; a machine with a regulating
valve needs one. What `[fitted]` says of outlets, check valves, section valves, pump, relief valve,
meter and speed sensor is simulated in place of the kind's; of two points of a pump the class, its
inertia and its current are scaled with the open flow, and the slip makes the rest. The liquid is
water or has the density of the settings. Where the settings take speed or place from a receiver
(`speed_source`, `can_use`, `position_use`), the twin has one that reports five times a second;
`[twin.gnss]` says of what kind it is.

A table `[twin.NAME]` says where the simulated machine differs from what is believed of it:
`[twin.ground]`, `[twin.meter]`, `[twin.sections]` and so on, with the parameters of
[machines](machines.md). Either the name ends in the unit and the value is a number
(`relief_bar = 4`), or the value is a text with its unit (`relief = "4 bar"`).
`fit RUN MACHINE --into FILE` writes them from a recording of the real machine:
[fit your own twin](../how_to/fit_your_own_twin.md).
"""


def machine_file_page() -> str:
    """The whole page."""
    parts = [HEAD]
    for name, words in TABLES.items():
        groups = [f"{LEARNED}.{group}" for group in GROUPS] if name == LEARNED else [name]
        parts.append(f"\n## `[{name}]`\n\n{words}\n")
        for group in groups:
            heading = f"\n`[{group}]`\n" if name == LEARNED else ""
            rows = "".join(f"| {' | '.join(cells)} |\n" for cells in _rows(group))
            parts.append(f"{heading}\n| key | what it is | for example |\n|---|---|---|\n{rows}")
    return "".join(parts) + _pressure() + TWIN


def _pressure() -> str:
    rows = "".join(f'| `{key}` | {meaning} | `"{example}"` |\n' for key, example, meaning in KEYS)
    return PRESSURE + f"\n| key | what it is | for example |\n|---|---|---|\n{rows}"


def _rows(table: str) -> Iterator[tuple[str, str, str]]:
    for known in FIELDS:
        if known.table == table and not known.as_setting:
            default = f" (default: {known.default})" if known.default else ""
            setting = next((key_of(name) for name, place in FROM_DATA_SHEET.items()
                            if ".".join(map(str, place)) == f"{table}.{known.name}"), "")
            learned = f"; `{setting}` goes before it" if setting else ""
            yield f"`{known.name}`", known.help + default + learned, f'`"{known.example}"`'
    for part in PART_KEYS if table == FITTED else ():
        yield f"`{part}`", "the controller's board, to remember", '`"RP2040"`'
    for name, place in HOMES.items():
        if ".".join(map(str, place[:-1])) == table:
            entry: Any = row(name)
            yield f"`{place[-1]}`", str(entry[MEANING]), f"`{written_example(entry, False)}`"
