"""Makes what is beside this file: what earlier firmware kept, written by that very firmware.

    python tests/data/kept/make_kept.py

Each folder is named by the commit whose code wrote it. That code is taken out of the history into
a folder of its own and run there, on CPython: its store writes settings, totals and the text of a
failure, its run log writes two runs. A settings document is written twice, so that both slots are
in use. The same machine stands behind all of them; a setting that a firmware did not have is not
in its documents. desk holds what a person's computer kept, made the same way: a recording of a
board, a run of the twin, a settings file and a machine file. Nothing of this is made anew by a
build: the commits do not change any more.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[2]

# commit: what was new in what it kept
COMMITS = {
    "cce2576": "the first store; the volumes of the sections in mL and nL",
    "f09bab5": "look ahead, droop, lost time of a valve, rise of the duty; the run log",
    "ad97d59": "the source of the speed; the volumes of the sections in mL and 1/32 uL",
    "9647e6b": "the rate with the totals, and whether a person has taken the settings on",
    "1453498": "the highest rate; the last one without a version in its documents",
}

# A machine that was calibrated: nothing of it is a default.
SETTINGS = {
    "rate_ml_ha": 187000, "highest_rate_ml_ha": 400000, "section_count": 4,
    "section_width_mm": [760, 910, 905, 755, 1000, 1000, 1000, 1000],
    "liquid_density_g_l": 1280, "speed_source": 1, "speed_pulses_km": 131234,
    "speed_average_pulses": 6, "speed_timeout_ms": 1250, "speed_cutoff_mm_s": 310,
    "meter_pulses_hl": 43217, "meter_average_pulses": 3, "meter_timeout_ms": 1750,
    "meter_floor_ul_s": 6100, "meter_droop_ul_s": 740, "switch_debounce_ms": 100,
    "implement_start_delay_ms": 250, "implement_stop_delay_ms": 150, "actuator": 1,
    "curve_flow_ul_s": [1000, 21000, 44000, 67000, 91000, 113000, 139000, 160000, 181000],
    "curve_duty_u16": [9100, 16200, 23900, 30100, 37900, 44100, 51900, 58100, 64900],
    "curve_pressure_u16": 5200, "curve_gap_u16": 1300, "curve_share_ul_s": 77000,
    "duty_rise_ms": 400, "valve_travel_ms": 5300, "valve_min_pulse_ms": 55,
    "valve_lost_ms": 62, "valve_play_ms": 130, "curve_density_g_l": 1010,
    "curve_supply_mv": 13400, "loop_delay_ms": 180, "loop_lag_ms": 420, "look_ahead_ms": 350,
    "settling_time_ms": 2100, "rate_tolerance_permille": 80, "curve_tolerance_permille": 140,
    "rate_off_ms": 5500, "flow_missing_ms": 3500, "supply_low_mv": 11200, "us_units": 1,
    "bench_timeout_s": 420,
}  # fmt: skip
RATE_OF_THE_JOB = 212000
# whole units and parts below one: of the machine, and of each section in thousandths of a unit
TOTALS = {"volume": (1234, 567890), "area": (65432, 123456), "distance": (19876, 543),
          "time": (7654, 321), "bench_volume": (43, 210987)}
SECTION_VOLUME_UL = (308517123, 370220547, 366152220, 306123000)
SECTION_AREA_MM2 = (14960123456, 17912654321, 17814123123, 14861999999)

WRITER = """
import json, os, sys
sys.path[:0] = ["firmware", "."]
asked = json.loads(sys.argv[1])
from app.files import Files
from app.store import Store
from rate_control.controller import Controller
from rate_control.settings import build, row
from rate_control.totals import Totals

out = sys.argv[2] + "/"
settings, problems = build({n: v for n, v in asked["settings"].items() if row(n)})
assert not problems, problems
controller = Controller(settings)
store = Store(Files(out))
store.attach(controller)
earlier, problems = build({"meter_pulses_hl": 45678}, settings)
assert store.save_settings(earlier.as_dict()) == "" == store.save_settings(settings.as_dict())
totals = Totals()
for name, (whole, part) in asked["totals"].items():
    register = getattr(totals, name)
    register.whole, register.part = whole, part
for index, volume_ul in enumerate(asked["section_volume_ul"]):
    register = totals.section_volume[index]  # mL and parts of one, of whatever size
    register.whole, register.part = volume_ul // 1000, volume_ul % 1000 * register.base // 1000
for index, area_mm2 in enumerate(asked["section_area_mm2"]):
    register = totals.section_area[index]
    register.whole, register.part = area_mm2 // 1000000, area_mm2 % 1000000
if hasattr(totals, "rate_ml_ha"):
    totals.rate_ml_ha = asked["rate"]
assert store.save_totals(totals) == "" == store.save_failure("link: ValueError x")
if os.path.exists("tests/shared/test_run_log.py"):
    from tests.shared.test_run_log import PlainFiles, Rig
    files = PlainFiles()
    rig = Rig(files)
    rig.run(200)
    rig.run(100)
    for name, data in files.content.items():
        if name.startswith("runs."):
            open(out + name, "wb").write(data)
"""


# name in desk, commit, program that writes there
DESK = (
    ("recording.rec", "c24b24c", """
from tests.host.test_recorder import Scene
scene = Scene(out, 8)
scene.at = {20: scene.drive}
scene.run(200)
"""),
    ("run", "ad05b14", """
from host_sim.__main__ import main
(out.parent / "speed.csv").write_text("time_s,speed_m_s\\n0,0\\n2,2\\n8,2\\n")
assert main(["drive", "--speed-trace", str(out.parent / "speed.csv"), "--out", str(out)]) == 0
(out.parent / "speed.csv").unlink()
(out / "report.html").unlink()
"""),
    ("settings.toml", "c24b24c", """
import json
from host_sim.settings_file import to_toml
from rate_control.settings import build, row
asked = json.loads((out.parents[1] / "asked.json").read_text())["settings"]
settings, problems = build({name: asked[name] for name in asked if row(name)})
assert not problems
out.write_text(to_toml(settings, True))
"""),
    ("machine.toml", "d1bef97", """
from host_sim.machine_file.keeping import new_text
import json
from rate_control.settings import build, row
asked = json.loads((out.parents[1] / "asked.json").read_text())["settings"]
settings, problems = build({name: asked[name] for name in asked if row(name)})
assert not problems
out.write_text(new_text("kept", True, settings, how="by catch"))
"""),
)
AT_DESK = """
import sys
from pathlib import Path
sys.path[:0] = ["firmware", "."]
out = Path(sys.argv[1])
"""


def take_out(commit: str, folder: str) -> None:
    """Put the tree of a commit into a folder."""
    told = subprocess.run(["git", "archive", commit],
                          cwd=ROOT, capture_output=True, check=False)
    if told.returncode:
        raise SystemExit(told.stderr.decode())
    with tarfile.open(fileobj=io.BytesIO(told.stdout)) as archive:
        archive.extractall(folder, filter="data")


def main() -> None:
    """Write a folder for each commit, with a list of what was asked for beside them."""
    asked = json.dumps({"settings": SETTINGS, "totals": TOTALS, "rate": RATE_OF_THE_JOB,
                        "section_volume_ul": SECTION_VOLUME_UL,
                        "section_area_mm2": SECTION_AREA_MM2})
    (HERE / "asked.json").write_text(asked + "\n", encoding="utf-8")
    for commit in COMMITS:
        out = HERE / commit
        out.mkdir(exist_ok=True)
        for old in out.iterdir():
            old.unlink()
        with tempfile.TemporaryDirectory() as folder:
            take_out(commit, folder)
            subprocess.run([sys.executable, "-c", WRITER, asked, str(out)], cwd=folder, check=True)
    (HERE / "desk").mkdir(exist_ok=True)
    for name, commit, program in DESK:
        with tempfile.TemporaryDirectory() as folder:
            take_out(commit, folder)
            subprocess.run([sys.executable, "-c", AT_DESK + program, str(HERE / "desk" / name)],
                           cwd=folder, check=True, stdout=subprocess.DEVNULL)


if __name__ == "__main__":
    main()
