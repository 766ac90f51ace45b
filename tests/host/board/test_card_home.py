"""The trace of a card over the cable: the programs that mpremote runs, on MicroPython."""

import json
import re
import subprocess

import pytest

from host_sim.__main__ import main
from host_sim.board import mpremote_port
from host_sim.board.card_home import FIND, READ
from host_sim.board.mpremote_port import MpremotePort
from host_sim.build.interpreters import MICROPYTHON_64, run_on
from host_sim.twin.card_image import FILE, PreparedCard
from host_sim.twin.twin import Twin
from tests.support.drives import short_scenario


class CardBoard:
    """In mpremote's place: each program is run on MicroPython, behind the one that it goes on."""

    def __init__(self, folder, card):
        self.folder, self.card = folder, card
        self.asked = []
        self.spoil = lambda text: text

    def __call__(self, arguments):
        words = list(arguments[2:])
        if "reset" in words:
            return subprocess.CompletedProcess(arguments, 0, "", "")
        if words[0] == "fs":
            return subprocess.CompletedProcess(arguments, 1, "", f"cp: {words[2]}: missing")
        program = words[-1]
        self.asked.append(program)
        if "implementation" in program:
            return subprocess.CompletedProcess(arguments, 0, "rp2 6 1.28.0\n", "")
        return subprocess.CompletedProcess(arguments, 0, self.spoil(self.run(program)), "")

    def run(self, program):
        card = self.card
        numbers = {*card.sectors, *range(FILE, FILE + card.file_sectors)}
        (self.folder / "sectors").write_text("".join(
            f"{number} {card.read(number).hex()}\n" for number in sorted(numbers)))
        names = []
        for index, text in enumerate([FIND] if program == FIND else [FIND, program]):
            names.append(str(self.folder / f"{index}.py"))
            (self.folder / f"{index}.py").write_text(text)
        told = run_on(MICROPYTHON_64, "tests/vm/card_home.py",
                      str(self.folder / "sectors"), *names).stdout
        return told if program == FIND else told.split("\n", 1)[1]


@pytest.fixture
def board(tmp_path, monkeypatch):
    found = CardBoard(tmp_path, PreparedCard(300))
    monkeypatch.setattr(mpremote_port, "MpremotePort", lambda port: MpremotePort(port, found))
    return found


def test_the_trace_comes_home_and_only_what_is_new_the_next_time(tmp_path, board, capsys):
    fetch = ["board", "fetch", "--port", "/dev/b", "--out", str(tmp_path / "home")]
    Twin(short_scenario(tmp_path), card=board.card).run()
    assert main(fetch) == 0
    first = (tmp_path / "home" / "trace.bin").read_bytes()
    assert len(first) // 512 == sum(sector[12] != 0 for sector in board.card.trace()) + 1
    assert main(["card", "read", "--from", str(tmp_path / "home"), "--out",
                 str(tmp_path / "again")]) == 0
    board.card.power_up()
    Twin(short_scenario(tmp_path), card=board.card).run()
    assert main(fetch) == 0
    second = (tmp_path / "home" / "trace.bin").read_bytes()
    assert second[512:].startswith(first[512:])
    assert f"range({len(first) // 512}, {len(second) // 512})" in board.asked[-1]
    names = sorted(path.name for path in (tmp_path / "home").iterdir())
    assert names == ["trace.bin", "trace_0000001.rec", f"trace_{len(first) // 512:07d}.rec"]
    runs = []
    for name in names[1:]:
        assert main(["record", "--from", str(tmp_path / "home" / name), "--out",
                     str(tmp_path / name[:-4])]) == 0
        runs.append(json.loads((tmp_path / name[:-4] / "summary.json").read_text()))
    assert runs[1]["volume_l"] == pytest.approx(runs[0]["volume_l"], rel=0.02)
    assert "no plots" in capsys.readouterr().err


def test_another_card_and_a_bad_line_leave_what_came_home(tmp_path, board, capsys):
    fetch = ["board", "fetch", "--port", "/dev/b", "--out", str(tmp_path / "home")]
    Twin(short_scenario(tmp_path), card=board.card).run()
    assert main(fetch) == 0
    first = (tmp_path / "home" / "trace.bin").read_bytes()
    board.card = PreparedCard(300, number=815)
    capsys.readouterr()
    assert main(fetch) == 2
    told = capsys.readouterr().err
    assert "trace.bin: is there already and is not of this card" in told and told.count("\n") == 1
    assert (tmp_path / "home" / "trace.bin").read_bytes() == first
    Twin(short_scenario(tmp_path), card=board.card).run()
    board.spoil = lambda text: text if text.startswith("card") else text[:-300]
    fetch[-1] = str(tmp_path / "other")
    assert main(fetch) == 2
    assert "came damaged" in capsys.readouterr().err
    board.spoil = lambda text: text
    assert main(fetch) == 0
    assert main(["card", "read", "--from", fetch[-1], "--out", str(tmp_path / "again")]) == 0


def test_the_programs_name_nothing_that_a_board_calls_otherwise():
    """Private names are shortened there, and constants are put where they are used."""
    assert not re.findall(r"\._|\b[A-Z][A-Z_]+\b", FIND + READ)


def test_no_card_and_a_bare_one_are_told(tmp_path, board, capsys):
    fetch = ["board", "fetch", "--port", "/dev/b", "--out", str(tmp_path / "home")]
    board.card.sectors[0] = bytes(512)
    assert main(fetch) == 2
    told = capsys.readouterr().err.splitlines()
    assert told[0] == "card: no FAT32 on it" and "missing" in told[1]
    board.run = lambda program: ""  # no card is wired
    assert main(fetch) == 2
    assert "card" not in capsys.readouterr().err
