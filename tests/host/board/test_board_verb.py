"""`board`: what is sent to mpremote and in which order, and what a person is told."""

import importlib
import subprocess

import pytest

from host_sim import FIRMWARE_DIR
from host_sim.__main__ import main
from host_sim.board import flash as board_flash
from host_sim.board.check import SelfTest
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.build import firmware as firmware_build
from host_sim.build.interpreters import _COMMANDS, MICROPYTHON_64
from host_sim.verbs.board import read_log, status_line
from tests.contract.contract import CHECKS

PORT = "/dev/board"
PLATFORM = "rp2 6 1.28.0\r\n"


class FakeMpremote:
    """Answers in place of mpremote; answers are (piece of the command line, text or exception)."""

    def __init__(self, *answers):
        self.calls = []
        self._answers = [("sys.platform", PLATFORM), *answers]

    def __call__(self, arguments):
        assert arguments[:2] == ["connect", PORT]
        self.calls.append(arguments[2:])
        line = " ".join(arguments)
        for piece, answer in self._answers:
            if piece in line:
                if callable(answer):
                    answer = answer()
                if isinstance(answer, tuple):
                    return subprocess.CompletedProcess(arguments, 1, "", answer[0])
                return subprocess.CompletedProcess(arguments, 0, answer, "")
        return subprocess.CompletedProcess(arguments, 0, "", "")


def port(*answers):
    fake = FakeMpremote(*answers)
    return MpremotePort(PORT, fake), fake


def test_no_board_is_one_clear_line_and_exit_2(capsys):
    for command in ("flash", "check", "monitor", "settings get", "log"):
        assert main(["board", *command.split(), "--port", "/dev/not_a_board"]) == 2
        told = capsys.readouterr()
        assert told.out == ""
        assert told.err.count("\n") == 1
        assert "/dev/not_a_board" in told.err


def test_flash_takes_main_away_first_and_brings_it_last(monkeypatch):
    board, fake = port()
    monkeypatch.setattr(board_flash, "build", lambda directory, compiled: [])
    board_flash.flash(board, lambda text: None)
    commands = [" ".join(call) for call in fake.calls]
    assert 'os.remove("main.py")' in commands[1]
    copies = [call for call in commands if call.startswith("fs cp")]
    assert copies[-1].endswith(":main.py") and copies[-2].endswith(":boot.py")
    folders = list(board_flash.CONTROLLER.folders)
    assert [name for name in folders if f"/{name} :" in " ".join(copies)] == folders
    assert commands[-1] == "reset"


def test_the_rig_s_program_takes_the_place_of_a_controller_s(tmp_path):
    """What is on the board at the end is what was built, main.py, and what the store keeps."""
    board, fake = port()
    board_flash.flash(board, lambda text: None, rig=True)
    commands = [" ".join(call) for call in fake.calls]
    assert [line.split()[-1] for line in commands if line.startswith("fs cp")] == [
        ":", ":", ":", ":main.py"]
    removal = next(call for call in fake.calls if "os.remove" in call[-1])[-1]
    for name in ("boot.py", "main.py", "app/link.mpy", "boards/safe_outputs.mpy",
                 "boards/wiring.mpy", "settings.0"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("")
    subprocess.run([_COMMANDS[MICROPYTHON_64], "-c", removal], cwd=tmp_path, check=True)
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert left == {"boards/wiring.mpy", "settings.0"}


def test_the_rig_s_program_is_refused_by_a_board_without_its_pins():
    board, fake = port()
    board._runner._answers[0] = ("sys.platform", "esp32 6 1.28.0")
    with pytest.raises(BoardError, match="the bench rig's program needs an RP2040 or RP2350"):
        board_flash.flash(board, lambda text: None, rig=True)
    assert len(fake.calls) == 1


@pytest.mark.parametrize(("more", "said"), [
    (("--rig", PORT), "go together"),
    (("--machine", "electric_m"), "go together"),
    (("--short",), "go together"),
    (("--rig", PORT, "--machine", "electric_m"), "is the port of the board itself"),
    (("--rig", "/dev/not_a_rig", "--machine", "electric_x"), "electric_x: is neither"),
])
def test_a_check_on_the_rig_without_a_rig_is_refused(more, said, capsys):
    assert main(["board", "check", "--port", PORT, *more]) == 2
    told = capsys.readouterr()
    assert said in told.err and told.err.count("\n") == 1 and not told.out


def test_flash_copies_the_source_where_the_bytecode_would_not_run(monkeypatch):
    built = []
    monkeypatch.setattr(board_flash, "build",
                        lambda directory, compiled: built.append(compiled) or [])
    for answer, expected in (("rp2 6 1.28.0", True), ("rp2 7 1.99.0", False)):
        board, _ = port()
        board._runner._answers[0] = ("sys.platform", answer)
        board_flash.flash(board, lambda text: None)
        assert built[-1] is expected


@pytest.mark.parametrize(("answer", "line"), [
    ("rp2 6 1.25.0", "MicroPython 1.25 is too old for this firmware: on rp2 it needs 1.26"),
    ("rp2 5 1.18.0", "MicroPython 1.18 is too old"),
    ("esp32 6 1.26.1", "on esp32 it needs 1.27"),
])  # fmt: skip
def test_flash_refuses_an_older_micropython_and_touches_nothing(answer, line):
    board, fake = port()
    fake._answers[0] = ("sys.platform", answer)
    with pytest.raises(BoardError, match=line) as told:
        board_flash.flash(board, lambda text: None)
    assert "\n" not in str(told.value)
    assert len(fake.calls) == 1  # it asked, and that was all


@pytest.mark.parametrize("version", [(1, 25, 0), (1, 9, 4)])
def test_start_up_refuses_an_older_micropython_in_one_line(version, monkeypatch, capsys):
    """main.py itself: it prints why, and asks for no board; boot.py has made the outputs safe."""
    import boards

    versions = importlib.import_module("boards.versions")  # the one that main.py will find
    monkeypatch.setattr(versions.problem, "__defaults__", ("rp2", version))
    monkeypatch.setattr(boards, "chosen", lambda: pytest.fail("a board was made"))
    exec(compile((FIRMWARE_DIR / "main.py").read_text(), "main.py", "exec"), {})
    told = capsys.readouterr().out
    assert told.count("\n") == 1 and "needs 1.26 or newer" in told


def test_another_chip_is_refused():
    board, _ = port()
    board._runner._answers[0] = ("sys.platform", "pyboard 6 1.28.0")
    with pytest.raises(BoardError, match="no MicroPython for RP2040/RP2350 or ESP32"):
        board.identify()


def test_build_leaves_out_what_a_board_does_not_need(tmp_path):
    names = {file.name for file in firmware_build.build(tmp_path / "firmware", compiled=False)}
    assert {"boot.py", "main.py", "rate_control/controller.py"} <= names
    assert "manifest.py" not in names


def test_removal_script_clears_a_board_of_what_is_not_wanted(tmp_path):
    """What the board runs, on MicroPython, in a directory."""
    for name in ("main.py", "app/old.py", "app/sub/old.py", "app/kept.mpy", "settings.0"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("")
    script = board_flash.REMOVE.format(wanted={"app/kept.mpy"}, folders=board_flash.CLEARED,
                                       not_started=[])
    subprocess.run([_COMMANDS[MICROPYTHON_64], "-c", script], cwd=tmp_path, check=True)
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert left == {"app/kept.mpy", "settings.0"}


REPORT = "\n".join(f"PASS {name}: fine" for name, _ in CHECKS)


def self_test(*answers, ask=None):
    board, fake = port(("tests/contract/on_board.py", REPORT), *answers)
    test = SelfTest(board, lambda text: None, ask, pause=lambda seconds: None)
    test.run()
    return test, fake


def test_self_test_skips_what_needs_a_person_where_there_is_none():
    test, _ = self_test(("start_tick", ("gone",)), ("reset_cause", "watchdog\n"))
    switches = [line for line in test.lines if " switches:" in line]
    assert len(switches) == 1 and switches[0].startswith("SKIP switches: not a terminal")
    assert test.failed == 0


def test_self_test_passes_the_switches_only_if_each_moves_its_own_bit():
    prompts = []
    readings = iter([0, *(1 << bit for bit in range(10))])
    test, _ = self_test(
        ("start_tick", ("gone",)), ("reset_cause", "watchdog"),
        ("board.read(inputs)", lambda: f"{next(readings)}\n"), ask=prompts.append,
    )  # fmt: skip
    assert "PASS switches: 10 seen, each in its own bit" in test.lines
    assert len(prompts) == 11
    assert "section 8" in prompts[-1]


def test_self_test_fails_swapped_switches():
    readings = iter([0, 2, 1, *(1 << bit for bit in range(2, 10))])
    test, _ = self_test(
        ("start_tick", ("gone",)), ("reset_cause", "watchdog"),
        ("board.read(inputs)", lambda: f"{next(readings)}\n"), ask=lambda text: None,
    )  # fmt: skip
    assert test.failed == 1
    assert any(line.startswith("FAIL switches: master switch read as 0x2") for line in test.lines)


def test_self_test_fails_a_board_that_its_watchdog_does_not_reset():
    test, _ = self_test(("start_tick", ""))
    assert "FAIL watchdog: no reset within 5 s" in test.lines


def test_self_test_waits_for_the_board_to_come_back():
    answers = iter([("gone",), ("gone",), "watchdog\n"])
    test, _ = self_test(("start_tick", ("gone",)), ("reset_cause", lambda: next(answers)))
    assert "PASS watchdog: reset, cause read as 'watchdog'" in test.lines


def test_self_test_counts_failures_of_the_board():
    test, _ = self_test(("start_tick", ("gone",)), ("reset_cause", "power"))
    assert test.failed == 1


def test_silent_board_is_an_error_and_no_pass():
    board, _ = port(("tests/contract/on_board.py", "Traceback ...\n"))
    with pytest.raises(BoardError, match="silent"):
        SelfTest(board, lambda text: None, None).run()


def test_log_is_read_to_its_end_across_the_wrap():
    pages = {0: [{"run": 65534}, {"run": 65535}]}
    asked = []

    class Client:
        def ask(self, request, **arguments):
            asked.append(arguments["from"])
            return {"runs": pages.pop(arguments["from"], [])}

    assert [entry["run"] for entry in read_log(Client())] == [65534, 65535]
    assert asked == [0, 0]


def test_status_is_one_line():
    status = {
        "state": "applying", "speed_mm_s": 2500, "flow_ul_s": 50000, "applied_ml_ha": 99500,
        "rate_ml_ha": 100000, "duty_u16": 32768, "section_mask": 0b101, "faults": [],
        "missing": [],
    }  # fmt: skip
    metric, us = status_line(status, False), status_line(status, True)
    for piece in ("applying", "9.0 km/h", "3.00 L/min", "99.5 of 100.0 L/ha", "50.0 %", "10100000"):
        assert piece in metric
    for piece in ("5.6 mph", "0.79 gal/min", "10.64 of 10.69 gal/ac"):
        assert piece in us
