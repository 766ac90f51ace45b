"""Feeds every loader of files with damaged input and lets only plain words out.

A loader takes a file, or what stands in for one, as far as a command does before it writes. It
may return, or raise InputError (LinkError for what comes over the link) with lines that have a
text, can be printed, and name the file. Anything else is a finding. The inputs are sound files
in which some tokens, lines and bytes were changed; Hypothesis chooses and shrinks the changes.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import re
import sys
import tempfile
import warnings
import zlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

import host_sim  # puts firmware/ on the path before the next imports
from app.card_trace import CHECKSUM
from app.link_frame import MAX_BODY, FrameError, crc16, parse, record
from app.sd_card import SECTOR
from app.trial_record import LOG_FILE
from app.zones import Zones
from app.zones import problem_of as zones_problem
from host_sim.__main__ import main as command
from host_sim.application_record import folder
from host_sim.application_record.job import read_job
from host_sim.application_record.page import to_csv as record_csv
from host_sim.application_record.sheet import fill
from host_sim.application_record.work_done import load_work, work_of_run
from host_sim.board.link_client import LinkClient, LinkError
from host_sim.common.arguments import count as count_of
from host_sim.common.earth import Origin
from host_sim.common.errors import InputError, plain
from host_sim.field_trial.applied import applied_by_board
from host_sim.field_trial.applied_tables import applied_files
from host_sim.field_trial.knowledge_file import read_knowledge, usual
from host_sim.field_trial.plan_binary import mark_of, plan_rows
from host_sim.field_trial.plan_file import read_plan
from host_sim.field_trial.plan_table import plan_csv
from host_sim.field_trial.plot_drive import drive_over
from host_sim.hardware import boards
from host_sim.hardware.pin_rules import PINS_DIR, findings, read_table
from host_sim.machine_file.earlier import load_earlier
from host_sim.machine_file.keeping import changed_text, new_text
from host_sim.machine_file.machine import load_machine
from host_sim.machine_file.twin_spec import spec_of
from host_sim.machine_file.values import differences
from host_sim.maps.swaths import Piece, Swaths
from host_sim.maps.taskdata import LOG, XML_FILE, to_taskdata
from host_sim.maps.taskdata_read import read_taskdata
from host_sim.maps.zone_file import grid_of, read_zones, zone_bytes
from host_sim.mixing.batches import batches_of
from host_sim.mixing.mix_file import read_mix
from host_sim.mixing.text import lines as mix_lines
from host_sim.report.comparison import ComparedRun, fact_rows, figure_rows, setting_rows, verdict
from host_sim.report.plots_page import render_plots
from host_sim.report.settings_used import calibration_used, settings_used
from host_sim.report.words import remarks
from host_sim.runs.card_trace import empty_sector, read_sessions, recording_of
from host_sim.runs.files import RUN_CSV, SUMMARY_JSON, load_run, summary_json
from host_sim.runs.plot_record import SETTINGS_FILES, read_plot_record, record_files
from host_sim.runs.record import to_csv
from host_sim.runs.truth import ground_cells, true_run
from host_sim.sizing.answer import solve
from host_sim.sizing.request import read_request
from host_sim.twin.card_image import PreparedCard
from host_sim.twin.scenario import SCENARIO_DIR, load_scenario
from host_sim.twin.speed_trace import read_speed_trace
from host_sim.twin.twin import Twin
from host_sim.verbs.board import read_log, status_line
from rate_control.settings import Settings
from tests.support.drives import MACHINE, START, scenario_file, short_scenario

DEMO_MACHINE = SCENARIO_DIR / "plot_bar.machine.toml"

# What a token or a place in a file is changed into.
HOSTILE = (
    b"", b"0", b"-1", b"-0.0", b"1", b"2", b"1.5", b"nan", b"NaN", b"inf", b"-Infinity", b"1e308",
    b"1e999", b"1_0", b"0x10", b"9" * 19, b"9" * 5000, b"1073741823", b"-2147483649", b"1e-320",
    b"true", b"null", b"none", b'""', b'"x"', b"[]", b"{}", b"[[]]", b'["a"]', b"[0]", b"{a=1}",
    b'{"a":1}', b"[" * 40, b"[" * 3000, b'{"a":' * 3000, b"a." * 3000, b"\0", b"\xff\xfe",
    b"\xef\xbb\xbf", b"\r", b"\r\n", b"\n", b",", b";", b"=", b"#", b"'", b'"', b'"""', b"\x1b[2J",
    b'"\\u0000"', b'"\\ud800"', b'"\\u001b[2J"', "\u2028".encode(), "\u0663".encode(), b"=cmd",
    b"../../x", b"1979-05-27", b"9999-12-31", b"0001-01-01", b"23:59:59", b'"9999-12-31T23:59:59"',
    b'"2026-05-04T06:30:00"', b"1970-01-01T00:00:00Z", b"x" * 3000,
)
_TOKEN = re.compile(
    rb"[A-Za-z_][\w.-]*|-?\d[\w.+-]*|\"[^\"\n]*\"|\[[^\[\]\n]*\]|\{[^{}\n]*\}|[^\s\w]")

Change = tuple[int, int, bytes]
CHANGES = st.lists(
    st.tuples(st.integers(0, 7), st.integers(0, 2**20), st.sampled_from(HOSTILE)), max_size=3)


def changed(data: bytes, changes: list[Change]) -> bytes:
    """A sound file with changes, each a kind, a place and what is put there."""
    for kind, place, hostile in changes:
        lines = data.split(b"\n")
        line = place % len(lines)
        at = place % (len(data) + 1)
        if kind <= 2:
            data = _token_changed(data, place, hostile)
        elif kind == 3:
            data = data[:at] + hostile + data[at:]
        elif kind == 4:
            data = data[:at] + data[at + 1 + place % 40:]
        elif kind == 5:
            data = b"\n".join(lines[:line] + lines[line + 1:])
        elif kind == 6:
            data = b"\n".join(lines[:line] + [lines[line]] + lines[line:])
        else:
            data = data[:at] if place % 5 == 0 else data.replace(b"\n", b"\r\n")
    return data


def _token_changed(data: bytes, place: int, hostile: bytes) -> bytes:
    tokens = list(_TOKEN.finditer(data))
    if not tokens:
        return data + hostile
    token = tokens[place % len(tokens)]
    return data[: token.start()] + hostile + data[token.end():]


@dataclass(frozen=True)
class Loader:
    """`seeds` makes sound inputs in a directory, `load` takes one from there as commands do."""

    seeds: Callable[[Path], list[bytes]]
    load: Callable[[Path, bytes], None]
    names_file: bool = True


@cache
def scratch() -> Path:
    """A directory of this process with a short run, and a record of it."""
    directory = Path(tempfile.mkdtemp(prefix="loader_fuzz_"))
    (directory / "trace.csv").write_text("time_s,speed_m_s\n0,0\n4,2\n")
    scenario = scenario_file(directory, START, "0,2\n3,2\n")
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        assert command(["drive", str(scenario), "--out", str(directory / "run")]) == 0
    (directory / "sound.toml").write_bytes((SCENARIO_DIR / "plot_bar_job.toml").read_bytes())
    return directory


def put(directory: Path, name: str, data: bytes) -> Path:
    path = directory / name
    path.write_bytes(data)
    return path


# The loaders, each as far as a command goes before it writes.


def _scenario(directory: Path, data: bytes) -> None:
    load_scenario(put(directory, "input.toml", data))


def _settings(directory: Path, data: bytes) -> None:
    machine = load_machine(put(directory, "input.toml", data))
    new_text(machine.title, True, machine.settings)
    differences(Settings(), machine.settings, False)
    changed_text(machine, {"meter_pulses_hl": 44_000, "loop_lag_ms": 200}, "by hand")
    spec_of(machine)


def _sizing(directory: Path, data: bytes) -> None:
    solve(read_request({}, None, put(directory, "input.toml", data)))


def _job(directory: Path, data: bytes) -> None:
    run, _ = _sound_run()
    record_csv(fill(work_of_run(run), read_job(put(directory, "input.toml", data)), False)).encode()


@cache
def _sound_run():
    return load_run(scratch() / "run")


def _calibrate(directory: Path, data: bytes) -> None:
    """Words of a command line, one a line."""
    words = [word.decode("utf-8", "replace").replace("\0", "") for word in data.split(b"\n")]
    with (contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO())
          as told):
        try:
            status = command(["calibrate", *words])
        except SystemExit as stopped:
            status = stopped.code
    assert status in (0, 1, 2), status
    if status == 2:
        raise InputError(*told.getvalue().splitlines())


def _speeds(name: str) -> Callable[[Path, bytes], None]:
    def load(directory: Path, data: bytes) -> None:
        trace = read_speed_trace(put(directory, name, data))
        for share in (0.0, 0.3, 1.0):
            trace.at(share * trace.duration_s)
    return load


def _plan(directory: Path, data: bytes) -> None:
    """A plan that is taken is the same plan when it was written and read again."""
    plan = read_plan(put(directory, "plan.csv", data))
    again = read_plan(put(directory, "plan.csv", plan_csv(plan).encode()))
    assert len(again.plots) == len(plan.plots)
    for one, other in zip(plan.plots, again.plots, strict=True):
        assert (one.name, one.treatment, one.order, one.number, one.block) == (
            other.name, other.treatment, other.order, other.number, other.block)
        assert abs(one.rate_m - other.rate_m) <= 1e-6 * one.rate_m
    drive_over(plan, 1.5)


def _mix(directory: Path, data: bytes) -> None:
    path = put(directory, "mix.toml", data)
    mix = read_mix(path)
    batches = batches_of(path, mix, None, None)
    for us in (False, True):
        list(mix_lines(mix, batches, us))


def _knowledge(directory: Path, data: bytes) -> None:
    read_knowledge(put(directory, "known.toml", data), {"meter_droop_ul_s": 5000})


def _knowledge_seeds(_: Path) -> list[bytes]:
    return [b'meter = "0.4 %"\nmeter_runs = 5\nspeed_sensor = "0.3 %"\nwidth = "1 cm"\n'
            b'start = "3 mL"\nmoment = "80 ms"\ndroop = "0.05 L/min"\n']


def _mix_seeds(_: Path) -> list[bytes]:
    head = b'tank = "200 L"\narea = "3 ha"\nreserve = "5 L"\nrinse = "30 L"\nstep = "1 mL"\n'
    plain = (b'rate = "100 L/ha"\n[[product]]\nname = "P"\nper_area = "1.2 L/ha"\n'
             b'at_most = "1.5 L/ha"\nmix_at_least = "80 L/ha"\n')
    aim = (b'[[product]]\nname = "N"\nundiluted = true\nnutrient = "75 lb N/ac"\n'
           b'analysis = "28-0-0"\ndensity = "10.65 lb/gal"\n')
    return [head + plain, head + aim]


def _plan_seeds(_: Path) -> list[bytes]:
    header = ("plot,block,treatment,rate_l_ha,length_m,pass,order,start_m,width_m,x_m,y_m,"
              "heading_deg")
    rows = ("11,1,A,80,10,1,1,0,3.5,1.75,0,0", "21,2,F,0,10,,2,0,3.5,1.75,14,0",
            "22,2,A,80,10,2,3,0,3.5,6.25,24,180", "12,1,F,0,10,,4,0,3.5,6.25,10,180")
    short = "plot;treatment;rate;length;order\nP1;N0;20 gal/ac;33 ft;1\nP2;N1;25 gal/ac;33 ft;2\n"
    return ["\n".join((header, *rows, "")).encode(), short.encode()]


def _zones(directory: Path, data: bytes) -> None:
    """Zones as far as the file that a board gets; the verb names the file before a grid's words."""
    path = put(directory, "zones.geojson", data)
    zones = read_zones(path)
    try:
        grid = grid_of(zones, 2000)
    except InputError as error:
        raise InputError(f"{path}: {error}") from error
    assert not zones_problem(zone_bytes(grid))


def _board_zones(directory: Path, data: bytes) -> None:
    """What a board finds by that name, as it is and with a sum that fits: looked up everywhere."""
    path = put(directory, "zones.bin", data)
    for found in (data[:-2] + crc16(data, max(len(data) - 2, 0)).to_bytes(2, "little"), data):
        problem = zones_problem(found)
        if problem:
            continue
        zones = Zones(None, None, found)
        for east_mm in (-(2**30), -1, 0, 1, 2**30):
            assert 0 <= zones.at(east_mm, -east_mm) <= len(zones._rates)
    if problem:
        raise InputError(f"{path}: {problem}")


def _board_zone_seeds(directory: Path) -> list[bytes]:
    path = put(directory, "zones.geojson", _zone_seeds(directory)[0])
    return [zone_bytes(grid_of(read_zones(path), 5000))]


def _zone_seeds(_: Path) -> list[bytes]:
    ring = [[-96.48, 41.15], [-96.478, 41.15], [-96.478, 41.151], [-96.48, 41.151], [-96.48, 41.15]]
    other = [[x + 0.001, y + 0.0004] for x, y in ring]
    features = [
        {"type": "Feature", "properties": {"rate": "80 L/ha"},
         "geometry": {"type": "Polygon", "coordinates": [ring]}},
        {"type": "Feature", "properties": {"rate_gal_ac": 12.5},
         "geometry": {"type": "MultiPolygon", "coordinates": [[other], [ring]]}}]
    return [json.dumps({"type": "FeatureCollection", "features": features}, indent=1).encode()]


def _task(directory: Path, data: bytes) -> None:
    """Task data with its XML damaged."""
    for name, sound in _task_files().items():
        put(directory, name, sound)
    put(directory, XML_FILE, data)
    read_taskdata(directory)


def _task_log(directory: Path, data: bytes) -> None:
    """Task data with its time log damaged."""
    for name, sound in _task_files().items():
        put(directory, name, sound)
    put(directory, f"{LOG}.BIN", data)
    read_taskdata(directory)


@cache
def _task_files() -> dict[str, bytes]:
    """Of two pieces of swath."""
    ring = np.array([(2.0, 0.0), (2.0, 9.0), (0.0, 9.0), (0.0, 0.0)])
    pieces = [Piece(0, 0, 1.0, 3.0, ring, 0.0018, 0.2, 100.0), Piece(
        0, 0, 3.0, 5.0, ring + (0, 9), 0.0018, 0.2, 100.0)]
    swaths = Swaths(Origin(41.15, -96.48), [2.0], np.array([0.0, 9.0]),
                    np.array([(1.0, 0.0), (1.0, 40.0)]), pieces)
    return to_taskdata(swaths, "two pieces")


def _run(name: str) -> Callable[[Path, bytes], None]:
    """A run with one of its files damaged, through everything that is worked out from it."""
    def load(directory: Path, data: bytes) -> None:
        for part in (RUN_CSV, SUMMARY_JSON):
            put(directory, part, (scratch() / "run" / part).read_bytes())
        put(directory, name, data)
        _use(directory)
    return load


def _recording(directory: Path, data: bytes) -> None:
    _use(put(directory, "input.rec", data))


def _use(path: Path) -> None:
    run, figures = load_run(path)
    to_csv(run)
    summary_json(run, figures).encode()
    ground_cells(true_run(run, run.about["section_width_m"]))
    list(settings_used(run.about["settings"], True))
    calibration_used(run.about["settings"], False)
    remarks(run.about)
    this, other = ComparedRun("this", run, figures), ComparedRun("other", *_sound_run())
    for compared in (setting_rows, figure_rows):
        compared(this, other, True)
    for said in (fact_rows, verdict):
        said(this, other)
    record_csv(fill(work_of_run(run), read_job(scratch() / "sound.toml"), True)).encode()


def _fetched(directory: Path, data: bytes) -> None:
    """What a board kept of its plots, its lines with their checksums made anew, in every page."""
    lines = [record(number, body) if len(body) < MAX_BODY and b"\n" not in body else body + b"\n"
             for number, body in enumerate(data.split(b"\n"))]
    put(directory, SETTINGS_FILES[0], record(1, json.dumps(Settings().as_dict()).encode()))
    put(directory, LOG_FILE, b"".join(lines))
    kept = read_plot_record(directory)
    render_plots("plots", kept, True)
    record_csv(fill(load_work(directory), read_job(scratch() / "sound.toml"), True)).encode()
    record_files({LOG_FILE: b"".join(lines)})
    plan = read_plan(put(directory, "plan.csv", _plan_seeds(directory)[0]))
    assert kept.settings is not None
    plots = applied_by_board(directory, plan, kept, kept.settings, usual({}))
    applied_files("plots", plan, plots, False)


def _fetched_seeds(directory: Path) -> list[bytes]:
    """A trial with its beginning, a plot that was cut short and repeated, and its end."""
    plan = read_plan(put(directory, "plan.csv", _plan_seeds(directory)[0]))
    mark = mark_of(plan_rows(plan))
    common = {"plan": mark, "version": 1, "next": 1}
    plots = [dict(common, how=how, index=0, plot=name, treatment="A", rate_ml_ha=80000,
                  asked_ml_ha=80000, length_mm=length, area_cm2=35 * length, volume_ul=28 * length,
                  time_ms=5 * length, faults=["rate_off"], begin=[0, 5], end=[9, -7],
                  **{"pass": 1}) for name, how, length in (
                      ("11", "cut short", 4000), ("11", "way", 10000), ("22", "lift", 10000))]
    bodies = [dict(common, how="begun"), *plots, dict(common, how="finished")]
    return [b"\n".join(json.dumps(body).encode() for body in bodies)]


def _trace(directory: Path, data: bytes) -> None:
    """trace.bin of a card, its sectors with their checksums made anew, as recordings."""
    whole = b"".join(_summed(data[at : at + SECTOR]) for at in range(0, len(data), SECTOR))
    for number, found in enumerate((whole, data)):
        path = put(directory, f"{number}.bin", found)
        for session in read_sessions(path):
            if session.usable:
                _recording(directory, recording_of(session))


def _summed(data: bytes) -> bytes:
    body = data[:CHECKSUM]
    return body + zlib.crc32(body).to_bytes(4, "little") if len(data) == SECTOR else data


def _trace_seeds(directory: Path) -> list[bytes]:
    """The session of a few seconds, to its last sector and with empty ones behind."""
    card = PreparedCard(40)
    Twin(short_scenario(directory, START, speeds="0,2\n5,2\n"), card=card).run()
    sectors = [data for data in card.trace() if data[12]]
    sectors.insert(0, empty_sector(card.number, 0, len(sectors) + 1))
    return [b"".join(sectors), b"".join(card.trace())]


def _sums(directory: Path, data: bytes) -> None:
    put(directory, "file", b"x")
    put(directory, folder.SUMS, data)
    folder.verify(directory)


class _Line:
    """A port on which a board answers with what it is given, renumbered to what is asked."""

    def __init__(self, bodies: list[bytes], raw: bytes) -> None:
        self._bodies = bodies
        self._raw = raw
        self._now_s = 0.0
        self._held = b""

    def read(self, limit: int, /) -> bytes:
        self._now_s += 0.05
        data, self._held = self._held[:limit], self._held[limit:]
        return data

    def write(self, data: bytes, /) -> None:
        try:
            sequence, request = parse(data.rstrip(b"\n"))
            name = json.loads(request)["do"]
        except (FrameError, ValueError):
            return
        self._held += self._raw
        for body in self._bodies:
            body = body.replace(b"ASKED", name.encode()).replace(b"-77", b"%d" % sequence)
            with contextlib.suppress(ValueError):
                self._held += record(sequence, body)

    def now_s(self) -> float:
        return self._now_s

    def close(self) -> None:
        pass


def _link(directory: Path, data: bytes) -> None:
    line = _Line(data.split(b"\n"), data[-200:])
    client = LinkClient(lambda: line, attempts=1)
    for ask in (
        lambda: client.ask("hello")["telemetry"][0],
        lambda: dict(client.ask("settings.get")["values"]),
        lambda: status_line(client.ask("status"), True),
        lambda: read_log(client),
        lambda: client.ask("faults.get")["faults"],
        lambda: client.ask("procedure.get"),
        lambda: client.ask("rate.set", rate_ml_ha=1),
        lambda: [taken.body["telemetry"][1] for taken in client.take()
                 if "telemetry" in taken.body],
    ):
        with contextlib.suppress(LinkError):
            ask()


# Sound inputs.


def _scenarios(directory: Path) -> list[bytes]:
    put(directory, "trace.csv", b"time_s,speed_m_s\n0,0\n4,2\n")
    put(directory, MACHINE, (scratch() / MACHINE).read_bytes())
    put(directory, DEMO_MACHINE.name, DEMO_MACHINE.read_bytes())
    demo = (SCENARIO_DIR / "plot_bar.toml").read_bytes()
    short = (scratch() / "scenario.toml").read_bytes()
    log = str(SCENARIO_DIR.parent / "data" / "combine-log-1hz.csv").encode()
    return [short, re.sub(rb'speed_trace = ".*"', b'speed_trace = "trace.csv"', demo),
            short.replace(b'"trace.csv"', b'"' + log + b'"'),
            short + b"[[event]]\nat_m = 3\nslip_pct = 4\nnote = 'n'\n[[event]]\nat_s = 2\n"
                    b"section = 1\norifice_factor = 1.5\nrate_l_ha = 50\nair_ml = 5\n"]


def _settings_seeds(_: Path) -> list[bytes]:
    return [new_text("Bar", us, Settings()).encode() for us in (False, True)] + [
        DEMO_MACHINE.read_bytes(),
        b'units = "us"\n[settings]\nrate = "20 gal/ac"\n[fitted]\nsections = [2, 1]\n'
        b"spacing = 20\n"]


def _earlier_seeds(_: Path) -> list[bytes]:
    kept = host_sim.REPO_ROOT / "tests/data/kept/desk/settings.toml"
    return [kept.read_bytes(), b'us_units = 1\nrate_ml_ha = "20 gal/ac"\nactuator = 2\n']


def _earlier(directory: Path, data: bytes) -> None:
    load_earlier(put(directory, "input.toml", data))


def _sizing_seeds(_: Path) -> list[bytes]:
    return [b'units = "us"\n[wanted]\nrate = ["10 gal/ac", "15 gal/ac"]\nspeed = "4 to 8 mph"\n'
            b'[fitted]\nspacing = "20 in"\nsections = [6, 8, 6]\n'
            b'outlet = "0.3 gal/min at 40 psi"\noutlet_pressure = "15 to 60 psi"\n'
            b'check_valve = "7 psi"\npump = "11 gal/min open, 8 gal/min at 60 psi"\n'
            b'relief = "90 psi"\nsection_valve = "5 gal/min at 5 psi"\n'
            b'[settings]\nliquid_density = "10.65 lb/gal"\n',
            b'[wanted]\nrate = "100 L/ha"\nspeed = "6 to 12 km/h"\n[fitted]\nspacing = 0.5\n'
            b'sections = "4"\npump = "M"\nmeter = "450 pulses/L"\n'
            b'meter_range = "1.5 to 15 L/min"\n']


def _job_seeds(_: Path) -> list[bytes]:
    demo = (SCENARIO_DIR / "plot_bar_job.toml").read_bytes()
    return [demo, b'[[product]]\nkind = "other"\ntotal = "2 gal"\nstated = "1.2 L/ha"\n'
                  b'at_most = "16 fl oz/ac"\ndensity = "1 kg/L"\n']


def _calibrations(_: Path) -> list[bytes]:
    import shlex

    from host_sim.verbs.calibrate import EXAMPLES

    return ["\n".join(shlex.split(words)[1:]).encode() for words in EXAMPLES.values()] + [
        b"density\n--units\nus\n--rate\n20\n--density\n10.65"]


def _csv_seeds(_: Path) -> list[bytes]:
    return [b"time_s,speed_m_s\n0,0\n1,1.5\n2,2\n3,2\n", b"time_s,speed_km_h,x\n0,0,a\n1,9,b\n",
            b"Obj. Id,Distance(m),Duration(s)\n1,2,1\n2,2,1\n3,2,1\n9,1,1\n"]


def _sentence(body: bytes) -> bytes:
    check = 0
    for byte in body:
        check ^= byte
    return b"$%s*%02X\r\n" % (body, check)


def _nmea_seeds(_: Path) -> list[bytes]:
    return [b"".join(_sentence(
        b"GPRMC,0000%02d.00,A,5200.0,N,00500.0,E,%d.5,0.0,040526,,,A" % (second, second))
        for second in range(8)) + _sentence(b"GPVTG,0.0,T,,M,4.0,N,7.4,K,A")]


def _csv_of_run(_: Path) -> list[bytes]:
    lines = (scratch() / "run" / RUN_CSV).read_bytes().split(b"\n")
    return [b"\n".join(lines), b"\n".join(lines[:2]) + b"\n", b"\n".join(lines[:4]) + b"\n"]


def _summaries(_: Path) -> list[bytes]:
    return [(scratch() / "run" / SUMMARY_JSON).read_bytes()]


def _recordings(_: Path) -> list[bytes]:
    return ["\n".join(json.dumps(body) for body in bodies).encode()
            for bodies in (_bodies(30), _bodies(1), _bodies(6) + _bodies(6))]


def _bodies(count: int) -> list[dict]:
    """What stands in a recording, each body on a line; the checksums follow the changes."""
    from app import telemetry

    bodies: list[dict] = [
        {"recording": 1, "started": "2026-05-04T06:30:00.000+00:00", "port": "x"},
        {"hello": {"firmware": "1", "board": "Rp2Board", "reset": "power",
                   "telemetry": list(telemetry.NAMES)}},
        {"settings": Settings().as_dict()}, {"totals": {"area_m2": 0}}]
    for tick in range(count):
        row = dict.fromkeys(telemetry.NAMES, 0) | {
            "tick": 2 * tick, "now_us": 100_000 * tick, "state": 2, "section_mask": 1,
            "width_mm": 1000, "rate_ml_ha": 100_000, "speed_mm_s": 2000, "flow_ul_s": 20_000}
        bodies.append({"telemetry": list(row.values())})
    return [*bodies, {"stopped": "2026-05-04T06:31:00.000+00:00"}]


def _recorded(directory: Path, data: bytes) -> None:
    """Bodies with their checksums made anew, so that the changes are looked at."""
    lines = []
    for number, body in enumerate(data.split(b"\n")):
        try:
            lines.append(record(number, body))
        except ValueError:
            lines.append(body + b"\n")
    _recording(directory, b"".join(lines))


def _sum_seeds(_: Path) -> list[bytes]:
    return [b"2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881  file\n",
            b"%064d *raw/x\n" % 0]


def _answers(_: Path) -> list[bytes]:
    return [b'{"answer": "ASKED", "to": -77, "telemetry": ["tick"], "firmware": "1", "board": "b", '
            b'"reset": "power", "values": {"a": 1}, "state": "ready", "missing": [], "faults": [], '
            b'"speed_mm_s": 1, "flow_ul_s": 1, "duty_u16": 1, "section_mask": 1, "rate_ml_ha": 1, '
            b'"applied_ml_ha": 1, "runs": []}\n{"telemetry": [1, 2, 3]}',
            b'{"error": "refused", "to": -77, "problems": ["x"]}']


def _pin_tables(_: Path) -> list[bytes]:
    return [path.read_bytes() for path in sorted(PINS_DIR.glob("*_pins.py"))]


def _pins(directory: Path, data: bytes) -> None:
    path = directory / "rp2_pins.py"
    path.write_bytes(data)
    findings(read_table(path), boards.board("rp2"))


LOADERS = {
    "pin table": Loader(_pin_tables, _pins),
    "scenario": Loader(_scenarios, _scenario),
    "plan": Loader(_plan_seeds, _plan),
    "zones": Loader(_zone_seeds, _zones),
    "zones.bin": Loader(_board_zone_seeds, _board_zones),
    "task data": Loader(lambda _: [_task_files()[XML_FILE]], _task),
    "time log": Loader(lambda _: [_task_files()[f"{LOG}.BIN"]], _task_log),
    "uncertainty": Loader(_knowledge_seeds, _knowledge),
    "mix": Loader(_mix_seeds, _mix),
    "settings": Loader(_settings_seeds, _settings),
    "earlier settings": Loader(_earlier_seeds, _earlier),
    "sizing": Loader(_sizing_seeds, _sizing),
    "job": Loader(_job_seeds, _job),
    "calibrate": Loader(_calibrations, _calibrate, names_file=False),
    "speed CSV": Loader(_csv_seeds, _speeds("input.csv")),
    "NMEA log": Loader(_nmea_seeds, _speeds("input.nmea")),
    "run.csv": Loader(_csv_of_run, _run(RUN_CSV)),
    "summary.json": Loader(_summaries, _run(SUMMARY_JSON)),
    "trace.bin": Loader(_trace_seeds, _trace),
    "recording": Loader(_recordings, _recorded),
    "plots of a board": Loader(_fetched_seeds, _fetched),
    "recording, raw": Loader(_recordings, _recording),
    "checksums": Loader(_sum_seeds, _sums),
    "link": Loader(_answers, _link, names_file=False),
}


def attempt(name: str, directory: Path, data: bytes) -> bool:
    """Load once; returns whether it was taken. Everything but plain words raises."""
    loader = LOADERS[name]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            loader.load(directory, data)
        except InputError as error:
            check_words(error, str(directory) if loader.names_file else "")
            return False
    return True


def check_words(error: InputError, place: str) -> None:
    """Every line has a text, can be printed, and begins with the file."""
    assert error.args
    for line in error.args:
        assert line.strip() and line == plain(line), line
        assert plain(place) in line, line
        line.encode()


def fuzz(name: str, examples: int, chance: int = 0, count: Counter[str] | None = None) -> None:
    """Try a loader on so many damaged inputs; the smallest that brings it down is raised."""
    loader = LOADERS[name]
    with tempfile.TemporaryDirectory() as place:
        directory = Path(place)
        seeds = loader.seeds(directory)

        @seed(chance)
        @settings(max_examples=examples, deadline=None, database=None,
                  phases=[Phase.generate, Phase.shrink],
                  suppress_health_check=list(HealthCheck))
        @given(st.sampled_from(range(len(seeds))), CHANGES)
        def run(which: int, changes: list[Change]) -> None:
            taken = attempt(name, directory, changed(seeds[which], changes))
            if count is not None:
                count["taken" if taken else "refused"] += 1

        for sound in seeds:
            with contextlib.suppress(InputError):
                loader.load(directory, sound)
        run()


BATCH = 500


def main() -> int:
    """Fuzz every loader and print how often each was run; 1 where something came through."""
    parser = argparse.ArgumentParser(prog="python -m tests.support.loader_fuzz",
                                     description=__doc__.split("\n")[0])
    parser.add_argument("examples", nargs="?", type=count_of, default=20_000)
    examples = parser.parse_args().examples
    found = 0
    for name in LOADERS:
        count: Counter[str] = Counter()
        for chance in range(-(-examples // BATCH)):
            if sys.stderr.isatty():
                print(f"\r{name:16} {count.total():>9,}", end="", file=sys.stderr)
            try:
                fuzz(name, BATCH, chance, count)
            except Exception as error:  # whatever it is, it is what is looked for
                found += 1
                print(f"\r{name}: seed {chance}: {type(error).__name__}: {plain(error)[:300]}")
                notes = getattr(error, "__notes__", [])
                print("\n".join(note[:1000] for note in notes))
                break
        if sys.stderr.isatty():
            print("\r", end="", file=sys.stderr)
        print(f"{name:16} {count.total():>9,} executions, {count['taken']:>9,} taken, "
              f"{count['refused']:>9,} refused in words", flush=True)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
