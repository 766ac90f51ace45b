"""Every verb on everything that is no file of the kind it wants: a line, status 2, no trace."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from host_sim.__main__ import main
from host_sim.application_record.folder import SUMS
from host_sim.common.errors import InputError, plain
from host_sim.common.reading import DEEPEST, read_text
from host_sim.common.toml_source import TomlSource
from host_sim.machine_file.keeping import new_text
from host_sim.machine_file.machine import load_machine
from host_sim.runs.files import RUN_CSV, SUMMARY_JSON
from host_sim.runs.tables import PASS_FILES
from host_sim.twin.scenario import SCENARIO_DIR
from rate_control.settings import Settings
from tests.support.drives import START, scenario_file

# Verbs that read a file, BAD in its place; OUT is where they would write.
COMMANDS = {
    "scenario": ["drive", "BAD", "--out", "OUT"],
    "speed csv": ["drive", "good.toml", "--speed-trace", "BAD", "--out", "OUT"],
    "machine file": ["settings", "check", "BAD"],
    "machine": ["drive", "good.toml", "--machine", "BAD", "--out", "OUT"],
    "sizing": ["size", "BAD", "--json", "OUT"],
    "calibrate": ["calibrate", "course", "--machine", "BAD", "12940", "12952"],
    "job": ["application-record", "run", "--job", "BAD", "--out", "OUT"],
    "recording": ["record", "--from", "BAD", "--out", "OUT"],
    "report": ["report", "BAD", "--out", "OUT"],
    "record of": ["application-record", "BAD", "--job", "job.toml", "--out", "OUT"],
}


def directory(path):
    path.mkdir()


def link_to_itself(path):
    path.symlink_to(path)


def pipe(path):
    os.mkfifo(path)


def holding(data):
    def make(path):
        path.write_bytes(data)
    return make


BAD = {
    "directory": directory,
    "link to itself": link_to_itself,
    "pipe": pipe,
    "nothing": lambda path: None,
    "zero bytes": holding(b"\0" * 100),
    "not UTF-8": holding(b"a = '\xff\xfe'\n"),
    "deep": holding(b"x = " + b"[" * 100_000),
    "deep JSON": holding(b'{"about":' * 100_000),
    "deep name": holding(b"a." * 100_000 + b"b = 1\n"),
    "endless number": holding(b"x = " + b"9" * 10_000),
    "nan": holding(b"[fitted]\nspacing = nan\n[wanted]\nrate = nan\n"),
    "a mark and no text": holding(b"\xef\xbb\xbf"),
}


@pytest.fixture
def place(tmp_path, monkeypatch) -> Path:
    scenario_file(tmp_path, START).rename(tmp_path / "good.toml")
    (tmp_path / "job.toml").write_bytes((SCENARIO_DIR / "plot_bar_job.toml").read_bytes())
    (tmp_path / "run").mkdir()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def tree(place):
    return sorted((path, path.lstat().st_mtime_ns) for path in place.rglob("*"))


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize("name", COMMANDS)
def test_every_verb_refuses_it_in_plain_words(place, capsys, name, bad):
    BAD[bad](place / "bad\x1b[31m.toml")
    before = tree(place)
    words = [{"BAD": "bad\x1b[31m.toml", "OUT": "out"}.get(word, word) for word in COMMANDS[name]]
    assert main(words) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert tree(place) == before
    for line in printed.err.splitlines():
        assert line == plain(line)
        assert r"bad\x1b[31m.toml" in line
    assert 1 <= len(printed.err.splitlines()) <= 4


@pytest.mark.parametrize("bad", [bad for bad in BAD if bad != "nothing"])
def test_a_run_with_a_bad_part_is_refused(place, capsys, bad):
    for part in (RUN_CSV, SUMMARY_JSON):
        run = place / f"run_{part}"
        run.mkdir()
        BAD[bad](run / part)
        if part == RUN_CSV:
            BAD["zero bytes"](run / SUMMARY_JSON)
        assert main(["report", str(run), "--out", "out.html"]) == 2
        [line] = capsys.readouterr().err.splitlines()
        assert str(run) in line


@pytest.mark.parametrize("bad", BAD)
def test_checksums_that_are_none_are_refused(place, capsys, bad):
    record = place / "record"
    record.mkdir()
    BAD[bad](record / SUMS)
    assert main(["application-record", "--verify", str(record)]) == 2
    [line] = capsys.readouterr().err.splitlines()
    assert str(record / SUMS) in line


def test_a_link_to_something_endless_in_a_record_is_not_read(place, capsys):
    record = place / "record"
    record.mkdir()
    (record / "x").symlink_to("/dev/zero")
    (record / SUMS).write_text("0" * 64 + "  x\n")
    assert main(["application-record", "--verify", str(record)]) == 1
    assert "x: cannot be read: is not a plain file" in capsys.readouterr().out


def test_inputs_cannot_be_recorded_into_a_directory(place, capsys):
    (place / "inputs").mkdir()
    before = tree(place)
    assert main(["drive", "good.toml", "--out", "out", "--record-inputs", "inputs"]) == 2
    assert "inputs: is in the way: a directory" in capsys.readouterr().err
    assert tree(place) == before


@pytest.mark.parametrize("part", ["report.html", RUN_CSV, SUMMARY_JSON])
def test_a_directory_in_the_place_of_one_file_leaves_the_others_unwritten(place, capsys, part):
    (place / "out" / part).mkdir(parents=True)
    assert main(["drive", "good.toml", "--out", "out"]) == 2
    assert f"out/{part}: is in the way: a directory" in capsys.readouterr().err
    assert [path.name for path in (place / "out").iterdir()] == [part]


@pytest.mark.parametrize("out", ["x" * 300, "link/x", "good.toml/x"])
def test_a_place_that_can_never_be_written_is_refused_before_the_work(place, capsys, out):
    (place / "link").symlink_to("link")
    assert main(["drive", "good.toml", "--out", out]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_what_is_not_ours_is_left_alone(place):
    """Neither a file that looks like an unfinished one, nor on a failure."""
    (place / "out").mkdir()
    (place / "out" / "report.html.part").write_text("precious")
    assert main(["drive", "good.toml", "--out", "out"]) == 0
    assert (place / "out" / "report.html.part").read_text() == "precious"
    assert sorted(path.name for path in (place / "out").iterdir()) == sorted([
        *PASS_FILES, "report.html", "report.html.part", RUN_CSV, SUMMARY_JSON])


def test_a_mark_and_windows_line_ends_are_understood(tmp_path):
    text = new_text("Bar", False, Settings()).replace('"100 L/ha"', '"110 L/ha"')
    path = tmp_path / "windows.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    other = tmp_path / "plain.toml"
    other.write_text(text)
    assert load_machine(path).settings.as_dict() == load_machine(other).settings.as_dict()
    line = text.split("\n").index(next(row for row in text.split("\n") if row[:6] == "rate ="))
    assert TomlSource(path).line(("settings", "rate")) == line + 1


def test_as_deep_as_allowed_is_allowed(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("x = " + "[" * (DEEPEST - 1) + "]" * (DEEPEST - 1))
    TomlSource(path)
    path.write_text("x = " + "[" * (DEEPEST + 1) + "1" + "]" * (DEEPEST + 1))
    with pytest.raises(InputError, match="a.toml:1: x.*: is nested deeper than"):
        TomlSource(path)


def test_the_line_of_a_bad_byte_is_named(tmp_path):
    path = tmp_path / "a.toml"
    for data in (b"a\nb\n\xff\n", b"\xef\xbb\xbfa\nb\n\0", "ü\né\n".encode() + b"\xc3"):
        path.write_bytes(data)
        with pytest.raises(InputError, match="a.toml:3: is not UTF-8 text"):
            read_text(path)


def test_plain_text_cannot_steer_a_terminal():
    assert plain("a\x1b[2J\r\n\x9b\u2028\u202eb\udcff") == r"a\x1b[2J\r\n\x9b\u2028\u202eb\udcff"
    assert plain("Grüße, 1 µL ± 5 %") == "Grüße, 1 µL ± 5 %"
    assert str(InputError("a\nb", "c")) == "a\\nb\nc"
