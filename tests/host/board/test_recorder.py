"""The recorder: what is on the disk after a second, a cut cable, a full disk, a crash, days."""

import json
import os
import resource
import signal
import subprocess
import sys
import tracemalloc
import tty
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from app.link_frame import record
from app.telemetry import NAMES
from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.board.link_client import Misunderstood, Record, _checked
from host_sim.board.recorder import SYNC_S, Recorder
from host_sim.build.interpreters import MICROPYTHON_64, command
from host_sim.common.errors import InputError
from host_sim.fit.episode import episode_of
from host_sim.report.words import remarks
from host_sim.runs.files import read_run
from host_sim.runs.recording_file import RecordingFile, RecordingStopped, body_of, read_bodies
from host_sim.runs.recording_run import read_recording, run_of
from tests.support.link_pair import Pair
from tests.support.link_rig import WORK

START = datetime(2026, 5, 4, 6, 30, tzinfo=UTC)


class Scene:
    """A recorder on a pair; time is the pair's. `at` gives what happens after so many ticks."""

    def __init__(self, path, every_ticks=2):
        self.pair = Pair(timeout_s=0.2, attempts=2)
        self.told = []
        self.path = path
        self.at = {}
        self.recorder = Recorder(
            self.pair.client, RecordingFile(path), "pipe", self.told.append, every_ticks,
            clock=self.pair.port.now_s, pause=self._pause, wall=self._wall,
        )

    def _wall(self):
        return START + timedelta(seconds=self.pair.port.now_s())

    def _pause(self, seconds):
        for _ in range(int(seconds * 20)):
            self.pair._advance()

    def run(self, ticks):
        self.recorder.run(lambda: self._stopped(ticks))
        return self

    def _stopped(self, ticks):
        for due in [due for due in self.at if due <= self.pair.ticks]:
            self.at.pop(due)()
        return self.pair.ticks >= ticks

    def drive(self):
        self.pair.switches, self.pair.speed_hz = WORK, 400


def telemetry(path):
    """All telemetry in a file, as dicts by name."""
    return [dict(zip(NAMES, body["telemetry"], strict=True))
            for _, body in read_bodies(path) if body and "telemetry" in body]


def test_everything_streamed_is_kept(tmp_path):
    scene = Scene(tmp_path / "a.rec").run(600)
    ticks = [row["tick"] for row in telemetry(scene.path)]
    assert ticks == list(range(ticks[0], ticks[0] + 2 * len(ticks), 2))
    assert len(ticks) == scene.recorder.tally.records > 280
    assert scene.told == []
    bodies = [body for _, body in read_bodies(scene.path)]
    assert "recording" in bodies[0] and "stopped" in bodies[-1]
    assert {"hello", "settings", "totals"} <= {next(iter(body)) for body in bodies}
    assert scene.pair.rig.link.telemetry.every == 0


def test_a_second_later_it_is_on_the_disk(tmp_path):
    scene = Scene(tmp_path / "a.rec", every_ticks=1)
    taken = []
    original = scene.pair.client.take

    def take():
        records = original()
        now_s = scene.pair.port.now_s()
        on_disk = scene.path.read_bytes()
        if on_disk:  # the session has begun
            taken.extend((now_s, record.line) for record in records)
        old = [line for came_s, line in taken if now_s - came_s > SYNC_S + 0.1]
        assert all(line in on_disk for line in old[-50:])
        return records

    scene.pair.client.take = take
    scene.run(300)
    assert len(taken) > 250


def test_cut_cable_is_told_and_the_gap_bridged(tmp_path):
    scene = Scene(tmp_path / "a.rec")
    scene.at = {
        20: scene.drive,
        200: lambda: setattr(scene.pair.port, "broken", True),
    }
    mend = scene._pause

    def pause(seconds):
        mend(seconds)
        if scene.pair.ticks >= 400:
            scene.pair.port.broken = False

    scene.recorder._pause = pause
    scene.run(700)
    assert scene.recorder.tally.gaps == 1
    assert 9 <= scene.recorder.tally.missing_s <= 12
    assert len(scene.told) == 2
    assert "all that came is kept" in scene.told[0] and "recording again" in scene.told[1]
    rows = telemetry(scene.path)
    assert max(row["tick"] for row in rows if row["tick"] < 300) >= 197
    run = run_of(scene.path)
    assert run.about["gaps_s"][0] == pytest.approx(
        max(np.diff([row["tick"] for row in rows])) / 20, abs=0.5)
    # the sums bridge the gap: nothing of the way is missing
    sums = rows[-1]["distance_sum_mm"] - rows[0]["distance_sum_mm"]
    assert run["true_distance_m"][-1] == pytest.approx(sums / 1000)


def test_board_that_was_reset_is_asked_again(tmp_path):
    scene = Scene(tmp_path / "a.rec")
    scene.at = {200: lambda: setattr(scene.pair.rig.link.telemetry, "every", 0)}
    scene.run(400)
    assert scene.recorder.tally.gaps == 1
    assert "no telemetry for 2 s" in scene.told[0]
    assert len(read_recording(scene.path).sessions) == 2


def test_line_that_is_lost_at_the_start_is_waited_for(tmp_path):
    scene = Scene(tmp_path / "a.rec")
    scene.pair.port.broken = True
    later = scene._pause

    def pause(seconds):
        later(seconds)
        scene.pair.port.broken = False

    scene.recorder._pause = pause
    scene.run(200)
    assert scene.recorder.tally.gaps == 0 and scene.recorder.tally.records > 50
    assert next(read_bodies(scene.path))[1]["recording"] == 1


def test_full_disk_keeps_everything_before_and_says_so(tmp_path):
    """The limit of the process on the size of a file is a real full disk, as far as it goes."""
    scene = Scene(tmp_path / "a.rec")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8000, hard))
    try:
        with pytest.raises(RecordingStopped, match="lines are lost, everything before is kept"):
            scene.run(2000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert scene.path.stat().st_size > 6000
    assert all(body is not None for _, body in read_bodies(scene.path))
    ticks = [row["tick"] for row in telemetry(scene.path)]
    assert scene.recorder.tally.records - len(ticks) <= 11  # a second, at ten a second


HOLDER = """
import sys, time
sys.path[:0] = [{root!r}, {root!r} + "/firmware"]
from pathlib import Path
from host_sim.runs.recording_file import RecordingFile
file = RecordingFile(Path(sys.argv[1]))
file.note(recording=1, started="2026-05-04T06:30:00+00:00", port="x")
file.sync()
print("locked", flush=True)
time.sleep(600)
"""


def test_a_second_recorder_is_refused_until_the_first_is_gone(tmp_path):
    """Across processes; a recorder that was killed locks nobody out."""
    path = tmp_path / "a.rec"
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER.format(root=str(REPO_ROOT)), str(path)],
        stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "locked\n"
        before = path.read_bytes()
        with pytest.raises(InputError, match="another recorder is writing to it"):
            RecordingFile(path)
        assert path.read_bytes() == before
    finally:
        holder.kill()
        holder.communicate()
    file = RecordingFile(path)
    file.note(stopped="later")
    file.close()
    assert path.read_bytes().startswith(before)


def delete(path):
    path.unlink()


def move(path):
    path.rename(path.with_name("moved.rec"))


def replace(path):
    other = path.with_name("other.rec")
    other.write_bytes(path.read_bytes())
    other.replace(path)


def append(path):
    with path.open("ab") as file:
        file.write(b"x")


def empty(path):
    path.write_bytes(b"")


@pytest.mark.parametrize("meddle", [delete, move, replace, append, empty])
def test_a_file_that_was_meddled_with_ends_the_recording(tmp_path, meddle):
    scene = Scene(tmp_path / "a.rec")
    scene.at[200] = lambda: meddle(scene.path)
    with pytest.raises(RecordingStopped, match="a.rec: was (deleted, moved|changed)") as stopped:
        scene.run(2000)
    assert scene.pair.ticks < 260, "it must be told within a second or two"
    assert "\n" not in str(stopped.value)
    assert scene.path.exists() == (meddle not in (delete, move)), "nothing of others is removed"


def test_a_board_that_answers_something_else_ends_it_in_words(tmp_path):
    scene = Scene(tmp_path / "a.rec")
    scene.pair.client.ask = lambda request, **_: _checked(request, {"answer": request, "to": 1})
    with pytest.raises(Misunderstood, match="hello: the answer has no firmware"):
        scene.run(2000)
    assert not scene.path.exists()


def test_crash_at_any_byte_loses_only_the_torn_line(tmp_path):
    whole = Scene(tmp_path / "a.rec").run(200).path.read_bytes()
    path = tmp_path / "b.rec"
    first_line = whole.index(b"\n") + 1
    for size in [*range(len(whole) - 400, len(whole) + 1), *range(first_line, len(whole), 97)]:
        path.write_bytes(whole[:size])
        file = RecordingFile(path)
        kept = whole[:size].rfind(b"\n") + 1
        assert file.cut_off == size - kept
        file.note(stopped="later")
        file.close()
        assert path.read_bytes().startswith(whole[:kept])
        assert all(body is not None for _, body in read_bodies(path))


def test_recording_goes_on_behind_its_end(tmp_path):
    path = tmp_path / "a.rec"
    first = Scene(path).run(200).recorder.tally.records
    second = Scene(path).run(220).recorder.tally.records
    recording = read_recording(path)
    assert [len(session) for session in recording.sessions] == [first, second]
    assert recording.damaged == 0
    run = run_of(path)
    assert len(run) == first + second
    assert all(np.diff(run["time_s"])[: first - 1] > 0)


def sessions(tmp_path, second):
    """A recording of two, in the second of which `second` has meddled with the settings."""
    path = Scene(tmp_path / "a.rec").run(200).path
    lines = path.read_bytes().splitlines(keepends=True)
    settings = body_of(lines[2].rstrip(b"\n"))["settings"]
    second(settings)
    begins = record(1, b'{"recording": 1, "started": "2026-05-04T12:00:00+00:00", "port": "x"}')
    changed = record(2, json.dumps({"settings": settings}).encode())
    with path.open("ab") as file:
        file.write(b"".join([begins, lines[1], changed, *lines[3:]]))
    return path, len(lines)


def test_settings_may_change_between_sessions_and_it_is_told(tmp_path):
    """A new rate, or a K-factor after noon, is no reason to lose the report of a day."""
    new = {"rate_ml_ha": 90_000, "antenna_mm": [9] * 4}
    path, _ = sessions(tmp_path, lambda values: values.update(new))
    run = run_of(path)
    [remark] = [line for line in remarks(run.about) if "changed" in line]
    assert remark.endswith("shown are those of its beginning: settings.antenna.")
    with pytest.raises(InputError, match="a.rec: settings were changed within the run, antenna_mm"):
        episode_of("a.rec", run)
    path.unlink()
    path, _ = sessions(tmp_path, lambda values: values.update(rate_ml_ha=90_000))
    assert not run_of(path).unsteady  # each record has the rate


def test_a_session_of_other_sections_or_there_twice_is_refused_with_its_line(tmp_path):
    path, lines = sessions(tmp_path, lambda values: values.update(section_count=2))
    with pytest.raises(InputError, match=f"a.rec:{lines + 1}: other sections than before"):
        run_of(path)
    once = b"".join(path.read_bytes().splitlines(keepends=True)[:lines])
    path.write_bytes(once + once)
    with pytest.raises(InputError, match=f"a.rec:{lines + 1}: the same as before once more"):
        run_of(path)


def test_a_session_whose_settings_are_damaged_is_refused_with_its_line(tmp_path):
    """It may be of another K-factor, or of other sections: nobody knows."""
    path, lines = sessions(tmp_path, lambda values: None)
    content = path.read_bytes().splitlines(keepends=True)
    content[lines + 2] = content[lines + 2].replace(b"settings", b"sxttings")
    path.write_bytes(b"".join(content))
    with pytest.raises(InputError, match=f"a.rec:{lines + 1}: the settings of the board are"):
        run_of(path)


@pytest.mark.parametrize("content", [b"precious\n", b"precious", b"\x00" * 10000,
                                     record(1, b'{"telemetry": []}')])
def test_other_files_are_not_touched(tmp_path, content):
    path = tmp_path / "notes.txt"
    path.write_bytes(content)
    with pytest.raises(InputError, match="notes.txt:1: is no recording"):
        RecordingFile(path)
    assert path.read_bytes() == content
    with pytest.raises(InputError, match="is no recording"):
        list(read_bodies(path))


@pytest.mark.parametrize("verb", [
    ["application-record", "--job", "host_sim/scenarios/plot_bar_job.toml"], ["record", "--from"],
    ["report"],
])
def test_run_log_of_a_board_is_told_from_a_recording(tmp_path, capsys, verb):
    """The board's run log holds sums; nothing that needs the course can be made of it."""
    path = tmp_path / "runs.jsonl"
    path.write_text(json.dumps({"run": 0, "time_s": 60, "distance_m": 150, "area_m2": 525,
                                "volume_ml": 4200, "mean_ml_ha": 80000}) + "\n")
    assert main([*verb, str(path), "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err
    assert "runs.jsonl:1: is the run log of a board" in said
    assert said.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_damaged_lines_are_counted_and_passed_over(tmp_path):
    path = Scene(tmp_path / "a.rec").run(200).path
    lines = path.read_bytes().split(b"\n")
    lines[10] = lines[10].replace(b"0", b"1")
    lines[12] = lines[12][:-7]
    path.write_bytes(b"\n".join(lines))
    assert read_recording(path).damaged == 2


def test_memory_stays_bounded(tmp_path):
    """Three hours at ten records a second, from a client that makes them up."""
    line = record(7, json.dumps({"telemetry": [0] * len(NAMES)}).encode())[:-1]
    records = [Record(line, 7, body_of(line))] * 10

    class Client:
        bad_lines = 0
        seconds = 0

        def ask(self, request, **arguments):
            return {"telemetry": list(NAMES), "values": {}}

        def take(self):
            self.seconds += 1
            return records

        def close(self):
            pass

    client = Client()
    file = RecordingFile(tmp_path / "a.rec")
    recorder = Recorder(client, file, "made up", print, clock=lambda: client.seconds)
    used = []

    def stopped():
        if client.seconds in (600, 10800):
            used.append(tracemalloc.get_traced_memory()[0])
        return client.seconds >= 10800

    tracemalloc.start()
    recorder.run(stopped)
    tracemalloc.stop()
    assert recorder.tally.records > 100_000
    assert used[-1] - used[0] < 20_000


def test_recording_becomes_a_run(tmp_path):
    scene = Scene(tmp_path / "a.rec", every_ticks=1)
    scene.at = {20: scene.drive}
    scene.run(400)
    done = subprocess.run(
        [sys.executable, "-m", "host_sim", "record", "--from", str(scene.path),
         "--out", str(tmp_path / "run")],
        cwd=REPO_ROOT, capture_output=True, text=True, check=True)
    assert done.stderr == ""
    run, figures = read_run(tmp_path / "run")
    assert run.about["measured"] is True and "not the truth" in run.about["title"]
    totals = scene.pair.rig.application.controller.totals
    assert figures["controller_area_ha"] == pytest.approx(
        (totals.area.whole + totals.area.part / 1e6) / 1e4, rel=1e-3)
    assert run["true_distance_m"][-1] == pytest.approx(figures["travelled_m"])
    assert np.diff(run["time_s"]) == pytest.approx(0.05)
    assert main(["report", str(tmp_path / "run")]) == 0
    assert "not the truth" in (tmp_path / "run" / "report.html").read_text()


@pytest.fixture
def firmware(tmp_path):
    """The firmware in real time on MicroPython, its console on a pseudo terminal."""
    device, host = os.openpty()
    tty.setraw(host)
    process = subprocess.Popen(
        command(MICROPYTHON_64, "tests/vm/link_console.py", "60"),
        cwd=REPO_ROOT, stdin=device, stdout=device, stderr=subprocess.PIPE)
    os.close(device)
    yield os.ttyname(host), process
    process.kill()
    process.wait()
    os.close(host)


def start(port, path, *more):
    return subprocess.Popen(
        [sys.executable, "-m", "host_sim", "record", "--port", port, "--out", str(path), *more],
        cwd=REPO_ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def wait_for_rows(path, count, recorder):
    """Wait until so much telemetry is on the disk; the recorder must be alive meanwhile."""
    while not path.exists() or path.read_bytes().count(b'"telemetry": [') <= count:
        try:
            recorder.wait(0.05)
        except subprocess.TimeoutExpired:
            continue
        raise AssertionError(recorder.stderr.read())


def test_verb_on_a_serial_port_to_micropython(firmware, tmp_path):
    """Ctrl-C, kill -9 and a board that goes away, over a real serial port driver."""
    port, process = firmware
    path = tmp_path / "board.rec"
    recorder = start(port, path)
    wait_for_rows(path, 5, recorder)
    recorder.send_signal(signal.SIGINT)
    out, err = recorder.communicate()
    assert recorder.returncode == 0 and err == ""
    assert f"{path}: " in out
    rows = telemetry(path)
    assert all(after["tick"] - before["tick"] == 2
               for before, after in zip(rows, rows[1:], strict=False))

    recorder = start(port, path, "--every", "1")
    wait_for_rows(path, len(rows) + 5, recorder)
    recorder.kill()
    recorder.communicate()
    assert len(telemetry(path)) > len(rows)

    recorder = start(port, path)
    wait_for_rows(path, len(telemetry(path)) + 3, recorder)
    process.kill()
    line = recorder.stderr.readline()
    assert "all that came is kept" in line, line
    recorder.send_signal(signal.SIGINT)
    out, _ = recorder.communicate()
    assert recorder.returncode == 0 and "1 gaps" in out
    assert read_recording(path).damaged == 0


@pytest.mark.parametrize("arguments", [
    ("--port", "/dev/no_such_port", "--out", "x.rec"),
    ("--from", "no_such_file.rec", "--out", "x"),
    ("--out", "x"),
    ("--port", "p", "--out", "x", "--every", "0"),
])
def test_bad_input_is_one_line_and_nothing_is_written(tmp_path, arguments):
    done = subprocess.run(
        [sys.executable, "-m", "host_sim", "record", *arguments], cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(REPO_ROOT)}, capture_output=True, text=True,
        check=False)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []
