"""Speed traces: the shipped log, plain CSV, NMEA logs, and what is refused."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path

import pytest

import host_sim
from host_sim.common.errors import InputError
from host_sim.twin.speed_trace import read_speed_trace

LOG = host_sim.REPO_ROOT / "host_sim/data/combine-log-1hz.csv"
LOG_HEADER = "Obj. Id,Distance(m),Duration(s)\n"


def write(tmp_path: Path, text: str | bytes, name: str = "trace.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def sentence(body: str) -> str:
    """`$body*hh`: the checksum is the exclusive or of what stands between `$` and `*`."""
    total = 0
    for byte in body.encode():
        total ^= byte
    return f"${body}*{total:02X}\r\n"


def rmc(clock: str, knots: float, status: str = "A") -> str:
    return sentence(f"GPRMC,{clock},{status},4807.038,N,01131.000,E,{knots:.3f},,230394,,")


# The shipped log, against an independent reading of the file.


def test_shipped_log_is_joined_into_one_trace():
    with LOG.open(encoding="iso-8859-1", newline="") as file:
        rows = list(csv.DictReader(file))
    ids = [int(row["Obj. Id"]) for row in rows]
    runs = 1 + sum(after != before + 1 for before, after in pairwise(ids))
    trace = read_speed_trace(LOG)
    assert runs == 15
    assert trace.note == "recorded log, 15 runs joined 1 s apart"
    assert len(trace.time_s) == len(rows) == 1543
    assert trace.time_s == tuple(float(second) for second in range(1543))
    assert trace.speed_m_s == tuple(float(row["Distance(m)"]) for row in rows)
    assert 3.6 * min(trace.speed_m_s) == pytest.approx(5.6, abs=0.05)
    assert 3.6 * max(trace.speed_m_s) == pytest.approx(16.3, abs=0.05)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_cells_may_stand_between_what_a_spreadsheet_writes(tmp_path, separator):
    text = "time_s,speed_km_h\n0,3.6\n2,7.2\n".replace(",", separator)
    assert read_speed_trace(write(tmp_path, text)).speed_m_s == pytest.approx((1.0, 2.0))
    with pytest.raises(InputError, match="trace.csv:2: speed_km_h: .*: write the decimal sign as"):
        read_speed_trace(write(tmp_path, text.replace(".", ",")))


def test_log_speed_is_distance_over_duration_and_runs_are_a_second_apart(tmp_path):
    path = write(tmp_path, LOG_HEADER + "7,4,2\n8,6,2\n20,1,0.5\n21,2,0.5\n")
    trace = read_speed_trace(path)
    assert trace.time_s == (0.0, 2.0, 3.0, 3.5)
    assert trace.speed_m_s == (2.0, 3.0, 2.0, 4.0)
    assert "2 runs" in trace.note


# Plain CSV.


def test_between_samples_the_speed_is_linear(tmp_path):
    trace = read_speed_trace(write(tmp_path, "time_s,speed_m_s\n10,1\n12,3\n14,3\n"))
    assert trace.duration_s == 4.0
    assert [trace.at(time_s) for time_s in (0.0, 0.5, 2.0, 3.9)] == [1.0, 1.5, 3.0, 3.0]


@pytest.mark.parametrize(
    ("column", "value", "speed_m_s"),
    [
        ("speed_m_s", 2.5, 2.5),
        ("speed_km_h", 10, 10 / 3.6),
        ("speed_mph", 5, 2.2352),  # 1 mph = 0.44704 m/s exactly (NIST SP 811)
    ],
)
def test_units_and_further_columns(tmp_path, column, value, speed_m_s):
    text = f"\ufeffnote,{column},time_s\nx,{value},0\n\ny,{value},1\n"
    trace = read_speed_trace(write(tmp_path, text))
    assert trace.speed_m_s == pytest.approx((speed_m_s, speed_m_s), rel=1e-12)


# NMEA logs.


def test_nmea_log_of_one_hertz(tmp_path):
    # 22.4 kn is 11.524 m/s, as in the widely reproduced RMC example
    text = rmc("120000.00", 22.4) + rmc("120001.00", 0.2) + rmc("120002.50", 10.0)
    trace = read_speed_trace(write(tmp_path, text, "drive.nmea"))
    assert trace.time_s == (0.0, 1.0, 2.5)
    assert trace.speed_m_s == pytest.approx((11.524, 0.103, 5.144), abs=5e-4)
    assert trace.note == "NMEA log, 3 speed reports"


def test_nmea_vtg_takes_its_time_from_gga(tmp_path):
    text = ""
    for clock, knots in (("115958.00", 4.0), ("115959.00", 5.0), ("120000.00", 6.0)):
        text += sentence(f"GPGGA,{clock},4807.038,N,01131.000,E,1,08,0.9,545.4,M,,M,,")
        text += sentence(f"GPVTG,84.4,T,,M,{knots:.2f},N,,K,A")
    trace = read_speed_trace(write(tmp_path, text, "drive.nmea"))
    assert trace.time_s == (0.0, 1.0, 2.0)
    assert trace.speed_m_s == pytest.approx((2.058, 2.572, 3.087), abs=1e-3)


def test_nmea_log_over_midnight(tmp_path):
    text = rmc("235959.00", 4) + rmc("000000.00", 4) + rmc("000001.00", 4)
    assert read_speed_trace(write(tmp_path, text, "a.nmea")).time_s == (0.0, 1.0, 2.0)


def test_nmea_without_fix_or_damaged_is_bridged_and_counted(tmp_path):
    damaged = rmc("120002.00", 9).replace("4807", "4808")
    text = rmc("120000", 4) + rmc("120001", 9, "V") + damaged + "noise\r\n" + rmc("120004", 8)
    trace = read_speed_trace(write(tmp_path, text, "a.nmea"))
    assert trace.time_s == (0.0, 4.0)
    assert trace.at(2.0) == pytest.approx(6 * 1852 / 3600, abs=1e-3)
    assert trace.note.endswith("1 damaged")


# Refused, with file, line and field.


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", ":1: the header must name time_s"),
        ("time,speed\n0,1\n", ":1: the header must name time_s"),
        ("time_s,speed_m_s,speed_mph\n0,1,1\n", ":1: speed_mph: one speed column only"),
        ("time_s,speed_m_s\n", "needs at least 2 speed samples, found 0"),
        ("time_s,speed_m_s\n0,1\n", "found 1"),
        ("time_s,speed_m_s\n0,1\n1,x\n", ":3: speed_m_s: not a number: 'x'"),
        ("time_s,speed_m_s\n0,1\n1,nan\n", ":3: speed_m_s: not a number"),
        ("time_s,speed_m_s\n0,1\n,2\n", ":3: time_s: not a number"),
        ("time_s,speed_m_s\n0,1\n2,1\n1,1\n", ":4: time_s: time runs backwards"),
        ("time_s,speed_m_s\n0,1\n0,1\n", ":3: time_s: time runs backwards or stands still"),
        ("time_s,speed_m_s\n0,1\n1,-0.1\n", ":3: speed_m_s: a speed cannot be negative"),
        ("time_s,speed_m_s\n0,1\n1,20.1\n", ":3: speed_m_s: 20.1 m/s is faster than"),
        ("time_s,speed_m_s\n0,1\n1,2,3\n", ":3: has 3 values for 2 columns"),
        ("time_s,speed_m_s\n0,1\n0.1,1\n", "must last 1 s to 24 h"),
        ("time_s,speed_m_s\n0,1\n1e9,1\n", "must last 1 s to 24 h"),
        (b"time_s,speed_m_s\n0,1\n\0\xff", "is no text file"),
        (LOG_HEADER + "1,2,1\n2,2,0\n", ":3: Duration(s): must be above 0"),
        (LOG_HEADER + "1,2,1\n2,-2,1\n", ":3: Distance(m): a speed cannot be negative"),
        (LOG_HEADER + "1,2,1\n2,,1\n", ":3: Distance(m): not a number"),
    ],
)
def test_bad_csv_is_refused_in_one_line(tmp_path, text, says):
    path = write(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_speed_trace(path)
    assert str(caught.value).startswith(str(path))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "found 0"),
        ("no sentence at all\n", "found 0"),
        (sentence("GPVTG,84.4,T,,M,4.00,N,,K,A"), "VTG needs RMC or GGA"),
        (rmc("120005", 4) + rmc("120001", 4) + rmc("120006", 4), "time runs backwards"),
        (rmc("120000", 4) + rmc("120001", 90) + rmc("120002", 4), "is faster than"),
    ],
)
def test_bad_nmea_is_refused_in_one_line(tmp_path, text, says):
    path = write(tmp_path, text, "a.nmea")
    with pytest.raises(InputError) as caught:
        read_speed_trace(path)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_file_and_a_directory_are_refused(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(InputError, match="cannot be read"):
            read_speed_trace(path)
