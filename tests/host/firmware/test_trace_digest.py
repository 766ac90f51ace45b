"""One recorded input file gives the same trace, bit for bit, on all three interpreters."""

import re

import pytest

from host_sim.build.interpreters import CPYTHON, INTERPRETERS, run_on
from host_sim.twin.input_recording import FIELDS, InputRecording
from rate_control.records import Inputs, Request
from rate_control.settings import build
from tests.vm.recorded_inputs import RecordedInputs

SCRIPT = "tests/vm/digest.py"
RECORDED = "tests/data/inputs_recorded.bin"
LINE = re.compile(r"ticks (\d+) applying (\d+) sha256 (\w{64})")
LONG_TICKS = 5000


def test_digest_is_identical_on_all_interpreters(record_property):
    lines = {run_on(interpreter, SCRIPT, RECORDED).stdout.strip() for interpreter in INTERPRETERS}
    assert len(lines) == 1, lines
    ticks, applying, digest = LINE.fullmatch(lines.pop()).groups()
    assert int(ticks) >= LONG_TICKS
    assert int(applying) >= int(ticks) // 10, "the recording hardly applies anything"
    record_property("summary", f"trace of {ticks} recorded ticks, sha256 {digest[:16]}..., on all")


def test_digest_shows_a_single_changed_input():
    before = run_on(CPYTHON, SCRIPT, RECORDED).stdout
    after = run_on(CPYTHON, SCRIPT, RECORDED, "2500", "flow_count", "1").stdout
    assert before.split()[1] == after.split()[1]
    assert before.split()[-1] != after.split()[-1]


def test_recording_reads_back_what_was_written(tmp_path):
    inputs, request = Inputs(), Request()
    settings, _ = build({"section_count": 2})
    recording = InputRecording(settings)
    for tick in range(3):
        inputs.speed_count, inputs.switches, request.bench = 2**30 - 1 - tick, tick, tick % 2
        recording.add(inputs, request, now_us=50_000 * tick)
    path = tmp_path / "inputs.bin"
    recording.write(path)

    reader = RecordedInputs(str(path))
    assert reader.settings == {"section_count": 2}
    assert tuple(reader.fields) == FIELDS
    read_back = Request()
    for tick in range(3):
        assert reader.next_tick()
        reader.fill(read_back)
        assert reader.now_us == 50_000 * tick
        assert (reader.inputs.speed_count, reader.inputs.switches) == (2**30 - 1 - tick, tick)
        assert read_back.bench == tick % 2
    assert not reader.next_tick()
    reader.close()


def test_other_files_are_refused(tmp_path):
    path = tmp_path / "other.bin"
    path.write_bytes(b"time_s,speed_m_s\n")
    with pytest.raises(ValueError, match="not a recording"):
        RecordedInputs(str(path))
