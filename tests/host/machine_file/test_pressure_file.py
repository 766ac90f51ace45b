"""The pressure sensor of a machine file: its table, and the verb that makes the board's file."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.pressure_watch import problem_of
from host_sim.__main__ import main
from host_sim.common.errors import InputError
from host_sim.machine_file.machine import load_machine
from host_sim.machine_file.pressure_file import pressure_bytes, read_pressure_file
from host_sim.twin.scenario import SCENARIO_DIR

PLOT_BAR = (SCENARIO_DIR / "plot_bar.machine.toml").read_text(encoding="utf-8")


def machine_with(folder: Path, table: str, text: str = PLOT_BAR) -> Path:
    path = folder / "bar.toml"
    path.write_text(f"{text}\n[pressure]\n{table}\n", encoding="utf-8")
    return path


def test_new_outlets_are_reckoned_from_what_is_fitted(tmp_path: Path) -> None:
    """By hand: 7 outlets of 2 L/min at 3 bar; valves of 20 L/min at 1 bar take 4, 6 and 4 L/min."""
    path = machine_with(tmp_path, 'signal = "0.5 to 4.5 V"\nrange = "4 bar"')
    made = read_pressure_file(pressure_bytes(load_machine(path)))
    assert (made.kind, made.range_pa, made.check_pa) == (1, 400_000, 50_000)
    assert made.new_ul_s == round(14e6 / 60)
    lost_bar = (4 * 0.04 + 6 * 0.09 + 4 * 0.04) / 14
    assert made.new_pa == pytest.approx(3e5 + lost_bar * 1e5, abs=1)


def test_what_was_measured_goes_before(tmp_path: Path) -> None:
    path = machine_with(tmp_path, 'signal = "4 to 20 mA"\nrange = "100 psi"\n'
                                  'new_outlets = "13 L/min at 3 bar"')
    made = read_pressure_file(pressure_bytes(load_machine(path)))
    assert made.kind == 2 and made.range_pa == round(100 * 6894.757)
    assert (made.new_ul_s, made.new_pa) == (round(13e6 / 60), 250_000)  # check valves take 0.5 bar


@pytest.mark.parametrize(("table", "words"), [
    ('range = "4 bar"', "pressure.signal: is missing"),
    ('signal = "0 to 10 V"\nrange = "4 bar"', "pressure.signal: must be 0.5 to 4.5 V or"),
    ('signal = "4 to 20 mA"', "pressure.range: is missing"),
    ('signal = "4 to 20 mA"\nrange = "4 L"', "pressure.range: "),
    ('signal = "4 to 20 mA"\nrange = "0.05 bar"', "pressure.range: must be 0.10 bar to 100.00 bar"),
    ('signal = "4 to 20 mA"\nrange = "0.4 bar"', "pressure.range: is below fitted.check_valve"),
    ('signal = "4 to 20 mA"\nrange = "4 bar"\nrnge = 1', "pressure.rnge: there is no such key"),
    ('signal = "4 to 20 mA"\nrange = "4 bar"\nnew_outlets = "much"', "pressure.new_outlets: "),
    ('signal = "4 to 20 mA"\nrange = "4 bar"\nnew_outlets = "9 L/min at 0.4 bar"',
     "pressure.new_outlets: must be"),
    ('signal = "4 to 20 mA"\nrange = "10 bar"\nprime = "0.9 bar"\nprime_time = "8 s"',
     "pressure.prime: must be above the check valves' 0.50 bar and 1.00 bar, a tenth of the range"),
])
def test_what_is_wrong_is_told_with_file_line_and_key(tmp_path: Path, table: str,
                                                      words: str) -> None:
    path = machine_with(tmp_path, table)
    with pytest.raises(InputError) as told:
        load_machine(path)
    assert any(str(path) in line and words in line for line in told.value.args), told.value.args


def test_priming_is_refused_where_a_valve_regulates(tmp_path: Path) -> None:
    text = PLOT_BAR.replace('"PWM pump"', '"in-line valve"')
    table = ('signal = "4 to 20 mA"\nrange = "4 bar"\nprime = "1 bar"\nprime_time = "8 s"')
    with pytest.raises(InputError, match="pressure.prime: goes with a pump that is driven by its"):
        load_machine(machine_with(tmp_path, table, text))
    assert load_machine(machine_with(tmp_path, table[: table.index("prime")], text)).pressure


def test_without_outlets_in_the_file_it_asks_for_them(tmp_path: Path) -> None:
    text = PLOT_BAR.replace('outlet = "2.0 L/min at 3 bar"\n', "")
    with pytest.raises(InputError, match="pressure.new_outlets: is missing, and so is"):
        load_machine(machine_with(tmp_path, 'signal = "4 to 20 mA"\nrange = "4 bar"', text))


def test_the_verb_writes_the_file_and_says_what_it_can_tell(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = machine_with(tmp_path, 'signal = "0.5 to 4.5 V"\nrange = "4 bar"')
    out = tmp_path / "pressure.bin"
    assert main(["pressure", str(path), "--out", str(out)]) == 0
    assert problem_of(out.read_bytes()) == ""
    assert "one plugged outlet of 7 is 14.3 % less: told" in capsys.readouterr().out
    many = PLOT_BAR.replace("sections = [2, 3, 2]", "sections = [8, 8, 8]")
    path = machine_with(tmp_path, 'signal = "0.5 to 4.5 V"\nrange = "4 bar"', many)
    assert main(["pressure", str(path)]) == 0
    assert "too little to be told" in capsys.readouterr().out


def test_the_verb_refuses_a_machine_without_a_sensor(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bar.toml"
    path.write_text(PLOT_BAR, encoding="utf-8")
    assert main(["pressure", str(path), "--out", str(tmp_path / "pressure.bin")]) == 2
    assert "pressure: the table is missing" in capsys.readouterr().err
    assert not (tmp_path / "pressure.bin").exists()


def test_its_wire_is_named_where_there_is_one(tmp_path: Path,
                                              capsys: pytest.CaptureFixture[str]) -> None:
    path = machine_with(tmp_path, 'signal = "0.5 to 4.5 V"\nrange = "4 bar"')
    assert main(["board", "wires", "--machine", str(path)]) == 0
    assert "  28  PRESSURE" in capsys.readouterr().out
    assert main(["board", "wires", "--machine", str(path), "--board", "esp32"]) == 2
    assert "pressure: no pin for a pressure sensor" in capsys.readouterr().err
