"""The page of limits: ranges out of the tables, and what no range says."""

from __future__ import annotations

from app import quantity_text
from rate_control import settings as table
from rate_control import units
from rate_control.believable import CHANGE_MM_S2
from rate_control.settings_table import MEANING

# of each quantity the setting that a person meets first
SHOWN = ("rate_ml_ha", "section_width_mm", "speed_cutoff_mm_s", "speed_pulses_km",
         "meter_pulses_hl", "meter_floor_ul_s", "liquid_density_g_l", "settling_time_ms",
         "valve_travel_ms")

HEAD = """\
# Limits

Made from `firmware/rate_control/` by `python -m host_sim settings docs`; do not edit it here.

What the controller cannot do, so that nobody relies on it. The machine has limits of its own,
mostly narrower: `python -m host_sim size` works them out. The product label and local rules
prevail over all of them.

## Of numbers

| what | from | to |
|---|---|---|
"""

TEXT = """
All other settings: [settings](settings.md). A number beyond its range is refused, not rounded.

Above the highest speed, a speed is not believed. Where rate, speed and width ask for more than
the highest flow, the highest flow is what is commanded.

## Of what it does

- **It sees one flow.** A section gets its share by its width, not by a meter of its own. What one
  outlet puts down is unknown: [catch them](../how_to/catch_the_outlets.md).
- **It sees no level of the tank**, no wind, no drops, and pressure only with [a
  sensor](../how_to/use_a_pressure_sensor.md), which does not hold the rate. Drift, pattern and drop
  size are the outlet's and the operator's.
- **It knows no place unless asked to.** With a GNSS receiver it can take its rate from
  [zones](../how_to/apply_by_zones.md) and hold sections shut over [covered
  ground](../how_to/hold_covered_ground.md). It knows no boundary and no obstacle, it steers
  nothing, and one rate holds for the whole width.
- **It stops what it drives, not the machine.** It takes the drive off a pump and shuts the
  section valves; a pump on a shaft turns on, a regulating valve stays where it is, and stored
  pressure goes on pressing. It is no emergency stop: fit one that needs no electronics.
- **It applies nothing before the speed has reached its cut-off**, stops an eighth below it, and
  gives liquid at a standstill on the bench alone.
- **Below the meter's floor it coasts**: it goes by the pump curve, and nobody measures.
- **A pump's trim adds a quarter at most** and takes away a half. What is further off its curve
  than that is told, not made good; where even then the meter shows a quarter too little, it is not
  trusted and the pump goes by its curve.
- **A regulating valve goes by its motor where the meter shows much less.** What the meter loses
  bit by bit, or before a start at which the valve had been left open, is not found out: [what is
  not noticed](../how_to/use_a_regulating_valve.md#what-is-not-noticed).
- **A tick is {tick} ms.** Nothing is faster than that, and delay and lag of the machine come on
  top: the step test says which settling time it can bear. A machine is believed to gain and lose
  at most {change} m/s in a second.
- **After power-up it does not know where a regulating valve stands.** One that was left wide open
  gives far too much until the controller switches off: [how it
  starts](../how_to/use_a_regulating_valve.md#how-it-starts).
- **It has no clock** and records no course by itself: [keep records](../how_to/keep_records.md).
- **Totals are those of meter and speed sensor.** They are as right as the calibration.
- **Noise that hides between the pulses of the meter can pass for liquid.** Where one reading in a
  few looks right, no warning lasts long enough to be shown: the loop gives a wrong rate, and too
  much is counted. The [disturbance](disturbances.md) `meter_noise_hz` tries it on your machine; a
  screened cable and the filter at the input are the cure. [The
  tank](../how_to/check_against_the_tank.md) finds it.

## What no sensor can see

Half a section blocked, outlets that are worn alike, a hose that leaks behind the meter, a wheel
that slips, a switch that sticks at *on*: each was tried on four machines, and [the page of a bad
day](bad_day.md#what-no-sensor-can-see) lists on which of them nothing was shown. [What the
controller cannot stop](bad_day.md#what-the-controller-cannot-stop) stands there, too.

## What is untested

No physical board, circuit, pump or valve has run with this firmware. [What has not been
tested](untested.md) says what stands for each, and what only hardware can show.
"""


def limits_page() -> str:
    """The page of limits."""
    width = "section_width_mm"
    rows = [
        ("sections", "1", str(units.MAX_SECTIONS)),
        ("whole working width", _shown(width, table.row(width)[table.LOW]),
         _shown(width, units.WIDTH_MAX_MM)),
        ("ground speed", "0", _shown("speed_cutoff_mm_s", units.SPEED_MAX_MM_S)),
        ("flow", "0", _shown("meter_floor_ul_s", units.FLOW_MAX_UL_S)),
    ]
    for name in SHOWN:
        row = table.row(name)
        ends = (_shown(name, row[end]) for end in (table.LOW, table.HIGH))
        rows.append((row[MEANING].split(";")[0], *ends))
    text = TEXT.format(tick=units.TICK_MS, change=CHANGE_MM_S2 // 1000)
    return HEAD + "".join(f"| {what} | {low} | {high} |\n" for what, low, high in rows) + text


def _shown(name: str, value: int) -> str:
    """A value in the quantity of a setting, as metric and US displays show it."""
    quantity = quantity_text.of_setting(table.row(name))
    both = (quantity_text.show(quantity, value, us) for us in (False, True))
    return "<br>".join(dict.fromkeys(both))
