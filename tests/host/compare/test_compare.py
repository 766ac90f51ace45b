"""`compare`: a worse loop and a permit left out are scored, and a variant may do its worst."""

import os
import time
from pathlib import Path

import pytest

from host_sim import FIRMWARE_DIR
from host_sim.__main__ import EXIT_BAD_INPUT, main
from host_sim.compare.isolated import run_isolated
from host_sim.compare.score import Score, drive_ours, run_tests, score
from host_sim.compare.table import score_text
from host_sim.compare.variant import lay_over, load_variant

CORE = FIRMWARE_DIR / "rate_control"
MACHINES, REPEATS = ("electric_s",), 2
PATIENCE_S = 120.0
NOTHING = {"machines": {}, "trace": {}, "claims": []}  # driven by our core
LOOP_TEST = "tests/shared/test_pump_loop.py"
LOCK_TEST = "tests/shared/test_interlock.py"


@pytest.fixture(scope="module")
def ours():
    """Our core once, for all."""
    return drive_ours(MACHINES, REPEATS, PATIENCE_S)


def changed(folder, name, old, new, place=""):
    """A variant with one file, in which one thing is another."""
    text = (CORE / name).read_text(encoding="utf-8")
    assert text.count(old) == 1, f"{name} no longer holds what is broken here"
    path = folder / place / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text.replace(old, new), encoding="utf-8")
    return load_variant(folder)


def in_tick(line):
    """What to put into each tick of the loop."""
    return f"        target = decided.target_ul_s\n        {line}\n        reference = target"


TICK = "        target = decided.target_ul_s\n        reference = target"


def test_worse_loop_is_scored(tmp_path, ours):
    before = {path: path.read_bytes() for path in CORE.rglob("*.py")}
    variant = changed(tmp_path, "pump_loop.py", "muldiv(error, self._kp_q12, ONE_Q12)",
                      "muldiv(error, -self._kp_q12, ONE_Q12)")
    found = score(variant, MACHINES, REPEATS, PATIENCE_S, tests=[LOOP_TEST], ours=ours)
    assert variant.lines == {"pump_loop.py": 1}
    assert not found.problem and not found.tests.problem
    assert found.theirs["trace"]["rate_error_rms_pct"] > 1.05 * ours["trace"]["rate_error_rms_pct"]
    assert any(name.startswith(f"{LOOP_TEST}::") for name in found.tests.failed)
    assert found.tests.passed > 5
    assert found.broken and not found.as_good
    text = score_text(found)
    assert all(words in text for words in found.broken)
    assert text.index("FAILS") > text.index("electric_s: within 5 %")
    assert {path: path.read_bytes() for path in CORE.rglob("*.py")} == before


def test_permit_left_out_is_scored(tmp_path):
    """It drives, for nobody in the sequence forgets a switch; the tests of the interlock know."""
    variant = changed(tmp_path / "mine", "interlock.py",
                      "APPLYING_PERMITS = ALWAYS | IMPLEMENT | SPEED",
                      "APPLYING_PERMITS = ALWAYS | SPEED", place="firmware/rate_control")
    tests = run_tests(lay_over(variant, tmp_path / "tree"), [LOCK_TEST], PATIENCE_S)
    found = Score(variant, NOTHING, NOTHING | {"failed": {}}, "", tests)
    assert variant.lines == {"interlock.py": 1}
    assert tests.failed and not found.as_good
    assert "test_interlock.py::" in score_text(found)


def test_comment_changes_nothing(tmp_path, ours):
    """Every figure is ours to the last digit: what differs is what the variant does."""
    variant = changed(tmp_path, "pump_loop.py", TICK, "        # as before\n" + TICK)
    found = score(variant, (), REPEATS, PATIENCE_S, tests=[], ours=ours)
    assert found.as_good
    assert found.theirs["trace"] == ours["trace"]


@pytest.mark.parametrize(("line", "words"), [
    ("decided.target_ul_s // 0", "ZeroDivisionError"),
    ("(lambda: exec('x = [0]\\nwhile True: x = x + x'))()", "MemoryError"),
    ("__import__('os')._exit(3)", "ended with status 3"),
    ("__import__('time').sleep(600)", "hangs"),
], ids=["crashes", "allocates", "exits", "hangs"])
def test_variant_that_does_its_worst_is_one_line(tmp_path, monkeypatch, line, words):
    monkeypatch.setattr("host_sim.compare.isolated.MEMORY_BYTES", 2**30)
    variant = changed(tmp_path, "pump_loop.py", TICK, in_tick(line))
    patience_s = 15.0 if words == "hangs" else PATIENCE_S
    found = score(variant, (), REPEATS, patience_s, tests=[], ours=NOTHING)
    assert not found.as_good
    told = [told for told in score_text(found).splitlines() if "could not be driven" in told]
    assert told and words in told[0], told
    if words == "ZeroDivisionError":
        assert "pump_loop.py:" in told[0]


def test_test_that_hangs_is_named(tmp_path):
    variant = changed(tmp_path / "mine", "pump_loop.py", TICK,
                      in_tick("__import__('time').sleep(600)"))
    tests = run_tests(lay_over(variant, tmp_path / "tree"), [LOOP_TEST], 15.0)
    assert "hangs" in tests.problem
    assert f"in {LOOP_TEST}::" in tests.problem


@pytest.mark.skipif(os.name != "posix", reason="process groups")
def test_children_of_what_hangs_end_with_it(tmp_path):
    code = ("import subprocess, sys, time;"
            "p = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(600)']);"
            "print(p.pid, flush=True); time.sleep(600)")
    ended = run_isolated(["-c", code], tmp_path, 2.0)
    assert ended.stopped
    child = int(ended.lines[0])
    for _ in range(100):  # killed it is, but a busy machine takes its time
        try:
            state = Path(f"/proc/{child}/stat").read_text(encoding="ascii").split(") ")[-1][0]
        except (FileNotFoundError, ProcessLookupError):
            break
        if state == "Z":
            break
        time.sleep(0.1)
    else:
        raise AssertionError(f"the child is still there, {state}")


@pytest.mark.parametrize(("files", "words"), [
    ({"pump_loop.py": "def update(:\n"}, "pump_loop.py:1: invalid syntax"),
    ({"pump_loop.py": None}, "is the same as ours"),
    ({"my_notes.txt": "hello"}, "has no file of the core"),
    ({"helper.py": "X = 1\n"}, "changes no file of the core: helper.py is not in"),
    ({"pump_loop.py": b"\xff\xfe"}, "cannot be read"),
], ids=["syntax", "same", "no core", "only new", "no text"])
def test_bad_folder_is_one_line(tmp_path, capsys, files, words):
    for name, text in files.items():
        data = (CORE / name).read_bytes() if text is None else text
        (tmp_path / name).write_bytes(data if isinstance(data, bytes) else data.encode())
    assert main(["compare", str(tmp_path)]) == EXIT_BAD_INPUT
    told = capsys.readouterr().err
    assert words in told and told.count("\n") == 1


def test_folder_and_machine_that_are_not_there_are_one_line(tmp_path, capsys):
    assert main(["compare", str(tmp_path / "none")]) == EXIT_BAD_INPUT
    assert main(["compare", str(tmp_path), "--machine", "tractor"]) == EXIT_BAD_INPUT
    assert capsys.readouterr().err.count("\n") == 2
