"""A machine file carried to a board and back: over a serial line, the twin at its other end."""

from __future__ import annotations

from host_sim.__main__ import main
from host_sim.board.link_client import LinkClient
from host_sim.board.link_port import SerialPort
from host_sim.machine_file.machine import load_machine
from host_sim.twin.scenario import DEMO, load_scenario
from tests.support.serial_twin import serial_twin

MINE = """\
# mine
units = "us"
[fitted]
section_widths = ["3 ft", "5 ft", "3 ft"]  # by tape
[settings]
rate = 12
settling_time = "2 s"  # brisk enough
[learned.meter]
k_factor = "1710 pulses/gal"
"""


def test_what_a_board_refuses_is_told_by_the_keys_of_the_file(tmp_path, capsys):
    mine = tmp_path / "mine.toml"
    mine.write_text(MINE.replace("rate = 12", "rate = 12\nhighest_rate = 15"))
    with serial_twin(load_scenario(DEMO)) as (_, port):
        assert main(["board", "settings", "set", "--port", port, "--machine", str(mine)]) == 2
    told = capsys.readouterr().err
    assert told == (f"python -m host_sim board: {port}: settings.highest_rate: can be changed at "
                    "the machine alone\n")


def test_a_machine_goes_to_a_board_and_comes_back(tmp_path, capsys):
    mine, back, other = (tmp_path / name for name in ("mine.toml", "back.toml", "other.toml"))
    mine.write_text(MINE)
    other.write_text(MINE.replace('"2 s"', '"3 s"').replace("1710", "1700").replace(
        'units = "us"', 'units = "metric"').replace("rate = 12", 'rate = "12 gal/ac"'))
    with serial_twin(load_scenario(DEMO)) as (_, port):
        board = ["board", "settings"]
        assert main([*board, "set", "--port", port, "--machine", str(mine)]) == 0
        on_board = LinkClient(lambda: SerialPort(port)).ask("settings.get")["values"]
        assert on_board["settling_time_ms"] == 2000
        assert on_board["section_width_mm"][:3] == [914, 1524, 914]
        assert main([*board, "get", "--port", port, "--machine", str(back)]) == 0
        assert main([*board, "get", "--port", port, "--machine", str(mine)]) == 0
        assert main([*board, "get", "--port", port, "--machine", str(other)]) == 0
    assert load_machine(back).settings.as_dict() == load_machine(mine).settings.as_dict()
    assert 'how = "read from the board"' in back.read_text()
    assert mine.read_text() == MINE  # nothing differed
    text = other.read_text()
    assert 'settling_time = "2 s"  # brisk enough' in text
    assert 'k_factor = "451.73 pulses/L"' in text
    assert 'units = "metric"' in text
    assert "other.toml: 2 settings changed" in capsys.readouterr().err
    bad = tmp_path / "bad.toml"
    bad.write_text(MINE.replace("12", "0"))
    assert main(["board", "settings", "set", "--port", "/dev/none", "--machine", str(bad)]) == 2
    assert "bad.toml:6: settings.rate: must be" in capsys.readouterr().err


def test_what_a_board_put_aside_comes_into_a_file(tmp_path, capsys):
    back = tmp_path / "back.toml"
    with serial_twin(load_scenario(DEMO)) as (twin, port):
        get = ["board", "settings", "get", "--port", port, "--aside"]
        assert main(get) == 2
        assert "put no settings aside" in capsys.readouterr().err
        store = twin.application.store
        found = {**twin.application.controller.settings.as_dict(), "meter_pulses_hl": 43217,
                 "nozzle_heat_mk": 281500}
        store.load_aside = lambda: found
        assert main([*get, "--machine", str(back)]) == 0
    assert load_machine(back).settings.meter_pulses_hl == 43217
    assert "not known here: nozzle_heat_mk = 281500" in capsys.readouterr().err
