"""Sizing requests: the small grammar, options and TOML files, and what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest

from host_sim.common.errors import InputError
from host_sim.sizing import texts
from host_sim.sizing.fields import FIELDS
from host_sim.sizing.request import SizingRequest, read_request
from tests.host.sizing.sizing_examples import BAR, L_MIN

LEAST = {"rate": ["100 L/ha"], "speed": ["6 to 12 km/h"], "spacing": ["0.5 m"], "sections": ["6"]}

FILE = """\
title = "other tables are not read"
units = "us"
[wanted]
rate = ["10 gal/ac", 15]
speed = "4 to 8"
[settings]
liquid_density = "10.65 lb/gal"
[fitted]
spacing = 30
sections = [6, 6]
outlet = "04"
pump = "L"
meter = "1700 pulses/gal"
meter_range = "0.5 to 5 gal/min"
"""


def by_options(us: bool | None = None, **options: str) -> SizingRequest:
    return read_request({**LEAST, **{name: [text] for name, text in options.items()}}, us, None)


def by_file(tmp_path: Path, text: str, **options: list[str]) -> SizingRequest:
    path = tmp_path / "machine.toml"
    path.write_text(text)
    return read_request(options, None, path)


@pytest.mark.parametrize("text", ["6 to 12 km/h", "6 km/h to 12 km/h", "6-12 km/h", "6 km/h - 12"])
def test_spans(text: str) -> None:
    assert texts.span("speed_mm_s", text, True) == pytest.approx((6 / 3.6, 12 / 3.6))


def test_a_span_may_have_no_width_or_no_unit() -> None:
    assert texts.span("speed_mm_s", "8 km/h", True) == pytest.approx((8 / 3.6, 8 / 3.6))
    assert texts.span("speed_mm_s", "4 to 8", True) == pytest.approx((4 * 0.44704, 8 * 0.44704))


@pytest.mark.parametrize(
    "text", ["1.2 L/min at 3 bar", "1.2 L/min@3 bar", "1200 mL/min at 300 kPa"]
)
def test_flow_at_pressure(text: str) -> None:
    assert texts.flow_at_pressure("outlet_flow_ul_s", text, True) == pytest.approx(
        (1.2 * L_MIN, 3 * BAR)
    )


def test_pump_points() -> None:
    pump = texts.pump("11.3 L/min open, 6.7 L/min at 2.8 bar", True)
    assert pump.flow_at(1.4 * BAR) / L_MIN == pytest.approx(9.0)
    assert texts.pump("M", False).flow_at(1.4 * BAR) / L_MIN == pytest.approx(9.0)


def test_valve_with_and_without_loss() -> None:
    assert texts.valve("20 L/min at 0.3 bar", False).loss_pa == pytest.approx(0.3 * BAR)
    assert texts.valve("20 L/min", False).loss_pa == 0


@pytest.mark.parametrize("field", FIELDS, ids=lambda field: field.name)
def test_the_example_of_every_field_is_valid(field: object) -> None:
    extra = {"meter": "450 pulses/L"} if field.name == "meter_range" else {}
    assert field.name in by_options(**{field.name: field.example}, **extra).given


def test_file_and_options_say_the_same(tmp_path: Path) -> None:
    options = {
        "rate": ["10 gal/ac", "15"],
        "speed": ["4 to 8"],
        "spacing": ["30 in"],
        "sections": ["6, 6"],
        "density": ["10.65 lb/gal"],
        "outlet": ["04"],
        "pump": ["L"],
        "meter": ["1700"],
        "meter_range": ["0.5 to 5 gal/min"],
    }
    assert by_file(tmp_path, FILE) == read_request(options, True, None)


def test_an_option_beats_the_file(tmp_path: Path) -> None:
    request = by_file(tmp_path, FILE, rate=["20"], outlet=["06"])
    assert request.ask.rates_m == pytest.approx((20 * 9.35396e-7,))
    assert request.machine.outlet.name == "06"


def test_bare_numbers_of_a_file_keep_the_files_units(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text(FILE)
    request = read_request({"speed": ["6 to 12"]}, False, tmp_path / "m.toml")
    assert request.machine.spacing_m == pytest.approx(30 * 0.0254)
    assert request.ask.speed_m_s == pytest.approx((6 / 3.6, 12 / 3.6))


def test_without_an_outlet_one_is_chosen() -> None:
    request = by_options()
    assert request.outlet_chosen
    assert request.machine.outlet.name == "025"
    assert not by_options(outlet="03").outlet_chosen


@pytest.mark.parametrize(
    ("field", "text", "says"),
    [
        ("rate", "abc", "--rate: 'abc' is not a number"),
        ("rate", "100 km/h", "--rate: unit 'km/h' is none of L/ha, gal/ac"),
        ("rate", "-5", "--rate: '-5' is not above zero"),
        ("rate", "0", "--rate: '0' is not above zero"),
        ("rate", "1,5", "--rate: '1,5': write the decimal sign as a point"),
        ("speed", "12 to 6", "--speed: '12 to 6' runs backwards"),
        ("speed", "6 to 9 to 12", "--speed: '6 to 9 to 12' is not a range like '6 to 12'"),
        ("speed", "nan", "--speed: 'nan' is not a number"),
        ("sections", "6 x", "--sections: '6 x' is not a list of whole numbers above zero"),
        ("sections", "0", "--sections: '0' is not a list of whole numbers above zero"),
        ("outlet", "07", "--outlet: '07' is none of the sizes 01, 015"),
        ("outlet", "1 L/min at x", "--outlet: 'x' is not a number"),
        ("pump", "XL", "--pump: 'XL' is none of the classes S, M, L"),
        ("pump", "5 L/min open, 6 L/min at 1 bar", "gives more under pressure than open"),
        ("check_valve", "-1 bar", "--check-valve: '-1 bar' is below zero"),
        ("meter_range", "1 to 2", "--meter-range: needs the K-factor, field meter, too"),
        ("pulse_range", "5", "--pulse-range: '5' is not like '2 to 10000 Hz'"),
        ("pulse_range", "5 to 2 Hz", "is not a range above zero"),
    ],
)
def test_bad_options(field: str, text: str, says: str) -> None:
    with pytest.raises(InputError) as refusal:
        by_options(**{field: text})
    assert says in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_missing_and_repeated_options() -> None:
    with pytest.raises(InputError, match="--spacing: is missing, and so is --width"):
        read_request({**LEAST, "spacing": None}, None, None)
    for name in ("rate", "speed", "sections"):
        with pytest.raises(InputError, match=f"--{name}: is missing; for example"):
            read_request({**LEAST, name: None}, None, None)
    with pytest.raises(InputError, match="--spacing: is given more than once"):
        read_request({**LEAST, "spacing": ["1", "2"]}, None, None)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("spacing = 30", "spacing = true", ":9: fitted.spacing: must be a text or number"),
        ("spacing = 30", "spacing = []", ":9: fitted.spacing: must be a text or number"),
        ("spacing = 30", "spacing = '30 mph'", ":9: fitted.spacing: unit 'mph' is none of m, in"),
        (
            'speed = "4',
            'sped = "4',
            ":5: wanted.sped: there is no such key here; did you mean speed?",
        ),
        ('units = "us"', 'units = "uk"', ":2: units: must be metric or us, is 'uk'"),
        ("[wanted]", "[wented]", ":3: wented: there is no such key here; did you mean wanted?"),
        ('speed = "4 to 8"', "", ": wanted.speed: is missing; for example '6 to 12 km/h'"),
        ("spacing = 30\n", "", ":8: fitted.section_widths: is missing, and so is sections"),
        ("sections = [6, 6]", "sections = [6, -6]", ":10: fitted.sections: '6, -6' is not a list"),
        ("sections = [6, 6]", "sections = [6, 6", ":11: "),
        ('pump = "L"', 'pump = "XL"', ":12: fitted.pump: 'XL' is none of the classes"),
    ],
)
def test_bad_files_name_file_line_and_field(tmp_path: Path, old: str, new: str, says: str) -> None:
    with pytest.raises(InputError) as refusal:
        by_file(tmp_path, FILE.replace(old, new, 1))
    assert any(line.startswith(f"{tmp_path / 'machine.toml'}{says}") for line in refusal.value.args)


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_request({}, None, tmp_path / "none.toml")


def test_the_width_of_the_bar_gives_the_spacing() -> None:
    request = read_request({**LEAST, "spacing": None, "width": ["3 m"]}, None, None)
    assert request.machine.spacing_m == pytest.approx(0.5)
    assert by_options(width="3 m").machine.spacing_m == pytest.approx(0.5)
    with pytest.raises(InputError, match="--width: 6 outlets at this spacing are 3 m, not 4 m"):
        by_options(width="4 m")


def test_sections_that_were_measured_give_the_spacing_too(tmp_path: Path) -> None:
    text = FILE.replace("spacing = 30", 'section_widths = ["15 ft", "15 ft"]')
    assert by_file(tmp_path, text).machine.spacing_m == pytest.approx(0.762)
