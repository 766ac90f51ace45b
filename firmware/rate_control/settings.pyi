# Made from settings.py and settings_table.py by `make docs`; do not edit it here.
from rate_control.ranges import out_of_range as out_of_range
from rate_control.settings_table import COUNT as COUNT, DEFAULT as DEFAULT, HIGH as HIGH, LOW as LOW, NAME as NAME, TABLE as TABLE, UNIT as UNIT
from rate_control.units import MAX_SECTIONS as MAX_SECTIONS, WIDTH_MAX_MM as WIDTH_MAX_MM
from typing import Any
def row(name: str) -> 'tuple | Any':
    ...
class Settings:
    rate_ml_ha: int
    highest_rate_ml_ha: int
    liquid_density_g_l: int
    us_units: int
    bench_timeout_s: int
    section_count: int
    section_width_mm: list[int]
    speed_source: int
    can_use: int
    speed_pulses_km: int
    speed_cutoff_mm_s: int
    speed_average_pulses: int
    speed_turn_pulses: int
    speed_timeout_ms: int
    meter_pulses_hl: int
    meter_floor_ul_s: int
    meter_droop_ul_s: int
    meter_average_pulses: int
    meter_timeout_ms: int
    implement_open_is_down: int
    implement_start_delay_ms: int
    implement_stop_delay_ms: int
    switch_debounce_ms: int
    actuator: int
    curve_flow_ul_s: list[int]
    curve_duty_u16: list[int]
    curve_pressure_u16: int
    curve_gap_u16: int
    curve_share_ul_s: int
    curve_density_g_l: int
    curve_supply_mv: int
    curve_learning: int
    duty_rise_ms: int
    valve_travel_ms: int
    valve_min_pulse_ms: int
    valve_lost_ms: int
    valve_play_ms: int
    settling_time_ms: int
    loop_delay_ms: int
    loop_lag_ms: int
    look_ahead_ms: int
    rate_tolerance_permille: int
    curve_tolerance_permille: int
    rate_off_ms: int
    flow_missing_ms: int
    longest_pass_m: int
    supply_low_mv: int
    position_use: int
    antenna_mm: list[int]
    antenna_lag_ms: int
    hold_lead_ms: list[int]

    def __init__(self) -> None:
        ...

    def widths_mm(self) -> list[int]:
        ...

    def total_width_mm(self) -> int:
        ...

    def as_dict(self) -> dict[str, object]:
        ...
def default_value(entry: tuple) -> 'Any':
    ...
def build(values: dict, base: Settings | None=None) -> tuple[Settings | None, list[str]]:
    ...
def value_problem(entry: tuple, value: object) -> str:
    ...
def number_problem(entry: tuple, number: object) -> str:
    ...
def cross_problems(settings: Settings) -> list[str]:
    ...
