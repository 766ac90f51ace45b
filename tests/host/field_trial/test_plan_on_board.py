"""The plan on the board: mutated plans, power cuts, what goes out and comes home, a whole drive."""

from __future__ import annotations

import csv
import json
import os
import random
import shutil
import subprocess
from pathlib import Path

import pytest
from littlefs.errors import LittleFSError

from app.files import Files
from app.link_frame import parse, record
from app.plan_file import (
    BY_IMPLEMENT,
    BY_WAY,
    HEAD_BYTES,
    LENGTH,
    MOST_PLOTS,
    NAME,
    PLAN_FILE,
    RATE,
    ROW_BYTES,
    START,
    TREATMENT,
    PlanFile,
)
from app.store import Store
from app.trial_record import LOG_FILE, TrialRecord
from host_sim.__main__ import main
from host_sim.board import mpremote_port
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.board.trial_files import fetch, send
from host_sim.common.errors import InputError
from host_sim.common.output import write_bytes
from host_sim.field_trial.plan import Plan, Plot
from host_sim.field_trial.plan_binary import board_plan, mark_of, sealed
from host_sim.field_trial.plan_file import read_plan
from host_sim.runs.plot_record import SETTINGS_FILES, record_files
from host_sim.twin.scenario import load_scenario
from host_sim.twin.twin import Twin
from host_sim.twin.virtual_board import MemoryFiles
from rate_control.controller import Controller
from rate_control.settings import build
from rate_control.units import RATE_MAX_ML_HA
from tests.support.flash_image import Flash, Volume, cuts, new_image

MUTANTS = int(os.environ.get("PLAN_MUTANTS", "150"))  # of each kind; 10,000 take a minute
WIDTH_M = 3.5


def plan_with(count, lift_m=1.0):
    plots = [Plot(f"P{index}", f"T{index % 5}", (index % 5) * 2e-6, 10.0, index + 1,
                  number=0, start_m=lift_m if index % 5 else 0.0) for index in range(count)]
    numbers = iter(range(1, count + 1))
    return Plan(tuple(Plot(**{**vars(plot), "number": next(numbers) if plot.treated else 0})
                      for plot in plots))


def loaded(data, highest_ml_ha=RATE_MAX_ML_HA):
    files = MemoryFiles()
    files.write(PLAN_FILE, data)
    plan = PlanFile(files)
    return plan, plan.problem(highest_ml_ha, 3500)


def test_500_plots_go_to_the_board_and_are_those_of_the_plan(record_property):
    plan = plan_with(MOST_PLOTS)
    data = board_plan(Path("plan.csv"), plan, WIDTH_M)
    assert len(data) == HEAD_BYTES + MOST_PLOTS * ROW_BYTES
    record_property("summary", f"a plan of {MOST_PLOTS} plots: {len(data):,} bytes of flash")
    there, problem = loaded(data)
    assert problem == "" and there.count == MOST_PLOTS and there.by == BY_WAY
    for index, plot in enumerate(plan.plots):
        row = there.plot(index)
        assert (row[NAME], row[TREATMENT]) == (plot.name, plot.treatment)
        assert row[RATE] == round(plot.rate_m * 1e10)
        assert (row[START], row[LENGTH]) == (round(plot.start_m * 1000), 10_000)


def test_a_plan_that_begins_at_the_lowering_is_driven_by_the_implement():
    assert loaded(board_plan(Path("p"), plan_with(9, 0.0), WIDTH_M))[0].by == BY_IMPLEMENT
    with pytest.raises(InputError, match="p: start: plot P1 does not begin where"):
        board_plan(Path("p"), plan_with(9), WIDTH_M, "implement")


def test_mutated_files_are_refused_or_were_not_changed():
    """Bytes changed, lost, doubled, rows exchanged: no plot or rate but those of the plan."""
    chance = random.Random(13)
    data = board_plan(Path("p"), plan_with(12), WIDTH_M)
    for _ in range(MUTANTS):
        mutant = bytearray(data)
        kind = chance.randrange(4)
        at = chance.randrange(len(data))
        if kind == 0:
            for _ in range(chance.randint(1, 4)):
                mutant[chance.randrange(len(data))] = chance.randrange(256)
        elif kind == 1:
            del mutant[at : at + chance.randint(1, 80)]
        elif kind == 2:
            mutant[at:at] = mutant[at : at + chance.randint(1, 80)]
        else:
            one, other = (HEAD_BYTES + ROW_BYTES * chance.randrange(12) for _ in range(2))
            mutant[one : one + ROW_BYTES], mutant[other : other + ROW_BYTES] = (
                data[other : other + ROW_BYTES], data[one : one + ROW_BYTES])
        plan, problem = loaded(bytes(mutant))
        if not problem:
            size = HEAD_BYTES + 12 * ROW_BYTES
            assert bytes(mutant[:size]) == data or plan.width_mm != 3500 or plan.by != BY_WAY
        assert "\n" not in problem


def test_files_with_right_sums_are_refused_where_they_cannot_be():
    """A sum that fits is no proof: every row must be one that can be driven."""
    chance = random.Random(14)
    data = board_plan(Path("p"), plan_with(12), WIDTH_M)
    taken = 0
    for _ in range(MUTANTS):
        rows = [bytearray(data[HEAD_BYTES + i * ROW_BYTES : HEAD_BYTES + (i + 1) * ROW_BYTES - 2])
                for i in range(12)]
        row = rows[chance.randrange(12)]
        row[chance.randrange(len(row))] ^= 1 << chance.randrange(8)
        whole = [sealed(bytes(row)) for row in rows]
        head = data[: HEAD_BYTES - 4] + mark_of(whole).to_bytes(2, "little")
        plan, problem = loaded(sealed(head) + b"".join(whole), 200_000)
        if problem:
            continue
        taken += 1
        for index in range(12):
            plot = plan.plot(index)
            assert plot[0] == index and 500 <= plot[LENGTH] <= 10_000_000
            assert plot[RATE] == 0 or 1000 <= plot[RATE] <= 200_000
            assert plot[NAME].isprintable() and plot[TREATMENT].isprintable()
    assert 0 < taken < MUTANTS


def test_mutated_tables_are_refused_in_words_or_are_plans(tmp_path):
    chance = random.Random(15)
    text = "plot,treatment,rate,length,order,pass,start\n" + "".join(
        f"{i},T{i},{50 + i} L/ha,10 m,{i},{i},1 m\n" for i in range(1, 7))
    path = tmp_path / "plan.csv"
    for _ in range(MUTANTS):
        mutant = list(text)
        for _ in range(chance.randint(1, 3)):
            at = chance.randrange(len(mutant))
            mutant[at] = chance.choice("0123456789,.\n -xTL/ham\"")
        path.write_text("".join(mutant))
        try:
            plan = read_plan(path)
            data = board_plan(path, plan, WIDTH_M)
        except InputError as error:
            assert all(str(path) in line and "\n" not in line for line in error.args)
            continue
        there, problem = loaded(data)
        if problem:
            continue
        assert [(there.plot(i)[NAME], there.plot(i)[RATE]) for i in range(there.count)] == [
            (plot.name, round(plot.rate_m * 1e10)) for plot in plan.plots]


class Opened:
    """A file of the volume; where it cannot seek it raises OSError, as on a board."""

    def __init__(self, file):
        self._file = file

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._file.close()

    def __getattr__(self, name):
        return getattr(self._file, name)

    def seek(self, *place):
        try:
            return self._file.seek(*place)
        except LittleFSError as error:
            raise OSError(-error.code) from error


def files_on(flash):
    volume = Volume(flash)
    return Files(open_file=lambda name, mode: Opened(volume.open(name, mode)))


def test_power_cut_at_every_write_leaves_all_lines_before():
    """At every block operation, clean and torn: what was written before is there, or one more."""
    chance = random.Random(16)
    image = new_image()
    settings, _ = build({})
    tried = 0
    # this binding's append, unlike MicroPython's, makes no file
    files_on(Flash(image)).write(LOG_FILE, b"")
    for number in range(25):
        flash = Flash(image)
        store = Store(files_on(flash))
        store.attach(Controller(settings))
        record = TrialRecord(files_on(flash), store)
        record.last()
        assert record.count == number
        before = bytearray(image)
        flash.operations.clear()
        record.keep({"how": "way", "next": number + 1, "pad": "x" * chance.randrange(300)})
        record.poll()
        assert not record.problem
        if number % 4:
            continue
        for _, left in cuts(before, flash.operations, chance):
            again = TrialRecord(files_on(Flash(left)), store)
            last = again.last()
            assert (last["next"] if last else 0) in (number, number + 1)
            tried += 1
    assert tried > 20


class FakeBoard:
    """mpremote and the files of a board behind it. `spoil` changes what is sent."""

    def __init__(self, files, spoil=False):
        self.files, self.spoil, self.calls = files, spoil, []

    def __call__(self, arguments):
        words = list(arguments[2:])
        self.calls.append(words[0])
        if words[0] == "exec":
            return subprocess.CompletedProcess(arguments, 0, "rp2 6 1.28.0\n", "")
        if words[:2] == ["fs", "cp"]:
            source, target = words[2:]
            if target.startswith(":"):
                self.files.write(target[1:], Path(source).read_bytes()[self.spoil :])
            elif source[1:] not in self.files.slots:
                return subprocess.CompletedProcess(arguments, 1, "", f"cp: {source}: missing")
            else:
                Path(target).write_bytes(self.files.read(source[1:]))
        return subprocess.CompletedProcess(arguments, 0, "", "")


def test_a_plan_is_read_back_and_the_board_started_anew():
    files = MemoryFiles()
    board = FakeBoard(files)
    send(MpremotePort("/dev/b", board), b"plan")
    assert files.read(PLAN_FILE) == b"plan" and board.calls[-1] == "reset"
    with pytest.raises(BoardError, match="reads back differently"):
        send(MpremotePort("/dev/b", FakeBoard(files, spoil=True)), b"plan")
    with pytest.raises(BoardError, match="missing"):
        fetch(MpremotePort("/dev/b", board))


@pytest.fixture(scope="module")
def driven(tmp_path_factory):
    """A trial of eight plots with the plan on the board, and a power cut in the third pass."""
    place = tmp_path_factory.mktemp("board")
    plan = place / "plan.csv"
    machine = Path("host_sim/scenarios/plot_bar.machine.toml").resolve()
    assert main(["plots", "new", "--design", "blocks", "--blocks", "2", "--seed", "3",
                 "--treatment", "A=50 L/ha", "--treatment", "B=80 L/ha",
                 "--treatment", "C=110 L/ha",
                 "--length", "12 m", "--machine", str(machine), "--alley", "4 m", "--run-up", "1 m",
                 "--out", str(plan)]) == 0
    assert main(["plots", "scenario", str(plan), "--machine", str(machine), "--speed", "5 km/h",
                 "--on-board", "--out", str(place)]) == 0
    scenario = place / "scenario.toml"
    return place, read_plan(plan), scenario, scenario.read_text()


def bodies(twin):
    data = twin.board.fittings.files.read(LOG_FILE)
    files, kept = record_files({LOG_FILE: data})
    assert kept.damaged == 0
    return list(csv.DictReader(files["plots.csv"].decode().splitlines()))


def test_what_is_damaged_comes_home_as_it_is():
    data = record(0, b'{"how": "begun"}') + b"\xff\x00 torn\n"
    files, kept = record_files({LOG_FILE: data, SETTINGS_FILES[0]: b"\xff" * 20})
    assert files[LOG_FILE] == data and files[SETTINGS_FILES[0]] == b"\xff" * 20
    assert kept.damaged == 1 and kept.settings is None


def test_what_was_fetched_before_stays_where_another_board_is_fetched(tmp_path, monkeypatch,
                                                                      capsys):
    """The same board goes on with its record; another one, or an erased one, has another folder."""
    files = MemoryFiles()
    monkeypatch.setattr(mpremote_port, "MpremotePort",
                        lambda port: MpremotePort(port, FakeBoard(files)))
    fetch_it = ["board", "fetch", "--port", "/dev/b", "--out", str(tmp_path / "mein Feld")]
    first, second = record(0, b'{"how": "begun"}'), record(1, b'{"how": "begun"}')
    files.write(LOG_FILE, first)
    for name in SETTINGS_FILES:
        files.write(name, b"x")
    assert main(fetch_it) == 0
    files.write(LOG_FILE, first + second)
    del files.slots[SETTINGS_FILES[1]]
    assert main(fetch_it) == 0
    there = tmp_path / "mein Feld"
    assert (there / LOG_FILE).read_bytes() == first + second
    assert not (there / SETTINGS_FILES[1]).exists()
    files.write(LOG_FILE, second)
    capsys.readouterr()
    assert main(fetch_it) == 2
    told = capsys.readouterr().err.splitlines()
    assert "give another folder" in told[-1] and str(there / LOG_FILE) in told[-1]
    assert (there / LOG_FILE).read_bytes() == first + second


@pytest.fixture(scope="module")
def fetched(driven):
    """The twin after its drive, and a folder with what the board kept of it."""
    place, _, scenario, _ = driven
    twin = Twin(load_scenario(scenario, field="ordinary"))
    twin.run()
    folder = place / "fetched"
    board = FakeBoard(twin.board.fittings.files)
    files, _ = record_files(fetch(MpremotePort("/dev/b", board)))
    write_bytes({folder / name: data for name, data in files.items()})
    return twin, folder


def test_the_board_drives_every_plot_at_its_rate_and_keeps_it(driven, fetched):
    _, plan, _, _ = driven
    twin, _ = fetched
    assert twin.application.failure == ""
    rows = bodies(twin)
    assert [row["plot"] for row in rows] == [plot.name for plot in plan.plots]
    for row, plot in zip(rows, plan.plots, strict=True):
        assert float(row["rate_l_ha"]) == pytest.approx(plot.rate_m * 1e7)
        assert abs(float(row["error_pct"])) < 4  # single pulses of the meter are 1 % of a plot
        assert float(row["length_m"]) == pytest.approx(12.0, abs=0.2)


def test_the_fetched_record_is_judged_without_a_computer_in_the_cab(driven, fetched, capsys):
    """Rates, intervals and analysis of variance from what the board kept, its settings included."""
    place, plan, _, _ = driven
    twin, folder = fetched
    out = place / "applied"
    assert main(["plots", "applied", str(place / "plan.csv"), str(folder), "--out", str(out)]) == 0
    told = capsys.readouterr()
    assert "deviation by treatment" in told.out and told.err == ""
    rows = list(csv.DictReader((out / "as_applied.csv").read_text().splitlines()))
    means = [row for row in rows if row["figure"] == "mean_rate"]
    assert [row["plot"] for row in means] == [plot.name for plot in plan.plots]
    for row, kept, plot in zip(means, bodies(twin), plan.plots, strict=True):
        assert float(row["value"]) == pytest.approx(float(kept["mean_rate_l_ha"]), rel=1e-6)
        off = abs(float(row["value"]) - plot.rate_m * 1e7)
        assert off < 2 * float(row["half_width_95"]), "the interval has the counting in it"
    assert {row["figure"] for row in rows}.isdisjoint({"cv", "start_error", "end_error"})


def test_a_fetched_record_that_does_not_fit_is_refused_in_a_line(driven, fetched, tmp_path, capsys):
    place, _, _, _ = driven
    _, folder = fetched
    plan = (place / "plan.csv").read_text()
    other = tmp_path / "other.csv"
    other.write_text(plan.replace("110", "100"))

    def refused(plan_file, record, *more):
        assert main(["plots", "applied", str(plan_file), str(record), "--out",
                     str(tmp_path / "out"), *more]) == 2
        assert not (tmp_path / "out").exists()
        told = capsys.readouterr().err.splitlines()
        return told[-1]

    assert "is not the plan that the board drove by" in refused(other, folder)
    assert "--leave-out: goes with a run" in refused(place / "plan.csv", folder, "--leave-out", "1")
    half = copied(folder, tmp_path / "half")
    log = (half / LOG_FILE).read_bytes()
    (half / LOG_FILE).write_bytes(log[: len(log) // 2])
    assert "the board has no line of it" in refused(place / "plan.csv", half)
    (half / LOG_FILE).write_bytes(b"\x00\xff nothing")
    assert "no plot is in it; 1 lines are damaged" in refused(place / "plan.csv", half)
    bare = copied(folder, tmp_path / "bare")
    for name in SETTINGS_FILES:
        (bare / name).unlink(missing_ok=True)
    assert "the settings of the board are not there whole" in refused(place / "plan.csv", bare)


def test_what_was_treated_twice_or_cut_short_is_flagged(driven, fetched, tmp_path, capsys):
    place, plan, _, _ = driven
    _, folder = fetched
    twice = copied(folder, tmp_path / "twice")
    lines = (twice / LOG_FILE).read_bytes().split(b"\n")
    body = next(json.loads(parse(line)[1]) for line in lines if b"volume_ul" in line)
    short = dict(body, how="cut short", length_mm=4000, volume_ul=body["volume_ul"] // 3,
                 area_cm2=body["area_cm2"] // 3, faults=["rate_off"])
    again = b"".join(record(200 + index, json.dumps(one).encode())
                     for index, one in enumerate((short, body, short)))
    (twice / LOG_FILE).write_bytes(b"\n".join(lines) + again + again[:40])
    assert main(["plots", "applied", str(place / "plan.csv"), str(twice), "--out",
                 str(tmp_path / "out")]) == 0
    told = capsys.readouterr()
    assert f"plot {plan.plots[0].name}: treated 4 times" in told.out
    assert "1 lines of the record are not whole" in told.err


def test_report_and_application_record_take_the_fetched_folder(driven, fetched, tmp_path, capsys):
    _, plan, _, _ = driven
    twin, folder = fetched
    page = tmp_path / "page.html"
    assert main(["report", str(folder), "--out", str(page)]) == 0
    text = page.read_text()
    assert f"{len(plan.plots)} plots were treated" in text and "nor on which day it was" in text
    assert main(["report", str(folder), "--csv", str(tmp_path / "x.csv")]) == 2
    assert "what a board kept of its plots" in capsys.readouterr().err
    job = Path("host_sim/scenarios/plot_bar_job.toml")
    out = tmp_path / "record"
    assert main(["application-record", str(folder), "--job", str(job), "--out", str(out)]) == 0
    rows = list(csv.DictReader((out / "application_record.csv").read_text().splitlines()))
    value = {(row["group"], row["element"]): row["value"] for row in rows}
    kept = bodies(twin)
    litres = sum(float(row["volume_l"]) for row in kept)
    assert float(value["Liquid", "volume of mix"]) == pytest.approx(litres, rel=1e-3)
    assert value["Who and when", "time"] == "" and ("Plot 101", "volume") in value
    assert value["Plot 101", "CV"] in ("", "none")
    assert {path.name for path in (out / "raw").iterdir()} >= {LOG_FILE, job.name}
    assert main(["application-record", "--verify", str(out)]) == 0


def copied(folder, to):
    """A copy of a fetched folder to spoil."""
    return Path(shutil.copytree(folder, to))


def test_after_a_power_cut_the_drive_goes_on_at_the_right_plot(driven):
    """The power goes in the second plot; a person arms, goes on, and treats it again later."""
    place, plan, _, text = driven
    events = text.split("[[event]]")
    lifts = [index for index, event in enumerate(events) if '"after plot' in event]
    at_m = float(events[lifts[1]].split("at_m = ")[1].split()[0])
    cut = f"""
[[event]]
at_m = {at_m - 4}
power_cut = true

[[event]]
at_m = {at_m + 0.2}
master = "off"
keys = "push"

[[event]]
at_m = {at_m + 0.9}
master = "on"
keys = "turn 1, push"
"""
    path = place / "cut.toml"
    path.write_text(text + cut)
    twin = Twin(load_scenario(path))
    twin.run()
    rows = [row["plot"] for row in bodies(twin)]
    names = [plot.name for plot in plan.plots]
    assert rows == [names[0], *names[2:]], "the plot under way is lost, and was skipped by hand"
    assert twin.resets == ["power", "power"]
