"""The reference page of the disturbances and the fields, made from their table."""

from __future__ import annotations

from host_sim.common import units
from host_sim.twin.disturbances import (
    CHOSEN,
    FIELD_SOURCES,
    FIELDS,
    FLAG,
    RADAR,
    TABLE,
    VALVE_WORDS,
    VALVES,
    Disturbance,
)

HEAD = """\
# Disturbances

Made from `host_sim/twin/disturbances.py` by `make docs`; do not edit it here.

What a field does to a machine, and what goes wrong with it. An event of a
[scenario](scenario_files.md) lets any of it come and go, at once or `over` a time; a *field* lets
a mix of it act on a whole drive. Everything random has a generator of its own, seeded by its name
and the seed of the drive: the same seed gives the same run, and one that is switched on leaves the
others as they are. In a calm field the machine is as clean as its `[twin]` makes it.

## The three fields

`[drive]` of a scenario, or `--field`, names one: `python -m host_sim drive --field rough`. The
demonstration drives in an ordinary one; [how well the loop does in each](fields.md). The mean slip
of the wheel is not in them: a calibration on that ground has found it. Standing, starting and
turning are events, not noise.

| disturbance | {fields} | where the sizes come from |
|---|{lines}---|
{rows}
With a radar in the place of the wheel `fields` drives with {radar}.
"""

GROUP = """
## {group}

| key of an event | also as | what it is | source |
|---|---|---|---|
"""

VALVES_TEXT = """
With `section`, an event has `valve = {words}`, {meanings}, and
`orifice_factor`, what its outlets pass of what they did: 0 blocked, 1 as built, above 1 worn; a
nozzle plugs `over` a time.
"""

SOURCES = f"""
## Sources

Statistics only; no log was copied. *{CHOSEN.capitalize()}* is ours.

1. Robot mower, antenna speed at 5 and 10 Hz: Plaza1 and Plaza2 of the examples of
   `borglab/gtsam`.
2. Tracked robot in a forest, wheel odometry and antenna at 10 Hz: `norlab-ulaval/fomo-sdk`.
3. Tractor at work, 48 passes at 1 Hz: `lindiap/tractor-field-operations-dataset`.
4. Radar on a flat road: doi 10.3390/s17040751.
5. Tractor's battery while it cranks, 1 Hz: `TractorHacking/CAN-data`.
"""


def disturbances_page() -> str:
    """The whole page."""
    names = list(FIELDS)
    rows = "".join(_field_row(entry) for entry in TABLE if entry.name in FIELD_SOURCES)
    radar = " and ".join(f"{amounts['radar_m_s']:g} m/s ({name})"
                         for name, amounts in RADAR.items())
    text = HEAD.format(fields=" | ".join(names), lines="---|" * len(names), rows=rows,
                       radar=f"a noise of {radar}")
    for group in dict.fromkeys(entry.group for entry in TABLE):
        text += GROUP.format(group=group)
        text += "".join(_row(entry) for entry in TABLE if entry.group == group)
        if group == VALVES:
            text += _valves()
    return text + SOURCES


def _field_row(entry: Disturbance) -> str:
    shown = [_amount(entry, amounts.get(entry.name, 0)) for amounts in FIELDS.values()]
    return _line(f"`{entry.key}`", *shown, FIELD_SOURCES[entry.name])


def _amount(entry: Disturbance, value: float) -> str:
    if entry.quantity == FLAG:
        return "yes" if value else "no"
    return f"{round(value * entry.shown, 6):g} {_unit(entry)}" if value else "none"


def _unit(entry: Disturbance) -> str:
    """As in the words of the entry: the unit that `shown` is one of."""
    for unit in ("%", "m/s", "V", "mL", "bar", "L/min"):
        if any(f"{{:g}} {unit}" in words for words in entry.words):
            return unit
    return ""


def _row(entry: Disturbance) -> str:
    if entry.quantity == FLAG:
        takes = "`true`, `false`"
    elif entry.quantity is None:
        takes = "a number"
    else:
        takes = f"in {units.labels(entry.quantity)}"
    also = ", ".join(f"`{key}`" for key in entry.numbers)
    return _line(f"`{entry.key}`: {takes}", also, entry.meaning, entry.source)


def _valves() -> str:
    words = " or ".join(f'`"{word}"`' for word in VALVE_WORDS)
    meanings = "; ".join(text.format("2") for _, text in VALVE_WORDS.values())
    return VALVES_TEXT.format(words=words, meanings=f"so that {meanings}")


def _line(*cells: str) -> str:
    return "| " + " | ".join(cells) + " |\n"
