"""The link over a pipe: every request, every refusal, telemetry, and a slow other side."""

import json

from app import link_handlers, link_requests, position, telemetry
from app.link_frame import MAX_RECORD, crc16, parse, record
from app.link_requests import ARGUMENTS, STATES, TABLE
from app.trace_more import widen
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY
from rate_control.settings import COUNT, HIGH, NAME
from rate_control.settings import TABLE as SETTINGS
from rate_control.totals import Totals
from rate_control.trace import FIELDS
from tests.support.link_rig import ALL, DOWN, MASTER, WORK, LinkRig

# Arguments with which each request that needs some is answered.
GOOD = {
    "display.units": {"us": 1},
    "telemetry.set": {"every_ticks": 0},
    "rate.set": {"rate_ml_ha": 100000},
    "regulation.set": {"regulation": "closed_loop"},
    "settings.set": {"values": {"settling_time_ms": 2000}},
    "procedure.begin": {"procedure": "course"},
    "procedure.act": {"action": "mark"},
}


def test_hello_names_the_telemetry():
    answer = LinkRig().ask("hello")
    assert answer["answer"] == "hello"
    assert tuple(answer["telemetry"]) == telemetry.NAMES
    rig = LinkRig()
    widen(rig.application.ring, position.NAMES)
    assert tuple(rig.ask("hello")["telemetry"]) == telemetry.NAMES + position.NAMES
    assert answer["reset"] == "power"


def test_every_request_is_answered_or_refused_in_words():
    rig = LinkRig()
    for entry in TABLE:
        answer = rig.ask(entry[0], **GOOD.get(entry[0], {}))
        if "error" in answer:
            assert answer["error"] == "refused" and answer["problems"], answer
        else:
            assert answer["answer"] == entry[0]


def test_settings_sent_again_and_again_never_arm_a_switch_that_bounces():
    send_settings_while_the_master_bounces(150)  # and thousands in tests/host/firmware


def send_settings_while_the_master_bounces(requests):
    """A change of settings must be no new throw of the dice: one sample in a hundred reads off."""
    rig = LinkRig()
    noise = 1
    taken = 0
    for step in range(requests):
        answer = rig.ask("settings.set", values={"settling_time_ms": 1500 + step % 2})
        taken += "error" not in answer
        for _ in range(4):
            noise = (noise * 1103515245 + 12345) % 2**31
            bad = (noise >> 8) % 100 == 0
            rig.ticks(1, WORK & ~MASTER if bad else WORK, 400, 40)
            assert rig.state == PARKED, step
            assert (rig.board.duty_u16, rig.board.section_mask) == (0, 0)
    assert taken == requests
    rig.apply()
    assert rig.state == APPLYING


def test_one_off_sample_at_power_up_does_not_arm():
    for debounce_ms in (0, 50, 500):
        rig = LinkRig()
        rig.ask("settings.set", values={"switch_debounce_ms": debounce_ms})
        rig.ticks(1, WORK & ~MASTER, 400, 40)
        rig.ticks(60, WORK, 400, 40)
        assert rig.state == PARKED
        assert (rig.board.duty_u16, rig.board.section_mask) == (0, 0)


def test_every_request_keeps_to_its_states():
    rigs = {PARKED: LinkRig(), READY: LinkRig(), APPLYING: LinkRig(), BENCH: LinkRig(),
            FAULT: LinkRig()}
    rigs[READY].ticks(5, 0)
    rigs[READY].ticks(5, MASTER | ALL)
    rigs[APPLYING].apply()
    rigs[BENCH].bench()
    rigs[FAULT].apply()
    rigs[FAULT].ticks(200, WORK, 400, 0)
    for state in rigs:
        rig = rigs[state]
        assert rig.state == state
        for entry in TABLE:
            answer = rig.ask(entry[0], **GOOD.get(entry[0], {}))
            permitted = bool(entry[STATES] >> state & 1)
            assert (answer.get("error") == "state") == (not permitted), (state, answer)
            assert rig.state == state or entry[0] == "settings.set", entry[0]


def test_wrong_arguments_are_all_listed():
    rig = LinkRig()
    answer = rig.ask("rate.set", rate="x", rate_ml_ha="fast")
    assert answer["error"] == "arguments"
    assert len(answer["problems"]) == 2
    assert rig.ask("rate.set")["problems"] == ["rate_ml_ha: is missing"]
    for wrong in (None, True, -1, 1.5, "5", [], {}, 1 << 30, 10**30):
        assert rig.ask("rate.set", rate_ml_ha=wrong)["error"] == "arguments", wrong
        assert rig.ask("log.read", **{"from": wrong})["error"] == "arguments", wrong
    for wrong in (None, 1, [], [1], "x"):
        assert rig.ask("settings.set", values=wrong)["error"] == "arguments", wrong
    for wrong in (1, "x", [1], [None], {}):
        assert rig.ask("settings.get", names=wrong)["error"] == "arguments", wrong


def test_unknown_requests():
    rig = LinkRig()
    for name in ("", "start", "arm", "bench", "x" * 300, 7, None, [], {"do": 1}):
        answer = rig.ask(name)
        assert answer["error"] == "unknown", name
        assert len(answer["problems"][0]) < 100


def test_settings_are_changed_whole_or_not_at_all():
    rig = LinkRig()
    before = rig.ask("settings.get")["values"]
    answer = rig.ask("settings.set", values={"section_count": 2, "settling_time_ms": 5, "x": 1})
    assert answer["error"] == "refused" and len(answer["problems"]) == 2
    assert rig.ask("settings.get")["values"] == before
    assert rig.ask("settings.set", values={"section_count": 2})["answer"] == "settings.set"
    assert rig.ask("settings.get", names=["section_count"])["values"] == {"section_count": 2}
    assert rig.ask("settings.undo")["answer"] == "settings.undo"
    assert rig.ask("settings.get")["values"] == before
    assert rig.ask("settings.get", names=["nonsense"])["error"] == "refused"


def test_widest_settings_fit_in_a_request_and_in_an_answer():
    widest = {}
    for entry in SETTINGS:
        value = entry[HIGH]
        widest[entry[NAME]] = value if entry[COUNT] == 1 else [value] * entry[COUNT]
    answer = {"values": widest, "answer": "settings.get", "to": 65535}
    request = {"do": "settings.set", "values": widest}
    for body in (answer, request):
        assert len(record(65535, json.dumps(body).encode())) <= MAX_RECORD


def test_many_problems_are_cut():
    rig = LinkRig()
    answer = rig.ask("settings.set", values={"nothing%d" % n: 0 for n in range(40)})
    assert answer["error"] == "refused"
    assert len(answer["problems"]) == link_handlers.LINES + 1
    assert answer["problems"][-1] == "and 32 more"


def test_rate_may_change_while_applying_but_settings_may_not():
    rig = LinkRig()
    rig.apply()
    assert rig.ask("rate.set", rate_ml_ha=50000)["answer"] == "rate.set"
    rig.ticks(2, WORK, 400, 40)
    assert rig.application.controller.request.rate_ml_ha == 50000
    assert rig.state == APPLYING
    assert rig.ask("settings.set", values={"section_count": 2})["error"] == "state"
    assert rig.ask("totals.clear")["error"] == "state"
    assert rig.ask("rate.set", rate_ml_ha=0)["error"] == "refused"


def test_settings_by_link_ask_for_the_master_switch():
    rig = LinkRig()
    rig.ticks(5, 0)
    rig.ticks(5, MASTER | DOWN | ALL)
    assert rig.state == READY
    assert "answer" in rig.ask("settings.set", values={"settling_time_ms": 2000})
    rig.ticks(60, WORK, 400, 40)
    assert rig.state == PARKED and rig.board.duty_u16 == 0


def test_procedure_from_begin_to_keep():
    rig = LinkRig()
    rig.ticks(5, 0)
    assert rig.ask("procedure.act", action="mark")["error"] == "refused"
    begun = rig.ask("procedure.begin", procedure="course", parameters={"distance_mm": 100000})
    assert begun["answer"] == "procedure.begin"
    assert rig.ask("procedure.begin", procedure="course")["error"] == "refused"
    for _ in range(4):
        assert "answer" in rig.ask("procedure.act", action="mark")
        rig.ticks(640, 0, 400)
        assert "answer" in rig.ask("procedure.act", action="mark")
    assert "answer" in rig.ask("procedure.act", action="complete")
    answer = rig.ask("procedure.get")
    assert answer["procedure"] == "course" and answer["state"] == "done"
    assert list(answer["proposal"]) == ["speed_pulses_km"]
    facts = rig.ask("procedure.facts")
    assert facts["count"] == len(facts["facts"]) == answer["facts"] > 0
    assert rig.ask("procedure.facts", **{"from": (1 << 30) - 1})["facts"] == []
    assert rig.ask("procedure.keep")["answer"] == "procedure.keep"
    assert rig.application.controller.settings.speed_pulses_km == 640 * 20 * 10


def test_procedure_that_drives_waits_for_the_machine():
    rig = LinkRig()
    rig.bench()
    assert rig.ask("procedure.begin", procedure="step_test")["answer"] == "procedure.begin"
    rig.ticks(20, MASTER | ALL)
    assert rig.application.controller.procedure is None
    assert rig.board.duty_u16 == 0
    assert rig.ask("procedure.get")["asked"] == "step_test"
    assert rig.ask("status")["asked"] == "step_test"
    name, parameters = rig.application.asked
    assert rig.application.begin_procedure(name, parameters, confirmed_at_machine=True) == ""
    for action in ("mark", "enter", "complete", "take_back"):
        assert rig.ask("procedure.act", action=action)["error"] == "refused"
    assert rig.ask("procedure.stop")["answer"] == "procedure.stop"
    assert rig.ask("procedure.get")["state"] == "stopped"


def test_totals_and_faults():
    rig = LinkRig()
    rig.apply()
    rig.ticks(40, WORK, 400, 40)
    totals = rig.ask("totals.get")
    assert totals["distance_m"] > 0
    rig.ticks(200, WORK, 400, 0)
    assert rig.state == FAULT
    totals = rig.ask("totals.get")  # at rest the sections have all of their parts
    assert 0 <= totals["area_m2"] - sum(totals["section_area_m2"]) < len(totals["section_area_m2"])
    faults = rig.ask("faults.get")["faults"]
    assert ["flow_missing", 1] in [[fault["name"], fault["blocking"]] for fault in faults]
    assert "flow_missing" in rig.ask("status")["faults"]
    assert rig.ask("totals.clear")["answer"] == "totals.clear"
    assert rig.ask("totals.get")["distance_m"] == 0


def test_no_run_log_is_said():
    assert LinkRig().ask("log.read")["error"] == "refused"


def test_lines_that_are_no_requests():
    rig = LinkRig()
    for line, word in ((b"help", "checksum"), (b"1 1 {} 0000", "checksum"),
                       (b"\x03\x01\x04", "checksum"), (b"x" * (2 * MAX_RECORD), "too_long"),
                       (framed(b"2 1 {}"), "version"), (framed(b"1 x {}"), "malformed")):
        rig.send(line + b"\n")
        assert rig.bodies() == [{"error": word, "to": None}], line
    for body in (b"7", b"[]", b'"do"', b"{", b"{}}", b"nul", b"[[[[[[[[[[[[[[[[[[[[", b"-",
                 b'{"do": ' + b"[" * 1500 + b"]" * 400 + b"}"):
        rig.send(record(9, body))
        assert rig.bodies() == [{"error": "malformed", "to": 9}], body
    for line in (b"", b"\r", b"\r\n\r"):
        rig.send(line + b"\n")
        assert rig.bodies() == []


def framed(text):
    """A line with a right checksum around any text."""
    return text + b" %04X" % crc16(text, len(text))


def test_records_that_are_no_requests_are_not_answered():
    """Otherwise an echo, or two links on one line, would answer each other for ever."""
    rig = LinkRig()
    rig.ask("telemetry.set", every_ticks=1)
    rig.ticks(3, 0)
    rig.ask("telemetry.set", every_ticks=0)
    rig.send(b"nonsense\n")
    rig.send(record(3, b'{"do": "status"}'))
    echoes = rig.pipe.take_lines()
    assert len(echoes) >= 2
    for line in echoes:
        rig.send(line + b"\n")
    assert rig.bodies() == []


def test_repeated_request_is_answered_again_but_done_once():
    rig = LinkRig()
    rig.application.controller.totals.volume.add(5)
    request = record(40, b'{"do": "totals.clear"}')
    rig.send(request)
    assert rig.bodies() == [{"answer": "totals.clear", "to": 40}]
    rig.application.controller.totals.volume.add(7)
    rig.send(b"noise\n")
    rig.send(request)
    assert rig.bodies()[-1] == {"answer": "totals.clear", "to": 40}
    assert rig.application.controller.totals.volume.part == 7
    rig.send(record(41, b'{"do": "totals.clear"}'))
    assert rig.application.controller.totals.volume.part == 0


def test_request_that_fails_inside_is_reported():
    rig = LinkRig()
    rig.application.controller.totals = None
    answer = rig.ask("totals.get")
    assert answer["error"] == "internal" and "Error" in answer["problems"][0]
    rig.application.controller.totals = Totals()
    assert rig.ask("totals.get")["volume_ml"] == 0


def test_stream_or_memory_that_fails_is_counted():
    rig = LinkRig()
    for error in (OSError(5), MemoryError()):

        def fail(_, error=error):
            raise error

        rig.pipe.read = fail
        rig.link.poll()
    assert rig.link.failures == 2


def test_telemetry_comes_ten_times_a_second():
    rig = LinkRig()
    rig.ask("telemetry.set", every_ticks=2)
    rig.ticks(40, 0)
    lines = [body["telemetry"] for body in rig.bodies()]
    assert len(lines) == 20
    ticks = [line[0] for line in lines]
    assert ticks == list(range(ticks[0], ticks[0] + 40, 2))
    assert all(len(line) == len(telemetry.NAMES) for line in lines)
    rig.ask("telemetry.set", every_ticks=0)
    rig.ticks(10, 0)
    assert rig.bodies() == []
    assert rig.ask("telemetry.set", every_ticks=telemetry.EVERY_MAX + 1)["error"] == "refused"


def test_telemetry_carries_the_trace_and_sums():
    rig = LinkRig()
    rig.ask("telemetry.set", every_ticks=1)
    rig.ticks(5, 0)
    distance = volume = 0
    rig.bodies()
    start = None
    for _ in range(100):
        rig.ticks(1, WORK, 400, 40)
        line = rig.application.controller.trace
        record_line = dict(zip(telemetry.NAMES, rig.bodies()[-1]["telemetry"]))
        distance += line[FIELDS.index("distance_mm")]
        volume += line[FIELDS.index("volume_ul")]
        for name, number in zip(FIELDS, line):
            if name not in telemetry.SUMS:
                assert record_line[name] == number, name
        sums = (record_line["distance_sum_mm"] - distance, record_line["volume_sum_ul"] - volume)
        start = start or sums
        assert sums == start
    assert distance > 0 and volume > 0
    assert record_line["rate_ml_ha"] == rig.application.controller.request.rate_ml_ha


def test_telemetry_at_its_longest_fits():
    rig = LinkRig()
    rig.link.telemetry.every = 1
    rig.link.telemetry.dropped = (1 << 30) - 1
    widen(rig.application.ring, position.NAMES + ("one_more",))
    rig.ticks(1, 0, polls=0)
    line = rig.application.ring.newest()
    for index in range(len(line)):
        line[index] = -(1 << 30) + 1
    rig.application.ring.count = (1 << 30) - 1
    rig.link.telemetry._reader = (1 << 30) - 2
    rig.application.ring.lines[((1 << 30) - 2) % rig.application.ring.LINES] = line
    rig.link.poll()
    lines = rig.pipe.take_lines()
    assert len(lines) == 1 and len(lines[0]) < telemetry.SIZE
    assert json.loads(parse(lines[0])[1])["telemetry"][0] == (1 << 30) - 2


def test_slow_line_drops_telemetry_and_not_answers():
    rig = LinkRig()
    rig.ask("telemetry.set", every_ticks=1)
    rig.pipe.room = 0
    rig.ticks(200, 0)
    rig.pipe.arrived.extend(record(77, b'{"do": "status"}'))
    rig.ticks(3, 0)
    rig.pipe.room = -1
    rig.ticks(200, 0)
    bodies = rig.bodies()
    assert [body["to"] for body in bodies if "to" in body] == [77]
    lines = [body["telemetry"] for body in bodies if "telemetry" in body]
    assert lines[-1][1] == rig.link.telemetry.dropped > 100
    ticks = [line[0] for line in lines]
    missing = ticks[-1] - ticks[0] + 1 - len(ticks)
    assert missing == rig.link.telemetry.dropped + rig.link.telemetry.lost
    # a line that only trickles still carries whole records
    rig.pipe.room = 0
    for _ in range(400):
        rig.pipe.room += 7
        rig.ticks(1, 0)
    assert all(parse(line) for line in rig.pipe.take_lines())


def test_requests_without_a_pause_do_not_keep_telemetry_off_the_line():
    """A line of 6400 bytes a second, on which the longest answer is asked for all the while."""
    rig = LinkRig()
    rig.ask("telemetry.set", every_ticks=2)
    rig.pipe.room = 0
    number = 100
    for _ in range(200):
        while len(rig.pipe.arrived) < 256:
            number += 1
            rig.pipe.arrived.extend(record(number, b'{"do": "settings.get"}'))
        rig.pipe.room += 320
        rig.ticks(1, 0, polls=10)
    bodies = rig.bodies()
    ticks = [body["telemetry"][0] for body in bodies if "telemetry" in body]
    assert rig.link.telemetry.dropped == 0
    assert ticks == list(range(ticks[0], ticks[-1] + 1, 2))
    assert len(ticks) > 90
    assert len([body for body in bodies if "to" in body]) > 10


def test_stalled_loop_counts_what_it_lost():
    rig = LinkRig()
    rig.ask("telemetry.set", every_ticks=1)
    rig.ticks(70, 0, polls=0)
    rig.ticks(100, 0, polls=2)
    lines = [body["telemetry"][0] for body in rig.bodies()]
    assert rig.link.telemetry.lost == 70 + 1 - rig.application.ring.KEPT
    assert lines == list(range(lines[0], lines[0] + len(lines)))


def test_request_in_pieces_and_many_at_once():
    rig = LinkRig()
    line = record(5, b'{"do": "status"}')
    for index in range(len(line)):
        rig.send(line[index : index + 1])
    assert [body["to"] for body in rig.bodies()] == [5]
    rig.send(b"".join([record(n, b'{"do": "status"}') for n in range(6, 16)]))
    for _ in range(40):
        rig.link.poll()
    assert [body["to"] for body in rig.bodies()] == list(range(6, 16))


def test_table_is_sound():
    assert len(link_requests.ROWS) == len(TABLE)
    for entry in TABLE:
        assert entry[STATES] and entry[STATES] < 64
        for name, kind, needed in entry[ARGUMENTS]:
            assert kind in link_requests.KINDS and needed in (0, 1) and name
