"""The reference page of the link says what the link does: its examples are put to a real one."""

import json
import re

import pytest

from app import link_requests, telemetry
from app.link_frame import parse
from app.telemetry import NAMES
from host_sim import FIRMWARE_DIR
from host_sim.board.link_words import REQUESTS
from host_sim.build.link_reference import MEANINGS, link_page
from tests.support.link_rig import LinkRig

RECORD = re.compile(r"^    (1 \d+ .*)$", re.MULTILINE)


def records():
    return [parse(line.encode()) for line in RECORD.findall(link_page())]


def test_examples_are_whole_and_answered_as_shown():
    rig = LinkRig()
    shown = [(sequence, json.loads(body)) for sequence, body in records()]
    assert len(shown) == 5
    for (sequence, request), (_, answer) in zip(shown[1::2], shown[2::2], strict=True):
        arguments = {name: value for name, value in request.items() if name != "do"}
        rig.sequence = sequence - 1
        assert rig.ask(request["do"], **arguments) == answer


def test_every_request_error_and_number_is_listed():
    page = link_page()
    for row in link_requests.TABLE:
        assert f"| `{row[0]}` |" in page
    assert set(REQUESTS) == {row[0] for row in link_requests.TABLE}
    for source in (FIRMWARE_DIR / "app").glob("link*.py"):
        for word in re.findall(r'\b(?:error|FrameError)\("(\w+)"', source.read_text()):
            assert f"| `{word}` |" in page
    assert set(MEANINGS) == set(NAMES)


@pytest.mark.parametrize("name", telemetry.NAMES)
def test_meanings_are_of_the_telemetry_there_is(name):
    assert f"| `{name}` | {MEANINGS[name]} |" in link_page()
