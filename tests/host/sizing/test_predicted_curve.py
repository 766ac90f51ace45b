"""The curve that `size` predicts, beside simulated machines at rest, and in a file."""

from __future__ import annotations

from pathlib import Path

import pytest

from host_sim.__main__ import main
from host_sim.machine_file.machine import load_machine
from host_sim.plant.catalogue import machine_spec
from host_sim.plant.static_pump import Conditions
from host_sim.plant.steady import steady_state
from host_sim.sizing.machine import NOMINAL_V, PUMP_CLASSES, Outlet, Pump, SizedMachine, Valve
from host_sim.sizing.predicted import HOW, predicted_settings
from rate_control.units import DUTY_FULL

BAR = 1e5
TOP = -1
WORDS = ["size", "--rate", "100 L/ha", "--speed", "8 to 10 km/h", "--spacing", "0.5 m",
         "--sections", "3, 3, 3", "--outlet", "03"]  # fmt: skip


def sized(kind: str, pump: Pump) -> SizedMachine:
    spec = machine_spec(kind)
    parts, manifold = spec.sections, spec.manifold
    outlet = Outlet("its own", parts.orifice_flow_m3_s, 3 * BAR, (BAR, 4 * BAR))
    return SizedMachine(outlet, 0.5, tuple(parts.orifice_count), spec.liquid.density_kg_m3,
                        parts.check_pa, pump, manifold.relief_pa)


@pytest.mark.parametrize("size", PUMP_CLASSES)
def test_it_is_near_the_machine_and_errs_towards_too_little(size: str) -> None:
    """Hoses, valves and the battery's resistance are what size does not know of."""
    kind = f"electric_{size.lower()}"
    spec = machine_spec(kind)
    curve = predicted_settings(sized(kind, PUMP_CLASSES[size]))
    everything = (1 << len(spec.sections.orifice_count)) - 1
    errors = []
    for flow, duty in list(zip(curve["curve_flow_ul_s"], curve["curve_duty_u16"], strict=True))[2:]:
        at = Conditions(supply_v=NOMINAL_V)
        real = steady_state(spec, duty / DUTY_FULL, everything, at).flow_m3_s * 1e9
        errors.append(real / flow - 1)
    assert min(errors) > -0.06 and max(errors) < 0


def test_pump_by_two_points_gets_the_idling_of_its_like() -> None:
    like = PUMP_CLASSES["M"]
    pressure = 3 * BAR
    pump = Pump.from_points("mine", like.open_flow_m3_s, like.flow_at(pressure), pressure)
    mine, its = (predicted_settings(sized("electric_m", one)) for one in (pump, like))
    assert mine["curve_duty_u16"] == pytest.approx(its["curve_duty_u16"], abs=1)
    assert mine["curve_flow_ul_s"] == pytest.approx(its["curve_flow_ul_s"], abs=1)


def test_there_is_none_without_a_pump_or_with_a_regulating_valve() -> None:
    whole = sized("electric_m", PUMP_CLASSES["M"])
    assert predicted_settings(whole)
    for key, value in (("pump", None), ("regulating_valve", Valve(1e-3, BAR)), ("check_pa", 1e9)):
        assert predicted_settings(SizedMachine(**{**vars(whole), key: value})) == {}, key


def test_it_stands_in_the_file_and_follows_the_outlet_until_one_is_measured(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "my_bar.toml"
    assert main([*WORDS, "--pump", "M", "--out", str(path)]) in (0, 1)
    first = load_machine(path).settings
    assert f'how = "{HOW}"' in path.read_text()
    assert first.curve_flow_ul_s[0] == 0 and first.curve_supply_mv == 12000
    assert main(["size", str(path), "--outlet", "05", "--out", str(path)]) in (0, 1)
    second = load_machine(path).settings
    assert second.curve_flow_ul_s[TOP] > first.curve_flow_ul_s[TOP]
    path.write_text(path.read_text().replace(HOW, "on the bench"))
    assert main(["size", str(path), "--outlet", "02", "--out", str(path)]) in (0, 1)
    assert load_machine(path).settings.curve_flow_ul_s == second.curve_flow_ul_s
    capsys.readouterr()


def test_a_valve_gets_none_in_its_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "valve.toml"
    words = [*WORDS, "--pump", "M", "--regulating-valve", "40 L/min at 0.3 bar"]
    assert main([*words, "--out", str(path)]) in (0, 1)
    assert "pump_curve" not in path.read_text()
    capsys.readouterr()


def test_pump_below_the_floor_of_a_meter_gets_a_file_without_a_curve(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One of 0.4 L/min, below the 0.5 L/min at which a new file's meter_floor stands."""
    path = tmp_path / "tiny.toml"
    tiny = ["--pump", "0.4 L/min open, 0.3 L/min at 2 bar"]
    for meter in ([], ["--meter", "450 pulses/L", "--meter-range", "0.1 to 1 L/min"]):
        assert main([*WORDS, *tiny, *meter, "--out", str(path)]) in (0, 1)
        assert "[learned" not in path.read_text()
        path.unlink()
    capsys.readouterr()


def test_the_curve_of_a_pump_goes_with_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "my_bar.toml"
    assert main([*WORDS, "--pump", "M", "--out", str(path)]) in (0, 1)
    tiny = "0.4 L/min open, 0.3 L/min at 2 bar"
    assert main(["size", str(path), "--pump", tiny, "--out", str(path)]) in (0, 1)
    assert "[learned.pump_curve]" not in path.read_text()
    capsys.readouterr()


def test_the_look_ahead_goes_with_the_curve_until_the_step_test_has_measured_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "my_bar.toml"
    assert main([*WORDS, "--pump", "M", "--out", str(path)]) in (0, 1)
    assert load_machine(path).settings.look_ahead_ms == 300  # 3/4 of 0.1 s and 0.3 s
    predicted = path.read_text()
    begun, stepped = predicted.split("[learned.step_test]")
    path.write_text(begun + "[learned.step_test]"
                    + stepped.replace(HOW, "on the bench").replace("0.3 s", "0.15 s"))
    assert main(["size", str(path), "--outlet", "05", "--out", str(path)]) in (0, 1)
    assert load_machine(path).settings.look_ahead_ms == 150
    path.write_text(predicted)
    tiny = "0.4 L/min open, 0.3 L/min at 2 bar"
    assert main(["size", str(path), "--pump", tiny, "--out", str(path)]) in (0, 1)
    assert "step_test" not in path.read_text()
    capsys.readouterr()
