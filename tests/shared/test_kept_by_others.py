"""What another firmware kept: taken over without losing anything, or kept until that one is back.

tests/data/kept holds documents that earlier firmware wrote; make_kept.py there says how.
"""

import json

from app.files import MemorySlots
from app.kept_totals import pack
from app.link_frame import parse, record
from app.start_up import start_log
from app.store import NEWER, ONE_DAMAGED, SETTINGS, TOTALS, TOTALS_SLOTS, VERSION, VERSIONS, Store
from rate_control.controller import Controller
from rate_control.interlock import APPLYING
from rate_control.records import Request
from rate_control.settings import Settings, row
from rate_control.totals import Totals
from tests.shared.test_run_log import PlainFiles as Files
from tests.shared.test_store import Memory
from tests.support.link_rig import ALL, MASTER, LinkRig

FOLDER = "tests/data/kept/"
BEFORE_RUN_LOG = "cce2576"
OLD = (BEFORE_RUN_LOG, "f09bab5", "ad97d59", "9647e6b", "1453498")
CUT_EVERY = 197  # bytes; test_store.py cuts at every one
NAMES = ("settings.0", "settings.1", "totals.0", "failure.0", "runs.0")

with open(FOLDER + "asked.json") as file:
    ASKED = json.load(file)


class PowerCut(BaseException):
    """The power is gone: nothing in the firmware catches that."""


class CutFiles(Files):
    """Files whose power fails after `budget` bytes; the file then holds what came through."""

    def __init__(self, content):
        super().__init__()
        self.content = dict(content)
        self.budget = -1
        self.written = 0

    def _through(self, data):
        self.written += len(data)
        if self.budget < 0:
            return data
        through = data[: self.budget]
        self.budget -= len(through)
        return through

    def write(self, name, data):
        through = self._through(data)
        self.content[name] = through
        if len(through) < len(data):
            raise PowerCut

    def append(self, name, data):
        self.write_all(name, self.content.get(name, b""), data)

    def write_all(self, name, held, data):
        through = self._through(data)
        self.content[name] = held + through
        if len(through) < len(data):
            raise PowerCut


def kept_by(commit):
    """The files that the firmware of a commit left."""
    content = {}
    for name in NAMES:
        try:
            with open(FOLDER + commit + "/" + name, "rb") as file:
                content[name] = file.read()
        except OSError:
            assert name == "runs.0" and commit == BEFORE_RUN_LOG
    return content


def document(content, name):
    """The newest document of that name; generations do not wrap here."""
    found = [parse(content[slot].split(b"\n")[0]) for slot in (name + ".0", name + ".1")
             if content.get(slot)]
    return json.loads(max(found)[1])


def files_with(name, values):
    """Files of a machine that was set up by this firmware, but for one document."""
    files = CutFiles({})
    store = Store(files)
    store.attach(Controller(Settings()))
    assert store.save_settings(Settings().as_dict()) == ""
    content = dict(files.content)
    content[name + ".0"] = b""
    content[name + ".1"] = record(5, json.dumps(values).encode())
    return CutFiles(content)


class Rig(LinkRig):
    """An application that starts with these files."""

    def __init__(self, files):
        super().__init__(Store(files))
        self.link.run_log = start_log(self.application, files)

    @property
    def settings(self):
        return self.application.controller.settings

    @property
    def settings_state(self):
        return self.application.controller.request.settings_state

    def lacks(self):
        """What is missing before anything may move, first of all."""
        self.ticks(2, 0)
        return self.application.missing()[0]

    def save(self):
        """Let a second and a half pass at rest."""
        self.ticks(30, 0)


def totals_of(rig):
    totals = rig.application.controller.totals
    return {name: [getattr(totals, name).whole, getattr(totals, name).part]
            for name in ASKED["totals"]}


def check_machine(rig, commit):
    """Everything that the firmware of the commit kept is in force."""
    kept = document(kept_by(commit), SETTINGS)
    values = rig.settings.as_dict()
    for name in values:
        wanted = kept[name] if name in kept else getattr(Settings(), name)
        if name != "rate_ml_ha":
            assert values[name] == wanted, name
    assert kept["meter_pulses_hl"] == ASKED["settings"]["meter_pulses_hl"] != 45000
    has_rate = "rate_ml_ha" in document(kept_by(commit), TOTALS)
    rate = ASKED["rate"] if has_rate else ASKED["settings"]["rate_ml_ha"]
    assert rig.application.controller.request.rate_ml_ha == rate
    assert rig.settings_state == Request.TAKEN_ON
    assert totals_of(rig) == ASKED["totals"]
    sections = rig.application.controller.totals
    for index, volume_ul in enumerate(ASKED["section_volume_ul"]):
        register = sections.section_volume[index]
        assert register.whole == volume_ul // 1000
        assert abs(register.part * 1000 // register.base - volume_ul % 1000) <= 1
    assert [register.whole for register in sections.section_area[:4]] == [
        area // 1000000 for area in ASKED["section_area_mm2"]]


def test_every_earlier_firmware_is_taken_over():
    for commit in OLD:
        files = CutFiles(kept_by(commit))
        rig = Rig(files)
        check_machine(rig, commit)
        kept = document(kept_by(commit), SETTINGS)
        new = [name for name in rig.settings.as_dict() if name not in kept]
        told = rig.application.notes
        assert len([text for text in told if text.startswith("new, at its default: ")]) == len(new)
        assert rig.ask("faults.get")["notes"][:7] == told[:7]
        assert "totals of an older firmware taken over" in told
        assert rig.application.failure == "link: ValueError x"
        rig.save()
        assert document(files.content, SETTINGS)[VERSION] == VERSIONS[SETTINGS]
        assert document(files.content, TOTALS)[VERSION] == VERSIONS[TOTALS]
        assert "settings.aside" not in files.content, "all of it is in use"
        log = rig.ask("log.read")["runs"]
        assert [line["run"] for line in log] == ([0] if commit == BEFORE_RUN_LOG else [0, 1, 2])
        assert log[-1]["notes"] == rig.application.notes
        again = Rig(files)
        check_machine(again, commit)
        assert again.application.notes == [], "it is told once"
        if again.settings.speed_source == 0:
            again.apply()
            assert again.state == APPLYING


def test_a_power_cut_anywhere_in_the_conversion_costs_nothing():
    commit = BEFORE_RUN_LOG
    files = CutFiles(kept_by(commit))
    Rig(files).save()
    length = files.written
    assert length > 1500
    for budget in range(3, length, CUT_EVERY):
        files = CutFiles(kept_by(commit))
        files.budget = budget
        try:
            Rig(files).save()
            raise AssertionError("the power should have failed")
        except PowerCut:
            pass
        files.budget = -1
        rig = Rig(files)
        check_machine(rig, commit)
        # a file system that tears files leaves one copy damaged; the other one was used
        assert rig.application.failure in ("link: ValueError x", "settings: " + ONE_DAMAGED)
        rig.save()
        check_machine(Rig(files), commit)


def calibrated(**changes):
    """Settings of this firmware, with what the machine of ASKED learned."""
    values = Settings().as_dict()
    values.update(ASKED["settings"])
    values.update(changes)
    return values


def test_an_unknown_setting_is_put_aside_and_found_again():
    values = calibrated(nozzle_heat_mk=281500)
    files = files_with(SETTINGS, values)
    found = dict(files.content)
    rig = Rig(files)
    assert rig.settings.meter_pulses_hl == values["meter_pulses_hl"]
    assert rig.settings_state == Request.TAKEN_ON
    assert rig.ask("faults.get")["notes"] == ["unknown, put aside: nozzle heat mk"]
    rig.save()
    assert "nozzle_heat_mk" not in document(files.content, SETTINGS)
    assert found["settings.1"] in files.content["settings.aside"]
    assert rig.ask("settings.aside")["values"]["nozzle_heat_mk"] == 281500
    # the same the other way round: a setting that an older firmware had put aside is taken back
    values = document(files.content, SETTINGS)
    del values["meter_pulses_hl"]
    files.content["settings.0"] = record(9, json.dumps(values).encode())
    rig = Rig(files)
    assert rig.settings.meter_pulses_hl == ASKED["settings"]["meter_pulses_hl"]
    assert rig.application.notes == ["taken back: meter pulses"]


def test_a_cut_between_what_goes_aside_and_the_save_loses_neither():
    values = calibrated(nozzle_heat_mk=281500)
    files = files_with(SETTINGS, values)
    before = dict(files.content)
    Rig(files).save()
    for budget in range(3, files.written, 2 * CUT_EVERY):
        files = CutFiles(before)
        files.budget = budget
        try:
            Rig(files).save()
        except PowerCut:
            pass
        files.budget = -1
        rig = Rig(files)
        assert rig.settings.meter_pulses_hl == values["meter_pulses_hl"]
        rig.save()
        assert rig.ask("settings.aside")["values"]["nozzle_heat_mk"] == 281500, budget


def test_lists_of_another_number_of_sections_are_fitted():
    for widths in (ASKED["settings"]["section_width_mm"] * 2, [760, 910, 905, 755]):
        files = files_with(SETTINGS, calibrated(section_width_mm=widths))
        rig = Rig(files)
        assert rig.settings.widths_mm() == [760, 910, 905, 755]
        assert len(rig.settings.section_width_mm) == row("section_width_mm")[2]
        assert rig.settings_state == Request.TAKEN_ON
        assert rig.application.notes == ["list fitted: section width"]
        rig.save()
        assert ("settings.aside" in files.content) == (len(widths) > 8)
    totals = pack(Totals())
    totals["volume"] = [77, 5]
    totals["section_volume"] = [3, 4] * 16
    totals["section_area"] = [6, 7] * 4
    rig = Rig(files_with(TOTALS, totals))
    found = rig.application.controller.totals
    assert found.volume.whole == 77 and rig.ask("totals.get")["section_volume_ml"] == [3] * 8
    assert rig.ask("totals.get")["section_area_m2"] == [6] * 4 + [0] * 4
    assert rig.application.failure == "totals: do not fit, begun at zero: section_volume"


def test_what_does_not_fit_is_put_aside_and_blocks_and_the_rest_stays():
    cases = (
        ({"section_count": 12, "section_width_mm": [500] * 16}, {"section_count"}),
        ({"curve_duty_u16": list(range(10000, 21000, 1000))}, {"curve_duty_u16"}),
        ({"loop_lag_ms": 9000, "us_units": "yes"}, {"loop_lag_ms", "us_units"}),
        ({"meter_floor_ul_s": 400000}, {"meter_floor_ul_s"}),
    )
    for changes, lost in cases:
        files = files_with(SETTINGS, calibrated(**changes))
        before = dict(files.content)
        rig = Rig(files)
        told = rig.application.failure.split("defaults: ")[1].split(", ")
        assert lost <= set(told), told
        for name in ASKED["settings"]:
            wanted = getattr(Settings(), name) if name in told else ASKED["settings"][name]
            assert getattr(rig.settings, name) == wanted, name
        assert len(told) <= 2
        assert rig.lacks() == "settings lost"
        rig.save()
        assert files.content["settings.1"] == before["settings.1"], "nobody has looked yet"
        assert rig.application.take_on(confirmed_at_machine=True) == ""
        rig.save()
        assert before["settings.1"] in files.content["settings.aside"]
        aside = Rig(files).ask("settings.aside")["values"]
        for name in changes:
            assert aside[name] == changes[name]


def test_a_rate_above_the_highest_is_told():
    files = files_with(SETTINGS, calibrated(rate_ml_ha=500000, us_units=0))
    rig = Rig(files)
    assert rig.application.controller.request.rate_ml_ha == 400000
    assert rig.settings_state == Request.TAKEN_ON
    assert rig.application.notes == ["rate above the highest: set to that"]
    # kept with the totals, and the highest rate has been lowered since
    totals = pack(Totals())
    totals["rate_ml_ha"] = [350000]
    for us, told in ((0, "kept rate 350.0 L/ha is too high: it is 100.0 L/ha now"),
                     (1, "kept rate 37.42 gal/ac is too high: it is 10.69 gal/ac now")):
        files = files_with(TOTALS, totals)
        values = Settings().as_dict()
        values["highest_rate_ml_ha"] = 120000
        values["us_units"] = us
        files.content["settings.0"] = record(9, json.dumps(values).encode())
        rig = Rig(files)
        assert rig.ask("faults.get")["notes"][-1] == told
        assert rig.ask("status")["rate_ml_ha"] == 100000
        rig.save()
        assert rig.ask("log.read")["runs"][0]["notes"][-1] == told
        assert document(files.content, TOTALS)["rate_ml_ha"] == [100000]
        assert Rig(files).application.notes == []


def newer(values):
    values = dict(values)
    values[VERSION] = 99
    values["meter_pulses_hl"] = 12345  # whatever that means by then
    return values


def test_settings_of_a_newer_firmware_are_refused_and_kept():
    files = files_with(SETTINGS, newer(ASKED["settings"]))
    before = dict(files.content)
    rig = Rig(files)
    assert rig.settings.meter_pulses_hl == Settings().meter_pulses_hl
    assert rig.lacks() == "settings lost"
    assert rig.ask("faults.get")["store"] == {SETTINGS: NEWER}
    rig.save()
    rig.ticks(30, MASTER | ALL)
    assert {name: files.content[name] for name in before} == before
    # only a person who sets this machine up again writes over it, and then it is kept aside
    assert rig.application.change_settings({"section_count": 2}) == []
    assert rig.application.take_on(confirmed_at_machine=True) == ""
    rig.save()
    assert before["settings.1"] in files.content["settings.aside"]
    assert document(files.content, SETTINGS)["section_count"] == 2
    assert Rig(files).ask("settings.aside")["values"] == {}, "what it means is not known here"


def test_totals_of_a_newer_firmware_are_kept_before_they_are_written_over():
    values = pack(Totals())
    values[VERSION] = 99
    line = record(5, json.dumps(values).encode())
    files = files_with(TOTALS, values)
    rig = Rig(files)
    assert rig.application.failure == "totals: " + NEWER
    rig.save()
    assert files.content["totals.1"] == line and "totals.aside" not in files.content
    rig.apply()
    rig.ticks(40, 0)
    assert line in files.content["totals.aside"]
    assert document(files.content, TOTALS)["distance"][0] > 0


def test_a_retained_memory_waits_until_they_are_aside():
    values = pack(Totals())
    values[VERSION] = 99
    line = record(5, json.dumps(values).encode())
    memory = MemorySlots(Memory(2048), TOTALS_SLOTS)
    memory.write("totals.0", line)
    files = CutFiles({})
    store = Store(files, memory)
    machine = Controller(Settings())
    store.attach(machine)
    store.load_totals(Totals())
    machine.interlock.state = APPLYING
    used = Totals()
    used.volume.whole = 3
    assert store.save_totals(used) == "outputs are on" and files.content == {}
    machine.interlock.state = 0
    assert store.save_totals(used) == ""
    assert line in files.content["totals.aside"]
    machine.interlock.state = APPLYING
    used.volume.whole = 4
    assert store.save_totals(used) == ""


def test_damaged_copies_go_aside_too():
    files = files_with(SETTINGS, {})
    files.content["settings.1"] = b'2 5 {"meter_pulses_hl": 43217} 0000\n'
    rig = Rig(files)
    assert rig.lacks() == "settings lost"
    assert rig.application.take_on(confirmed_at_machine=True) == ""
    rig.save()
    assert b'2 5 {"meter_pulses_hl": 43217} 0000' in files.content["settings.aside"]
    assert rig.ask("settings.aside")["values"] == {}


def test_long_lines_of_the_log_make_short_pages():
    files = CutFiles({})
    rig = Rig(files)
    log = rig.link.run_log
    for number in range(5):
        log.note(["%d: " % number + "x" * 90] * 8)
        rig.ticks(4, 0)
        log.poll()
    found = []
    start_at = 0
    while True:
        page = rig.ask("log.read", **{"from": start_at})["runs"]
        if not page:
            break
        assert len(page) < 5
        found.extend([line["run"] for line in page])
        start_at = page[-1]["run"] + 1
    assert found == [0, 1, 2, 3, 4]
