"""The store: two slots, guarded writing, and a cut at every byte where files are not atomic."""

from app.files import MemorySlots
from app.kept_totals import pack
from app.link_frame import MAX_RECORD, parse, record
from app.store import NOT_ATTACHED, ONE_DAMAGED, OUTPUTS_ON, TOTALS_SLOTS, Store
from app.totals_taken_over import unpack
from rate_control.controller import Controller
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY
from rate_control.settings import COUNT, HIGH, NAME, TABLE, build
from rate_control.totals import Totals


class PlainFiles:
    """Files as bytes in a dict; a write is cut after `budget` bytes and raises."""

    def __init__(self):
        self.content = {}
        self.budget = -1
        self.writes = 0

    def read(self, name):
        return self.content.get(name, b"")

    def write(self, name, data):
        self.writes += 1
        if 0 <= self.budget < len(data):
            self.content[name] = data[: self.budget]
            raise OSError(5)
        self.content[name] = data


class Memory:
    """A byte-wise memory whose power fails after `budget` written bytes."""

    def __init__(self, size):
        self.size = size
        self.content = bytearray(size)
        self.budget = -1

    def read(self, offset, length):
        return bytes(self.content[offset : offset + length])

    def write(self, offset, data):
        for byte in data:
            if self.budget == 0:
                raise OSError(5)
            self.budget -= 1
            self.content[offset] = byte
            offset += 1


def controller():
    return Controller(build({})[0])


def make_store(files, retained=None):
    store = Store(files, retained)
    store.attach(controller())
    return store


def used_totals(litres=3):
    totals = Totals()
    for _ in range(litres):
        totals.add(1000000, 1000, 5, [1000] * 8, 2000)
    totals.add(0, 0, 0, [1000] * 8, 0)
    return totals


def loaded_totals(store):
    totals = Totals()
    store.load_totals(totals)
    return pack(totals)


def test_new_board_has_nothing():
    store = make_store(PlainFiles())
    assert store.load_settings() == {}
    assert loaded_totals(store) == pack(Totals())
    assert store.load_failure() == ""
    assert store.problems == {}


def test_what_was_saved_is_loaded():
    files = PlainFiles()
    store = make_store(files)
    settings = build({"rate_ml_ha": 123000, "section_count": 2})[0].as_dict()
    assert store.save_settings(settings) == ""
    assert store.save_totals(used_totals()) == ""
    assert store.save_failure("job: KeyError 'x'") == ""
    again = make_store(files)
    assert again.load_settings() == settings
    assert loaded_totals(again) == pack(used_totals())
    assert again.load_failure() == "job: KeyError 'x'"


def test_widest_settings_fit_in_a_record():
    widest = {}
    for entry in TABLE:
        value = entry[HIGH]
        widest[entry[NAME]] = value if entry[COUNT] == 1 else [value] * entry[COUNT]
    files = PlainFiles()
    assert make_store(files).save_settings(widest) == ""
    assert max(len(data) for data in files.content.values()) <= MAX_RECORD


def test_widest_totals_fit_in_a_record():
    totals = Totals()
    for register in [totals.volume, totals.area, totals.distance, totals.time,
                     totals.bench_volume] + totals.section_volume + totals.section_area:
        register.whole = (1 << 30) - 1
        register.part = register.base - 1
    files = PlainFiles()
    assert make_store(files).save_totals(totals) == ""
    assert loaded_totals(make_store(files)) == pack(totals)


def test_nothing_is_written_while_outputs_may_be_on():
    files = PlainFiles()
    store = Store(files)
    assert store.save_settings({"rate_ml_ha": 1000}) == NOT_ATTACHED
    machine = controller()
    store.attach(machine)
    for state in (APPLYING, BENCH):
        machine.interlock.state = state
        assert store.save_settings({"rate_ml_ha": 1000}) == OUTPUTS_ON
        assert store.save_totals(used_totals()) == OUTPUTS_ON
        assert store.save_failure("x") == OUTPUTS_ON
        assert machine.request.saving == 0
    assert files.content == {}
    for state in (PARKED, READY, FAULT):
        machine.interlock.state = state
        assert store.save_settings({"rate_ml_ha": 1000 + state}) == ""


def test_controller_is_held_during_a_write_and_only_then():
    files = PlainFiles()
    store = Store(files)
    machine = controller()
    store.attach(machine)
    seen = []
    plain_write = files.write

    def write(name, data):
        seen.append(machine.request.saving)
        plain_write(name, data)

    files.write = write
    assert store.save_failure("a") == ""
    files.budget = 3
    assert store.save_failure("b") != ""
    assert seen == [1, 1] and machine.request.saving == 0


def test_start_between_the_look_and_the_hold_is_seen():
    class Request:
        """Starts the outputs at the very moment of the hold, as a tick in between does."""

        @property
        def saving(self):
            return 0

        @saving.setter
        def saving(self, value):
            if value:
                machine.interlock.state = APPLYING

    files = PlainFiles()
    store = Store(files)
    machine = controller()
    machine.request = Request()
    store.attach(machine)
    assert store.save_failure("a") == OUTPUTS_ON
    assert files.content == {}


def test_unchanged_document_is_not_written_again():
    files = PlainFiles()
    store = make_store(files)
    for _ in range(3):
        assert store.save_totals(used_totals()) == ""
    assert files.writes == 1
    again = make_store(files)
    assert loaded_totals(again) == pack(used_totals())
    assert again.save_totals(used_totals()) == ""
    assert files.writes == 1


def test_cut_at_every_byte_leaves_the_old_or_the_new():
    files = PlainFiles()
    old, new = used_totals(3), used_totals(4)
    assert make_store(files).save_totals(old) == ""
    before = dict(files.content)
    length = max(len(data) for data in before.values())
    outcomes = []
    for budget in range(length + 20):
        files.content = dict(before)
        files.budget = budget
        saved = make_store(files).save_totals(new) == ""
        files.budget = -1
        found = loaded_totals(make_store(files))
        assert found == pack(new if saved else old)
        outcomes.append(saved)
        assert make_store(files).save_totals(new) == ""
        assert loaded_totals(make_store(files)) == pack(new)
    assert outcomes[0] is False and outcomes[-1] is True


def test_cut_at_every_byte_of_a_retained_memory():
    memory = Memory(2048)
    retained = MemorySlots(memory, TOTALS_SLOTS)
    old, new = used_totals(3), used_totals(4)
    assert Store(PlainFiles(), retained).save_totals(used_totals(2)) == ""
    assert Store(PlainFiles(), retained).save_totals(old) == ""
    before = bytes(memory.content)
    budget = 0
    saved = False
    while not saved:
        memory.content[:] = before
        memory.budget = budget
        saved = Store(PlainFiles(), retained).save_totals(new) == ""
        memory.budget = -1
        found = loaded_totals(Store(PlainFiles(), retained))
        assert found == pack(new if saved else old), budget
        budget += 1
    assert budget > 100


def test_retained_memory_takes_totals_while_outputs_are_on():
    files = PlainFiles()
    store = Store(files, MemorySlots(Memory(2048), TOTALS_SLOTS))
    machine = controller()
    store.attach(machine)
    machine.interlock.state = APPLYING
    assert store.save_totals(used_totals()) == ""
    assert files.content == {} and machine.request.saving == 0
    assert loaded_totals(store) == pack(used_totals())


def test_rate_goes_with_the_totals_and_old_totals_have_none():
    memory = MemorySlots(Memory(2048), TOTALS_SLOTS)
    for files, retained in ((PlainFiles(), None), (PlainFiles(), memory)):
        totals = used_totals()
        store = make_store(files, retained)
        assert store.save_totals(totals) == ""
        assert "rate_ml_ha" not in pack(totals)
        found = Totals()
        make_store(files, retained).load_totals(found)
        assert found.rate_ml_ha == 0 and found.volume.whole == totals.volume.whole
        totals.rate_ml_ha = 110000
        assert store.save_totals(totals) == ""
        found = Totals()
        make_store(files, retained).load_totals(found)
        assert found.rate_ml_ha == 110000 and pack(found) == pack(totals)


def test_rate_that_is_none_is_refused_and_its_totals_stay():
    for wrong in ([999], [5000001], [True], ["1"], [], [1000, 1000], 110000, None):
        values = pack(used_totals())
        values["rate_ml_ha"] = wrong
        totals = Totals()
        assert unpack(values, totals) == ["rate_ml_ha"], wrong
        assert totals.rate_ml_ha == 0 and pack(totals) == pack(used_totals())


def test_retained_memory_that_is_too_small_says_so():
    store = Store(PlainFiles(), MemorySlots(Memory(100), TOTALS_SLOTS))
    assert "cannot be written" in store.save_totals(used_totals())
    assert "totals" in store.problems


def test_generations_wrap():
    files = PlainFiles()
    files.content["failure.0"] = record(65534, b'{"text": "0"}')
    for step in range(1, 6):
        assert make_store(files).save_failure(str(step)) == ""
        assert make_store(files).load_failure() == str(step)
    assert max(parse(data[:-1])[0] for data in files.content.values()) == 3


def test_damaged_copies_are_reported():
    files = PlainFiles()
    assert make_store(files).save_settings({"rate_ml_ha": 5000}) == ""
    assert make_store(files).save_settings({"rate_ml_ha": 6000}) == ""
    files.content["settings.0"] = files.content["settings.0"][:-9] + b"x" * 9
    store = make_store(files)
    assert store.load_settings()["rate_ml_ha"] in (5000, 6000)
    assert store.problems["settings"] == ONE_DAMAGED
    assert store.save_settings({"rate_ml_ha": 6000}) == "" and not store.problems
    assert make_store(files).load_settings() == {"rate_ml_ha": 6000}
    files.content["settings.0"] = files.content["settings.0"][:-9] + b"x" * 9
    store = make_store(files)
    files.content["settings.1"] = b"\xff" * 300  # as a flash that was erased
    store = make_store(files)
    assert store.load_settings() == {} and "damaged" in store.problems["settings"]


def test_a_total_that_does_not_fit_begins_at_zero_and_the_others_stay():
    good = pack(used_totals())
    zero = pack(Totals())
    for name, wrong in (("volume", [1]), ("area", [1, 1000000]), ("time", [-1, 0]),
                        ("distance", [1 << 30, 0]), ("section_area", [0] * 15),
                        ("bench_volume", [True, 0]), ("volume", None), ("area", ["1", 2]),
                        ("section_volume", [1, 32000]), ("section_volume", [])):
        values = dict(good)
        values[name] = wrong
        totals = Totals()
        assert unpack(values, totals) == ([] if wrong == [] else [name]), name
        for other in good:
            assert pack(totals)[other] == (zero if other == name else good)[other], name
    files = PlainFiles()
    store = make_store(files)
    store._save(files, "totals", {"volume": [5, 5]})
    found = dict(files.content)
    totals = Totals()
    store = make_store(files)
    store.load_totals(totals)
    assert totals.volume.whole == 5 and "do not fit" in store.problems["totals"]
    assert store.save_totals(used_totals()) == "" and not store.problems
    assert found["totals.0"] in files.content["totals.aside"]


def test_failing_flash_is_reported_and_the_old_stays():
    files = PlainFiles()
    store = make_store(files)
    assert store.save_failure("first") == ""
    files.write = lambda name, data: None
    assert store.save_failure("second") == "reads back differently"
    assert make_store(files).load_failure() == "first"
