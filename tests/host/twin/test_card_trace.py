"""The trace on an SD card: whole drives by the real driver, against what a computer records."""

import json
import zlib

import numpy as np
import pytest

from app import card_trace, parts
from app.card_file import EMPTY, NO_FILE, NO_FILE_SYSTEM, NO_TRACE, RECORDS, CardFile
from app.card_trace import CHECKSUM, FULL, LEFT_OUT, NO_ROOM
from app.sd_card import NOT_READY
from app.telemetry import NAMES
from host_sim.__main__ import main
from host_sim.board.recorder import EVERY_TICKS
from host_sim.build.interpreters import MICROPYTHON_64, run_on
from host_sim.runs.card_trace import (
    SECTORS_AN_HOUR,
    WORDS,
    read_sessions,
    recording_name,
    recording_of,
    write_empty,
)
from host_sim.runs.recording_run import read_recording, run_of
from host_sim.twin.card_image import DATA, FILE, PARTITION, PreparedCard, check_card_target
from host_sim.twin.twin import Twin
from tests.support.card_rig import TimedCard, done, sector, started
from tests.support.drives import START, short_scenario
from tests.support.recorded_twin import record_twin

SECTORS = 10 * SECTORS_AN_HOUR  # more than is told of


def written(folder, card):
    """What the card holds, as a file and as sessions."""
    path = folder / "trace.bin"
    path.write_bytes(b"".join(card.trace()))
    return path, list(read_sessions(path))


def drive(folder, card, events=START, at=None):
    """Drive with a card; `at` gives what is done to it after so many ticks."""
    twin = Twin(short_scenario(folder, events), card=card)
    doings = dict(at or {})
    step = twin.step

    def stepped(*arguments):
        found = doings.pop(round(twin.clock.elapsed_us / 50000), None)
        if found:
            found(twin)
        step(*arguments)

    twin.step = stepped
    record = twin.run()
    return twin, record


def test_the_card_has_what_a_computer_records(tmp_path, record_property):
    card = PreparedCard(SECTORS)
    record_twin(tmp_path / "field.rec", short_scenario(tmp_path), card=card)
    recorded = read_recording(tmp_path / "field.rec").sessions[0]
    _, sessions = written(tmp_path, card)
    (tmp_path / "card.rec").write_bytes(recording_of(sessions[-1]))
    found = read_recording(tmp_path / "card.rec")
    kept = found.sessions[0]
    assert kept.settings == recorded.settings and kept.names == recorded.names
    assert found.damaged == 0 and card.wrong == []
    there, here = (np.array(one.rows).reshape(-1, len(NAMES)) for one in (recorded, kept))
    ticks, of_there, of_here = np.intersect1d(there[:, 0], here[:, 0], return_indices=True)
    record_property("summary", f"records of a computer {len(there)}, of a card {len(here)}, "
                               f"of both {len(ticks)}")
    assert len(ticks) > 180 and np.all(np.diff(ticks) == EVERY_TICKS)
    assert here[-1, 0] > there[-1, 0] - 4 * EVERY_TICKS - EVERY_TICKS  # a sector is under way
    there, here = there[of_there], here[of_here]
    for column, name in enumerate(NAMES):
        difference = there[:, column] - here[:, column]
        if name.endswith(("sum_mm", "sum_ul")):  # each sums from when it began
            difference = difference - difference[0]
        assert not difference.any(), name
    assert run_of(tmp_path / "card.rec").about["measured"]


def test_the_drive_is_the_same_with_and_without(tmp_path):
    without = Twin(short_scenario(tmp_path)).run()
    for card in (PreparedCard(SECTORS), PreparedCard(3)):
        with_card = drive(tmp_path, card)[1]
        for name, column in without.columns.items():
            np.testing.assert_array_equal(with_card.columns[name], column, name)


@pytest.mark.parametrize("torn", [False, True])
def test_a_power_cut_loses_half_a_second(tmp_path, torn):
    """The second time it comes while a sector is written, which is torn in the middle."""
    card = PreparedCard(SECTORS)
    card.busy_us = 250_000 if torn else 2000
    cuts = []

    def cut(twin):
        if not cuts and card._is_busy() == torn:
            cuts.append(twin.application.ring.count)
            twin.board.reset("power")

    drive(tmp_path, card, START + '[[event]]\nat_s = 14\nmaster = "off"\n'
          '[[event]]\nat_s = 15\nmaster = "on"\n', dict.fromkeys(range(234, 250), cut))
    path, (first, second) = written(tmp_path, card)
    assert first.usable and second.usable
    assert (first.damaged + second.damaged) == torn
    ticks = [row[0] for row in first.rows()]
    assert ticks == list(range(ticks[0], ticks[-1] + 1, EVERY_TICKS))
    assert cuts[0] - ticks[-1] <= (10 + EVERY_TICKS) * (1 + torn)  # half a second, and what is torn
    assert main(["card", "read", "--from", str(path), "--out", str(tmp_path / "out")]) == 0
    for session in (first, second):
        run = run_of(tmp_path / "out" / recording_name(session))
        assert "power" in run.about["cut_off"]


def test_a_card_that_is_pulled_is_told_and_goes_on_when_it_is_back(tmp_path):
    card = PreparedCard(SECTORS)
    twin, _ = drive(tmp_path, card, at={150: lambda _: card.pull(), 250: lambda _: card.put_in()})
    assert twin.application.notes == [NOT_READY]
    _, (first, second) = written(tmp_path, card)
    assert [row[0] for row in first.rows()][-1] < 150
    ticks = [row[0] for row in second.rows()]
    assert 250 < ticks[0] < 330 and ticks[-1] > 385
    assert twin.application.failure == "" and not first.damaged


def test_memory_that_runs_short_costs_the_trace_and_never_the_outputs(tmp_path, monkeypatch):
    """The card is put back at work, and its texts find no room on the heap for a while."""
    card = PreparedCard(SECTORS)

    def no_room(*_):
        raise MemoryError

    def put_back(_):
        card.put_in()
        monkeypatch.setattr(card_trace.json, "dumps", no_room)

    twin, record = drive(tmp_path, card, at={
        150: lambda _: card.pull(), 160: put_back, 300: lambda _: monkeypatch.undo()})
    assert twin.application.failure == ""
    assert twin.application.notes == [NOT_READY, NO_ROOM] == [NOT_READY, parts.NO_ROOM % "card"]
    without = Twin(short_scenario(tmp_path)).run()
    for name, column in without.columns.items():
        np.testing.assert_array_equal(record.columns[name], column, name)
    second = written(tmp_path, card)[1][-1]
    assert second.usable and second.place > 1


def test_nothing_is_ever_written_to_a_card_that_is_not_prepared(tmp_path):
    card = PreparedCard(SECTORS)
    entry = card.sectors[DATA]

    def fresh(changes=()):
        other = PreparedCard(SECTORS)
        other.sectors.update(changes)
        return other

    for problem, other in (
        (NO_FILE_SYSTEM, fresh({0: bytes(512)})),
        (NO_FILE_SYSTEM, fresh({PARTITION: bytes(512)})),
        (NO_FILE, fresh({DATA: entry.replace(b"TRACE   BIN", b"PHOTO   JPG")})),
        (NO_TRACE, fresh({FILE: bytes(512)})),
        (NO_TRACE, fresh({FILE + place: bytes(512) for place in range(1, SECTORS)})),
    ):
        before = dict(other.sectors)
        twin, _ = drive(tmp_path, other)
        assert other.sectors == before and twin.application.notes == [problem]


def test_a_card_that_was_changed_for_another_is_left_alone(tmp_path):
    """What its file was is a photograph by now, but for the first sector."""
    card = PreparedCard(SECTORS)

    def change(_):
        for place in range(1, SECTORS):
            card.sectors[FILE + place] = bytes([0x5A]) * 512
        card.put_in()

    twin, _ = drive(tmp_path, card, at={200: lambda _: card.pull(), 210: change})
    assert twin.application.notes == [NOT_READY, NO_TRACE]
    assert all(card.sectors[FILE + place] == bytes([0x5A]) * 512 for place in range(1, SECTORS))


def test_settings_that_are_changed_begin_a_session_of_their_own(tmp_path):
    card = PreparedCard(SECTORS)
    drive(tmp_path, card, "", {
        200: lambda twin: twin.application.change_settings({"settling_time_ms": 1700})})
    path, sessions = written(tmp_path, card)
    assert len(sessions) == 2 and sum(one.damaged for one in sessions) == 0
    first, second = ([row[0] for row in one.rows()] for one in sessions)
    assert 190 < first[-1] <= 202 and 200 < second[0] < 230 and second[-1] > 385
    asked = [json.loads(one.text.splitlines()[1])["settings"]["values"] for one in sessions]
    assert asked[0]["settling_time_ms"] != asked[1]["settling_time_ms"] == 1700


def test_full_is_told_before_it_is_full(tmp_path):
    card = PreparedCard(30)
    twin, _ = drive(tmp_path, card)
    assert twin.application.notes == ["card: room for 0 min of trace", FULL]
    path, sessions = written(tmp_path, card)
    assert len(sessions) == 1 and sessions[0].records > 80
    assert WORDS.unpack_from(card.trace()[-1])[3] == RECORDS
    assert twin.application.failure == ""
    twin, _ = drive(tmp_path, card)  # switched on again with it
    assert twin.application.notes == [FULL]
    assert written(tmp_path, card)[1] == sessions


def test_a_slow_card_leaves_records_out_counts_them_and_loses_no_litre(tmp_path):
    card = PreparedCard(SECTORS)
    twin, record = drive(tmp_path, card, at={
        200: lambda _: setattr(card, "busy_us", 2_500_000),
        230: lambda _: setattr(card, "busy_us", 2000)})
    assert twin.application.notes == [LEFT_OUT]
    (session,) = written(tmp_path, card)[1]
    rows = np.array(list(session.rows()))
    dropped = rows[-1, NAMES.index("dropped")]
    missing = (rows[-1, 0] - rows[0, 0]) // EVERY_TICKS + 1 - len(rows)
    assert 0 < missing == dropped < 30
    volume_ul = rows[-1, NAMES.index("volume_sum_ul")] - rows[0, NAMES.index("volume_sum_ul")]
    ticks = slice(rows[0, 0] + 1, rows[-1, 0] + 1)
    assert volume_ul == record.columns["volume_ul"][ticks].sum()


def test_file_of_a_card_is_refused_in_one_line(tmp_path, capsys):
    card = PreparedCard(200)
    drive(tmp_path, card)
    path, _ = written(tmp_path, card)
    data = path.read_bytes()
    newer = bytearray(data)
    newer[512:1024] = whole_sector(data[512:1024], kind=7)
    for name, content, words in (
        ("half", data[:51200], "is not all there: 100 of 200 sectors"),
        ("empty", b"", "is no trace of a board"),
        ("other", b"RIFF" + bytes(1000), "is no trace of a board"),
        ("newer", bytes(newer), "sector 1: is whole, but not of this version"),
    ):
        file = tmp_path / name
        file.write_bytes(content)
        assert main(["card", "read", "--from", str(file), "--out", str(tmp_path / "out")]) == 2
        told = capsys.readouterr().err
        assert words in told and told.count("\n") == 1 and str(file) in told
    assert not (tmp_path / "out").exists()
    spoilt = bytearray(data)
    spoilt[512 * 20 + 100] ^= 1
    (tmp_path / "spoilt").write_bytes(spoilt)
    assert main(["card", "read", "--from", str(tmp_path / "spoilt"), "--out",
                 str(tmp_path / "out")]) == 0
    assert "1 sectors are damaged" in capsys.readouterr().out
    (recording,) = (tmp_path / "out").iterdir()
    assert run_of(recording).about["damaged_lines"] == 1


def test_another_card_is_not_written_over_the_recordings_of_the_last(tmp_path, capsys):
    """Its sessions have the same names: each card begins with trace_0000001.rec."""
    cards = [PreparedCard(200, number) for number in (11, 12)]
    drive(tmp_path, cards[0], at={300: lambda twin: twin.board.reset("power")})
    drive(tmp_path, cards[1], "")
    paths = []
    for card in cards:
        path = tmp_path / f"{card.number}.bin"
        path.write_bytes(b"".join(card.trace()))
        paths.append(path)
    read = ["card", "read", "--out", str(tmp_path / "out"), "--from"]
    assert main([*read, str(paths[0])]) == 0
    kept = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    assert len(kept) == 2
    capsys.readouterr()
    assert main([*read, str(paths[1])]) == 2
    told = capsys.readouterr().err
    assert "trace_0000001.rec: is there already and is not of this card" in told
    assert told.count("\n") == 1
    (tmp_path / "out" / "trace_0000001.rec").write_bytes(b"a note\n")
    assert main([*read, str(paths[0])]) == 2
    (tmp_path / "out" / "trace_0000001.rec").unlink()
    assert main([*read, str(paths[0])]) == 0  # the same once more
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == kept


def test_a_damaged_sector_costs_its_session_at_most(tmp_path, capsys):
    """One among the texts of a session, and the very first of the file: the rest is read."""
    card = PreparedCard(300)
    drive(tmp_path, card, at={200: lambda twin: twin.board.reset("power")})
    path, (first, second) = written(tmp_path, card)
    data = bytearray(path.read_bytes())
    for place in (0, first.place + 2):
        data[512 * place + 60] ^= 1
    path.write_bytes(data)
    out = tmp_path / "out"
    assert main(["card", "read", "--from", str(path), "--out", str(out)]) == 0
    assert f"sector {first.place}: a session without its texts" in capsys.readouterr().err
    assert [one.name for one in out.iterdir()] == [recording_name(second)]
    assert (out / recording_name(second)).read_bytes() == recording_of(second)


def test_a_drive_writes_over_no_trace_of_a_real_card_and_over_no_other_file(tmp_path, capsys):
    target = tmp_path / "trace.bin"
    write_empty(target, 200, lambda share: None)
    kept = target.read_bytes()
    for data in (kept, b"a note\n"):
        target.write_bytes(data)
        assert main(["drive", "--out", str(tmp_path / "out"), "--card", str(target)]) == 2
        assert "is no trace of the twin: it is not written over" in capsys.readouterr().err
        assert target.read_bytes() == data and not (tmp_path / "out").exists()
    target.write_bytes(b"".join(PreparedCard(200).trace()))
    check_card_target(target)


def test_the_file_system_is_found_as_another_driver_made_it(tmp_path):
    """MicroPython's FatFs makes it and writes the file; with its partition, and without."""
    trace = tmp_path / "trace.bin"
    write_empty(trace, 500, lambda share: None)
    prepared = trace.read_bytes()
    size = len(prepared) // 512
    told = run_on(MICROPYTHON_64, "tests/vm/card_fat.py", str(trace), "3", heap="64M").stdout
    sectors = {int(number): bytes.fromhex(content)
               for number, content in (line.split() for line in told.splitlines())}
    partition = int.from_bytes(sectors[0][454:458], "little")
    for left_out in (0, partition):
        chip = TimedCard(20_000_000)
        chip.sectors = {number - left_out: data for number, data in sectors.items()}
        assert (chip.sectors[0][82:87] == b"FAT32") == bool(left_out)
        card = started(chip)
        file = CardFile(card)
        done(chip, file.find)
        assert (file.size, file.end) == (size, 1)
        assert all(file.kind(place) == EMPTY for place in range(1, 400))
        first = next(number for number, data in chip.sectors.items() if data == prepared[:512])
        card.sector[:] = sector(1)
        done(chip, file.write)
        assert chip.sectors[first + 1] == sector(1)


def whole_sector(data, kind):
    """A sector of another kind, with its checksum."""
    words = list(WORDS.unpack_from(data))
    words[3] = kind
    body = WORDS.pack(*words) + data[WORDS.size : CHECKSUM]
    return body + zlib.crc32(body).to_bytes(4, "little")
