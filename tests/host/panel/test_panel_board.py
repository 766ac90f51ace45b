"""A real board is only shown: whatever a page sends, the board is asked for readings alone."""

import json

import pytest

from host_sim.board.link_port import PipePort
from host_sim.panel.board_session import ONLY_SHOWS, BoardSession
from host_sim.panel.commands import COMMANDS
from host_sim.panel.hello import BELIEVED
from host_sim.panel.live_twin import LiveTwin
from host_sim.panel.start import in_background
from host_sim.twin.scenario import DEMO, load_scenario
from rate_control.interlock import STATE_NAMES
from tests.support.panel_client import live

READINGS = {"hello", "settings.get", "telemetry.set", "status", "totals.get", "faults.get",
            "display.get", "procedure.get"}


class Cable:
    """The cable to a board that a twin stands for; takes down what is asked, can be pulled."""

    def __init__(self, twin):
        self.asked = []
        self.pulled = False
        self._port = PipePort(twin.step, lambda: 0.0)
        twin.wire_link(self._port.board_end)
        self.now_s = lambda: twin.now_s

    def open(self):
        if self.pulled:
            raise OSError(2, "no such device")
        return self

    def read(self, limit, /):
        if self.pulled:
            raise OSError(5, "cable pulled")
        return self._port.read(limit)

    def write(self, data, /):
        if data != b"\n":
            self.asked.append(json.loads(data.split(b" ", 2)[2].rsplit(b" ", 1)[0]))
        self._port.write(data)

    def close(self):
        self._port.close()


@pytest.fixture
def board(monkeypatch):
    """A board at work, and its cable."""
    twin = LiveTwin(load_scenario(DEMO, field="calm"))
    cable = Cable(twin)
    twin.live(1.0)
    twin.board.switches |= 3
    twin.vehicle.at_speed(3.0)
    twin.live(3.0)
    return twin, cable


@pytest.fixture
def session(board):
    shown = BoardSession(board[1].open)
    shown.start()
    yield shown
    shown.stop()
    assert shown.failure == ""


def everything(session, wanted):
    """What a page that opens now would get, as soon as it is what is wanted."""
    for _ in range(1000):
        (text,), _ = session.feed.since(None)
        frame = json.loads(text)
        if wanted(frame):
            return frame
        session.stopped.wait(0.01)
    raise AssertionError(f"it never came: {list(frame)}")


def test_the_board_is_shown_as_it_is(session):
    frame = everything(session, lambda frame: frame.get("rows") and frame.get("words"))
    row = dict(zip(BELIEVED, frame["rows"][-1], strict=True))
    assert frame["hello"]["kind"] == "board"
    assert "hands" not in frame and "troubles" not in frame["hello"]
    assert STATE_NAMES[row["state"]] == "applying"
    assert row["applied_ml_ha"] == pytest.approx(80_000, rel=0.05)
    assert frame["words"]["display"][3].startswith("applying")


def test_no_command_reaches_the_board(session, board):
    twin, cable = board
    everything(session, lambda frame: frame.get("rows"))
    switches, rate = twin.board.switches, twin.wanted_ml_ha
    for name in COMMANDS:
        for arguments in ([], [True], [0, True], [1], ["push"], ["air", True], [90_000]):
            assert session.ask(json.dumps([name, *arguments])) == ONLY_SHOWS
    everything(session, lambda frame: len(frame.get("rows", [])) > 50)
    assert {body["do"] for body in cable.asked} == READINGS
    assert twin.board.switches == switches and twin.wanted_ml_ha == rate
    assert not twin.panel.busy


def test_a_page_is_told_that_it_may_only_look(session):
    with in_background(session) as guard, live(guard) as page:
        page.send('["key","push"]')
        while "refused" not in (frame := page.frame()):
            pass
        assert frame == {"refused": ONLY_SHOWS}


def test_a_pulled_cable_is_told_and_found_again(session, board, monkeypatch):
    monkeypatch.setattr("host_sim.panel.board_session.RETRY_S", 0.01)
    cable = board[1]
    everything(session, lambda frame: frame.get("rows"))
    cable.pulled = True
    lost = everything(session, lambda frame: frame.get("lost"))
    assert lost["lost"] == "the line is lost: [Errno 5] cable pulled" or "no such" in lost["lost"]
    cable.pulled = False
    everything(session, lambda frame: frame.get("rows") and not frame.get("lost"))
