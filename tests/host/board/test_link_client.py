"""The client: answers matched to requests, refusals, retries, a lost line."""

import json

import pytest

from app.link_frame import record
from app.telemetry import NAMES
from host_sim.board.link_client import UNASKED, LinkLost, Refused
from host_sim.board.link_port import open_serial
from host_sim.common.errors import InputError
from tests.support.link_pair import Pair


def test_answers_and_refusals():
    pair = Pair()
    assert pair.client.ask("hello")["answer"] == "hello"
    with pytest.raises(Refused) as refused:
        pair.client.ask("settings.set", values={"section_count": 99})
    assert refused.value.word == "refused"
    assert "section_count" in str(refused.value)
    with pytest.raises(Refused, match="no such request"):
        pair.client.ask("arm")
    with pytest.raises(Refused, match="at most"):
        pair.client.ask("settings.set", values={"x": "y" * 3000})


def test_lost_request_is_sent_again():
    pair = Pair()
    pair.client.ask("hello")
    lost = [1, 1]
    pair.port.spoil = lambda data: b"" if data and lost and lost.pop() else data
    assert pair.client.ask("status")["answer"] == "status"
    assert not lost


def test_lost_answer_does_not_repeat_the_work():
    pair = Pair()
    pair.client.ask("hello")
    done = []
    clear = pair.rig.application.clear_totals
    pair.rig.application.clear_totals = lambda: done.append(1) or clear()
    pieces = []

    def lose_first_answer(data):
        if data:
            pieces.append(data)
        return b"" if len(pieces) == 2 else data

    pair.port.spoil = lose_first_answer
    assert pair.client.ask("totals.clear")["answer"] == "totals.clear"
    assert len(done) == 1 and len(pieces) >= 4


def test_silence_is_reported():
    pair = Pair()
    pair.port.spoil = lambda data: b""
    with pytest.raises(LinkLost, match="no answer in 7 s"):
        pair.client.ask("hello")
    pair.port.spoil = lambda data: data
    assert pair.client.ask("hello")["answer"] == "hello"


def test_line_is_opened_again_after_it_was_lost():
    pair = Pair()
    pair.client.ask("hello")
    pair.port.broken = True
    with pytest.raises(LinkLost, match="cable pulled"):
        pair.client.ask("status")
    with pytest.raises(LinkLost, match="no such port"):
        pair.client.take()
    pair.port.broken = False
    assert pair.client.ask("status")["answer"] == "status"
    assert pair.opened == 2


def test_telemetry_comes_unasked():
    pair = Pair()
    pair.client.ask("telemetry.set", every_ticks=1)
    records = []
    while len(records) < 40:
        records += pair.client.take()
        pair.client.ask("status")  # what comes meanwhile is kept
    ticks = [dict(zip(NAMES, r.body["telemetry"], strict=True))["tick"] for r in records]
    assert ticks == list(range(ticks[0], ticks[0] + len(ticks)))
    for kept in records:
        assert record(kept.sequence, json.dumps(kept.body).encode()) != b""


def test_unasked_records_are_bounded():
    pair = Pair()
    for number in range(UNASKED + 10):
        pair.port._arriving.extend(record(number & 0xFFFF, b'{"telemetry": [1, 0]}'))
    while pair.port._arriving:
        pair.client._receive()
    assert pair.client.overflowed == 10
    assert len(pair.client.take()) == UNASKED


def test_noise_is_counted_and_passed_over():
    pair = Pair()
    pair.client.ask("hello")
    pair.port._arriving.extend(b"boot: hello\r\n\xff\xfe\n" + b"x" * 5000 + b"\n")
    assert pair.client.ask("status")["answer"] == "status"
    assert pair.client.bad_lines >= 3


def test_own_echo_is_passed_over():
    pair = Pair()
    original = pair.port.write

    def write_and_hear(data):
        original(data)
        pair.port._arriving.extend(data)

    pair.port.write = write_and_hear
    assert pair.client.ask("status")["answer"] == "status"
    assert pair.client.take() == []


def test_port_that_is_not_there_is_one_clear_line():
    with pytest.raises(InputError, match="/dev/no_such_port: cannot be opened"):
        open_serial("/dev/no_such_port")
