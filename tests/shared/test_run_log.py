"""The run log: a line a run, kept when outputs are off, found again after power-up."""

from app.run_log import SEGMENT_BYTES, SEGMENTS, RunLog
from app.run_log_page import PAGE, page
from app.store import Store
from rate_control.controller import Controller
from rate_control.interlock import APPLYING
from rate_control.settings import Settings
from tests.support.link_rig import ALL, MASTER, WORK, LinkRig


class PlainFiles:
    """Files as bytes in a dict."""

    def __init__(self):
        self.content = {}

    def read(self, name, offset=0, length=None):
        data = self.content.get(name, b"")
        return data[offset:] if length is None else data[offset:][:length]

    def write(self, name, data):
        self.content[name] = data

    def append(self, name, data):
        self.content[name] = self.content.get(name, b"") + data


class Rig(LinkRig):
    """A rig with a run log, followed ten times a second."""

    def __init__(self, files):
        store = Store(PlainFiles())  # of the settings, which are not looked at here
        store.attach(Controller(Settings()))
        assert store.save_settings(Settings().as_dict()) == ""  # it was set up
        super().__init__(store)
        self.files = files
        self.link.run_log = RunLog(store, files, self.application.ring)

    def run(self, ticks=100, flow_hz=40):
        """Apply for some ticks, then lift and wait until the run is over."""
        self.ticks(5, 0)
        for _ in range(ticks // 2):
            self.ticks(2, WORK, 400, flow_hz)
            self.link.run_log.poll()
        for _ in range(15):
            self.ticks(2, MASTER | ALL, 400, 0)
            self.link.run_log.poll()


def test_a_run_is_one_line():
    rig = Rig(PlainFiles())
    rig.run(200)
    runs = rig.ask("log.read")["runs"]
    assert len(runs) == 1
    run = runs[0]
    totals = rig.ask("totals.get")
    assert run["run"] == 0 and run["faults"] == ["off_curve"]
    assert run["distance_m"] == totals["distance_m"] > 20
    assert run["area_m2"] == totals["area_m2"]
    assert 9 <= run["time_s"] <= 10
    # 40 Hz at 450 pulses/L on 3 m at 3.0769 m/s: 88.9 mL/s on 9.23 m2/s, 96.3 L/ha
    assert abs(run["mean_ml_ha"] - 96300) < 2000


def test_nothing_is_written_while_applying():
    files = PlainFiles()
    rig = Rig(files)
    rig.ticks(5, 0)
    for _ in range(100):
        rig.ticks(2, WORK, 400, 40)
        rig.link.run_log.poll()
        if rig.state == APPLYING:
            assert not files.content
    rig.application.controller.interlock.state = APPLYING
    rig.link.run_log._end()
    rig.link.run_log.poll()
    assert not files.content


def test_fault_that_ends_a_run_is_named():
    rig = Rig(PlainFiles())
    rig.run(300, flow_hz=0)
    assert "flow_missing" in rig.ask("log.read")["runs"][0]["faults"]


def test_numbers_go_on_after_power_up():
    files = PlainFiles()
    for power_ups in range(3):
        rig = Rig(files)
        rig.run(40)
        rig.run(40)
        numbers = [run["run"] for run in rig.ask("log.read")["runs"]]
        assert numbers == list(range(min(2 * power_ups + 2, PAGE)))


def test_pages_and_the_oldest_file_makes_room():
    files = PlainFiles()
    rig = Rig(files)
    log = rig.link.run_log
    for _ in range(150):
        log._ticks = 1
        log._end()
        log.poll()
    assert sorted(files.content) == sorted(SEGMENTS)
    assert max(len(data) for data in files.content.values()) <= SEGMENT_BYTES
    numbers = []
    start = 0
    while True:
        page = rig.ask("log.read", **{"from": start})["runs"]
        if not page:
            break
        numbers += [run["run"] for run in page]
        start = numbers[-1] + 1
    assert numbers == list(range(numbers[0], 150))
    assert 3 * SEGMENT_BYTES // 200 < len(numbers) < 150
    log = RunLog(Store(files), files, rig.application.ring)
    assert log._number == 150


def test_line_that_was_cut_takes_no_other_with_it():
    files = PlainFiles()
    rig = Rig(files)
    rig.run(40)
    rig.run(40)
    files.content["runs.0"] = files.content["runs.0"][:-10]
    rig = Rig(files)
    rig.run(40)
    assert [run["run"] for run in rig.ask("log.read")["runs"]] == [0, 1]
    assert files.content["runs.0"].count(b"\n") == 3


def test_numbers_wrap():
    files = PlainFiles()
    log = RunLog(Store(files), files, LinkRig().application.ring)
    log._number = 65530
    for _ in range(12):
        log._ticks = 1
        log._end()
        log._write(log._waiting.pop())
    again = RunLog(Store(files), files, LinkRig().application.ring)
    assert again._number == 6
    assert [run["run"] for run in page(again, 65534)][:4] == [65534, 65535, 0, 1]


def test_runs_that_cannot_be_kept_are_reported():
    rig = Rig(PlainFiles())
    log = rig.link.run_log
    for _ in range(20):
        log._ticks = 1
        log._end()
    assert "not kept" in log.problem
