"""Strangers who never end, never begin or break the rules: the panel goes on, and holds little.

All loops are bounded, and nothing leaves the loopback address. What the server has taken is
counted in bytes: a sender comes to a stop once the buffers on both sides are full.
"""

import socket
import struct
import threading
from contextlib import ExitStack, suppress

import pytest

from host_sim.panel import server as panel_server
from host_sim.panel import web_socket
from host_sim.panel.request_head import LONGEST_HEAD, BadHead, parse_head
from host_sim.panel.server import PAGES_AT_ONCE, VISITORS_AT_ONCE
from host_sim.panel.start import in_background
from host_sim.panel.web_socket import AGAINST_RULES, LONGEST_MESSAGE, NO_TEXT, NOT_TAKEN, TOO_LONG
from tests.support.panel_client import Raw, StillSession, live

MANY = 300
PATIENCE_S = 5.0
MOST_BYTES = 16 * LONGEST_HEAD  # that one connection may get rid of, all buffers together
ENOUGH_BYTES = 4 * MOST_BYTES
MASK = b"\x01\x02\x03\x04"


@pytest.fixture
def session():
    return StillSession()


@pytest.fixture
def guard(session):
    with in_background(session) as up:
        yield up


@pytest.fixture
def public(session):
    with in_background(session, "0.0.0.0") as up:
        yield up


def stranger(guard):
    """A connection with small buffers of its own."""
    made = socket.socket()
    made.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
    made.settimeout(PATIENCE_S)
    made.connect(("127.0.0.1", guard.port))
    return made


def taken(sock, first, again):
    """How many bytes a connection gets rid of before it is cut off; bounded."""
    sent = 0
    with suppress(OSError):
        sock.sendall(first)
        while sent < ENOUGH_BYTES:
            sent += sock.send(again)
    return sent


def is_cut_off(sock):
    try:
        return sock.recv(1) == b""
    except ConnectionError:
        return True


def serves(guard):
    with Raw(guard) as page:
        return page.status == 200


# Before there is a request.


@pytest.mark.parametrize("first", [b"GET / HTTP/1.1\r\n", b"GET /?"])
@pytest.mark.parametrize("again", [b"A: b\r\n" * 100, b"x" * 600])
def test_an_endless_head_is_cut_off(guard, first, again):
    with stranger(guard) as one:
        assert taken(one, first, again) < MOST_BYTES
    assert serves(guard)


def test_an_endless_body_is_not_read(guard):
    head = b"GET / HTTP/1.1\r\nContent-Length: 999999999\r\n\r\n"
    with stranger(guard) as one:
        assert taken(one, head, b"x" * 600) < MOST_BYTES
    assert serves(guard)


def test_what_is_too_long_is_told(guard):
    with Raw(guard, Cookie="x" * LONGEST_HEAD) as answer:
        assert answer.status == 431


def test_half_requests_lock_nobody_out(guard):
    """More than the limit, all kept open: a page is served and its socket opens all the same."""
    assert MANY > 4 * VISITORS_AT_ONCE
    with ExitStack() as open_ones:
        strangers = [open_ones.enter_context(stranger(guard)) for _ in range(MANY)]
        for one in strangers:
            with suppress(OSError):  # gone already
                one.sendall(b"GET / HTTP/1.1\r\nHost: ")
        assert serves(guard)
        with live(guard) as page:
            assert page.status == 101
            assert page.frame()["hello"] == {"title": "still"}
        for one in strangers[: MANY - VISITORS_AT_ONCE]:
            assert is_cut_off(one)


def test_a_page_that_is_open_outlives_the_flood(guard, session):
    with live(guard) as page:
        page.frame()
        with ExitStack() as open_ones:
            for _ in range(2 * VISITORS_AT_ONCE):
                open_ones.enter_context(stranger(guard)).sendall(b"GET")
            assert serves(guard)
            session.feed.publish({"rows": [[7]]})
            assert page.frame() == {"rows": [[7]]}


def test_a_request_that_does_not_come_is_not_waited_for(session, monkeypatch):
    monkeypatch.setattr(panel_server, "VISIT_S", 0.2)
    with in_background(session) as guard, stranger(guard) as one:
        one.sendall(b"GET / HTTP/1.1\r\n")
        assert one.recv(1) == b""  # closed, well within this side's own patience
        assert serves(guard)


def test_a_page_is_not_ended_by_the_time_of_a_visit(session, monkeypatch):
    monkeypatch.setattr(panel_server, "VISIT_S", 0.2)
    with in_background(session) as guard, live(guard) as page:
        page.frame()
        threading.Event().wait(0.4)
        session.feed.publish({"rows": [[7]]})
        assert page.frame() == {"rows": [[7]]}


# Without the token, or from elsewhere.


@pytest.mark.parametrize("request_", [
    b"GET / HTTP/1.1\r\n\r\n", b"POST / HTTP/1.1\r\nContent-Length: 5\r\n\r\n", b"\x00\xff\r\n\r\n",
    b"GET /live HTTP/1.1\r\nOrigin: http://evil.example\r\n\r\n",
])
def test_the_token_comes_first(public, request_):
    """Nothing else of a request is judged, so nothing else can be learnt, without it."""
    with stranger(public) as one:
        one.sendall(request_)
        assert one.recv(100).startswith(b"HTTP/1.1 403 ")


@pytest.mark.parametrize("given", ["{0}x", "x{0}", "", "{1}"])
def test_only_the_whole_token_counts(public, given):
    token = given.format(public.token, public.token[:-1])
    with Raw(public, f"/?token={token}") as answer:
        assert answer.status == 403
    with Raw(public, Cookie=f"panel={token}") as answer:
        assert answer.status == 403
    with Raw(public, Cookie=f"other=1; panel={public.token}") as answer:
        assert answer.status == 200


@pytest.mark.parametrize(("data", "status"), [
    (b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", 400),
    (b"GET / HTTP/2\r\n\r\n", 400),
    (b"GET  / HTTP/1.1\r\n\r\n", 400),
    (b"GET / HTTP/1.1\r\nno colon\r\n\r\n", 400),
    (b"GET /\xff HTTP/1.1\r\n\r\n", 400),
    (b"POST / HTTP/1.1\r\n\r\n", 405),
    (b"GET / HTTP/1.1\r\nContent-Length: 1\r\n\r\n", 413),
    (b"GET / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n", 413),
])
def test_a_head_that_can_be_read_in_two_ways_is_refused(data, status):
    with pytest.raises(BadHead) as bad:
        parse_head(data)
    assert bad.value.status == status


# Frames. The close code tells the reason (RFC 6455, section 7.4.1).


def masked(first, payload):
    hidden = bytes(byte ^ MASK[i % 4] for i, byte in enumerate(payload))
    return bytes([first, 0x80 | len(payload)]) + MASK + hidden


@pytest.mark.parametrize(("frame", "code"), [
    (b"\x81\x02[]", AGAINST_RULES),  # no mask
    (b"\x89\x00", AGAINST_RULES),  # a ping without a mask
    (masked(0x01, b"["), NOT_TAKEN),  # the first piece of a message
    (masked(0x80, b"]"), NOT_TAKEN),  # a further piece
    (masked(0x82, b"[]"), NOT_TAKEN),  # binary
    (masked(0xC1, b"[]"), NOT_TAKEN),  # compressed, which was not agreed on
    (masked(0x83, b""), NOT_TAKEN),  # an opcode that there is not
    (masked(0x81, b"\xff\xfe"), NO_TEXT),
    (b"\x81\xfe" + struct.pack(">H", LONGEST_MESSAGE + 1), TOO_LONG),
    (b"\x81\xff" + struct.pack(">Q", 1 << 40), TOO_LONG),
    (b"\x89\xfe" + struct.pack(">H", 126), AGAINST_RULES),  # a long ping
])
def test_a_frame_that_no_page_sends_ends_the_connection(guard, session, frame, code):
    with live(guard) as page:
        page.frame()
        page.socket.sendall(frame)
        assert page._file.read(4) == b"\x88\x02" + struct.pack(">H", code)
        assert page._file.read(1) == b""
    assert session.asked == []
    assert serves(guard)


def test_a_ping_is_answered(guard):
    with live(guard) as page:
        page.frame()
        page.socket.sendall(masked(0x89, b"here"))
        assert page._file.read(6) == b"\x8a\x04here"


def test_an_endless_frame_is_not_taken(guard):
    with live(guard) as page:
        page.frame()
        page.socket.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 4096)
        long = b"\x81\xff" + struct.pack(">Q", 1 << 40) + MASK
        assert taken(page.socket, long, b"x" * 600) < MOST_BYTES


# Pages that go, or take nothing.


def test_a_page_that_takes_nothing_gives_its_place_up(session, monkeypatch):
    monkeypatch.setattr(web_socket, "SEND_S", 0.2)
    with in_background(session) as guard, ExitStack() as open_ones:
        for _ in range(PAGES_AT_ONCE):
            page = open_ones.enter_context(live(guard))
            assert page.status == 101
        for number in range(40):
            session.feed.publish({"long": f"{number}" + "x" * 1_000_000})
            with live(guard) as one_more:
                if one_more.status == 101:
                    return
            threading.Event().wait(0.05)
    raise AssertionError("the places are held for ever")


def test_who_goes_without_a_word_leaves_no_trace(session, capfd):
    """Cut off in the head, in the answer and in the middle of frames: nothing on stderr."""
    with in_background(session) as guard:
        for begin in (b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: a\r\n\r\n"):
            for _ in range(20):
                with stranger(guard) as one:
                    one.sendall(begin)
                    reset(one)
        for _ in range(3 * PAGES_AT_ONCE):
            page = live(guard)
            page.socket.sendall(b"\x81\xfe\x01")
            reset(page.socket)
            page.close()
            session.feed.publish({"rows": [[1]] * 1000})
        assert serves(guard)
    seen = capfd.readouterr()
    assert seen.err == "" and seen.out == ""


def test_the_end_of_the_server_leaves_no_trace_of_what_is_open(session, capfd):
    with ExitStack() as open_ones, in_background(session) as guard:
        open_ones.enter_context(live(guard)).frame()
        open_ones.enter_context(stranger(guard)).sendall(b"GET")
        assert serves(guard)
    assert capfd.readouterr().err == ""


def reset(sock):
    """Let closing cut the connection off (RST) rather than end it in order."""
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
