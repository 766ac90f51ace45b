"""ISO 11783-7 speed decoding; resolution and range as published by the parameter
database, https://www.isobus.net/isobus/pGNAndSPN/15578?type=PGN. The vectors follow
from 0.001 m/s per bit, little endian; the error ranges are J1939 habit, from memory."""

from app.isobus_speed import ERROR, NOT_AVAILABLE, decode_speed_mm_s


def test_speeds():
    assert decode_speed_mm_s(b"\xd0\x07\xff\xff\xff\xff\xff\xff") == 2000
    assert decode_speed_mm_s(b"\xda\x0a\xff\xff\xff\xff\xff\xff") == 2778
    assert decode_speed_mm_s(b"\x00\x00") == 0
    assert decode_speed_mm_s(b"\xff\xfa") == 64255


def test_no_speed():
    assert decode_speed_mm_s(b"\x00\xfb") == ERROR
    assert decode_speed_mm_s(b"\x00\xfe") == ERROR
    assert decode_speed_mm_s(b"\xff\xfe") == ERROR
    assert decode_speed_mm_s(b"\x00\xff") == NOT_AVAILABLE
    assert decode_speed_mm_s(b"\xff\xff") == NOT_AVAILABLE


def test_short_payload_is_an_error():
    assert decode_speed_mm_s(b"") == ERROR
    assert decode_speed_mm_s(b"\xd0") == ERROR


def test_buffer_types():
    assert decode_speed_mm_s(bytearray(b"\xd0\x07")) == 2000
    assert decode_speed_mm_s(memoryview(b"\xd0\x07")) == 2000
