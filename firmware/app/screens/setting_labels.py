"""How the settings are grouped and called on the display.

The table of settings says everything else. A setting that is not named here is in the last
group, under its own name.
"""

from app.quantity_text import in_words

# group, and the settings in it with their label: at most 12 characters
GROUPS = (
    ("job", (
        ("highest_rate_ml_ha", "highest rate"),
        ("liquid_density_g_l", "density"),
        ("us_units", "units"),
        ("bench_timeout_s", "bench ends"),
    )),
    ("sections", (
        ("section_count", "how many"),
        ("section_width_mm", "widths"),
    )),
    ("speed", (
        ("speed_source", "source"),
        ("speed_pulses_km", "pulses"),
        ("speed_cutoff_mm_s", "cut-off"),
        ("speed_average_pulses", "average"),
        ("speed_timeout_ms", "standstill"),
    )),
    ("meter", (
        ("meter_pulses_hl", "pulses"),
        ("meter_floor_ul_s", "floor"),
        ("meter_droop_ul_s", "droop"),
        ("meter_average_pulses", "average"),
        ("meter_timeout_ms", "no flow"),
    )),
    ("switches", (
        ("implement_open_is_down", "down is"),
        ("implement_start_delay_ms", "start delay"),
        ("implement_stop_delay_ms", "stop delay"),
        ("switch_debounce_ms", "debounce"),
    )),
    ("pump, valve", (
        ("actuator", "kind"),
        ("curve_flow_ul_s", "curve flows"),
        ("curve_duty_u16", "curve duties"),
        ("curve_pressure_u16", "pressure"),
        ("curve_gap_u16", "falling"),
        ("curve_share_ul_s", "share"),
        ("curve_density_g_l", "density"),
        ("curve_supply_mv", "supply"),
        ("duty_rise_ms", "rise"),
        ("valve_travel_ms", "travel"),
        ("valve_min_pulse_ms", "shortest"),
        ("valve_lost_ms", "lost"),
        ("valve_play_ms", "play"),
    )),
    ("loop", (
        ("settling_time_ms", "settling"),
        ("loop_delay_ms", "delay"),
        ("loop_lag_ms", "lag"),
        ("look_ahead_ms", "look ahead"),
    )),
    ("warnings", (
        ("rate_tolerance_permille", "rate off by"),
        ("curve_tolerance_permille", "off curve by"),
        ("rate_off_ms", "for"),
        ("flow_missing_ms", "no flow for"),
        ("longest_pass_m", "no lift for"),
        ("supply_low_mv", "supply below"),
    )),
)

# the names of the values of a setting that is a choice, from its lowest value on
CHOICES = {
    "us_units": ("metric", "US customary"),
    "speed_source": ("pulses", "GNSS"),
    "implement_open_is_down": ("closed", "open"),
    "actuator": ("PWM pump", "in-line valve", "bypass valve"),
}


def groups(table):
    """Return GROUPS with a last group, "more", of the rows of table that are named nowhere."""
    named = [name for _, members in GROUPS for name, _ in members]
    named.append("rate_ml_ha")  # the menu itself has it, on top
    more = [(entry[0], in_words(entry[0])) for entry in table if entry[0] not in named]
    return GROUPS + (("more", more),) if more else GROUPS
