"""What each setting means, and when to change it: one row for each of settings_table.py.

Apart from the table, because a board loads this only while it is set up.
"""

MEANING, ADVICE = range(2)

# name: what it means, when to change it; at most 60 characters each
WORDS = {
    "rate_ml_ha": (
        "application rate; it is kept with the totals",
        "for each job, from the product label"),
    "highest_rate_ml_ha": (
        "no rate beyond it is taken, from anywhere",
        "at the machine, from the labels of your products"),
    "section_count": (
        "number of sections fitted",
        "when the boom is rebuilt"),
    "section_width_mm": (
        "working width of each section",
        "outlets x spacing, measured by tape"),
    "liquid_density_g_l": (
        "density of the liquid; water is 1 kg/L, 8.35 lb/gal",
        "for each product, from its label"),
    "speed_source": (
        "where the ground speed is from: pulses or GNSS",
        "when a receiver is wired, or a wheel sensor"),
    "speed_pulses_km": (
        "pulses of the speed sensor for one metre or foot",
        "by the ground-speed course; after new tyres"),
    "speed_average_pulses": (
        "speed pulses averaged",
        "more if the shown speed flickers"),
    "speed_timeout_ms": (
        "no speed pulse for this long is standstill",
        "longer for a wheel with few magnets"),
    "speed_cutoff_mm_s": (
        "below this ground speed nothing is applied",
        "just below your slowest working speed"),
    "meter_pulses_hl": (
        "pulses of the meter for one litre or gallon (K-factor)",
        "by the meter catch, then by a tank check"),
    "meter_average_pulses": (
        "meter pulses averaged",
        "to one whole turn of the rotor"),
    "meter_timeout_ms": (
        "no meter pulse for this long is no flow",
        "longer for a meter with few pulses"),
    "meter_floor_ul_s": (
        "below this flow the meter is not trusted",
        "from the meter's data sheet"),
    "meter_droop_ul_s": (
        "flow at which the meter stops; 0 if it reads true",
        "by the low flow catch"),
    "switch_debounce_ms": (
        "a switch must hold this long to count",
        "longer for worn or wet contacts"),
    "implement_open_is_down": (
        "contact of the implement switch when it is down",
        "if yours opens; a cut wire then reads as down"),
    "implement_start_delay_ms": (
        "wait from implement down to start",
        "if the outlets trail the switch"),
    "implement_stop_delay_ms": (
        "wait from implement up to stop",
        "if the outlets trail the switch"),
    "longest_pass_m": (
        "way without a lift before it warns; 0: no switch",
        "longer for a very long field; 0 where all is fixed"),
    "actuator": (
        "PWM pump, in-line valve or bypass valve",
        "when the machine is built"),
    "curve_flow_ul_s": (
        "pump curve: flow with all sections on",
        "by the pump curve procedure"),
    "curve_duty_u16": (
        "pump curve: duty for each flow",
        "by the pump curve procedure"),
    "curve_pressure_u16": (
        "pump: part of the top duty that is due to pressure",
        "by the pump curve procedure"),
    "curve_gap_u16": (
        "pump curve: duty less when the flow falls",
        "by the pump curve procedure"),
    "curve_share_ul_s": (
        "flow that tells how closed sections act on a valve",
        "by the pump curve procedure"),
    "duty_rise_ms": (
        "shortest rise of the duty from 0 to full, 0 at once",
        "if a fuse or a hose jumps"),
    "valve_travel_ms": (
        "regulating valve: time from stop to stop",
        "by stopwatch"),
    "valve_min_pulse_ms": (
        "regulating valve: shortest pulse that moves it",
        "longer if it hums and stays"),
    "valve_lost_ms": (
        "regulating valve: time lost at each start",
        "by the pump curve procedure"),
    "valve_play_ms": (
        "regulating valve: time to cross its play",
        "by the pump curve procedure"),
    "curve_density_g_l": (
        "density of the liquid when the curve was taken",
        "by the pump curve procedure"),
    "curve_supply_mv": (
        "supply when the curve was taken, 0 to ignore",
        "by the pump curve procedure"),
    "loop_delay_ms": (
        "until the flow begins to answer the pump",
        "by the step test"),
    "loop_lag_ms": (
        "how slowly it then follows: its time constant",
        "by the step test"),
    "look_ahead_ms": (
        "flow is set for the speed this much later",
        "by the step test; less if it flickers"),
    "settling_time_ms": (
        "how soon the rate is to be within 5 %",
        "shorter is brisker; longer if it surges"),
    "rate_tolerance_permille": (
        "rate may be off by this before it warns",
        "to your own standard"),
    "curve_tolerance_permille": (
        "machine may be off its curve by this before it warns",
        "more for an old battery"),
    "rate_off_ms": (
        "and must stay off for this long",
        "longer if short dips do not matter"),
    "flow_missing_ms": (
        "no flow this long while applying is a fault",
        "longer for a long dry line"),
    "supply_low_mv": (
        "supply below this is a warning",
        "24 V vehicles: 21 V"),
    "us_units": (
        "units shown: metric or US customary",
        "as you read them"),
    "bench_timeout_s": (
        "the bench switches itself off after this",
        "longer for a slow catch"),
}
