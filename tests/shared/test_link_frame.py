"""Records of the link: checksum, form, and lines cut out of whatever arrives."""

from app import link_frame
from app.link_frame import FrameError, LineReader, RecordWriter, crc16, parse, record

# Check value of CRC-16/CCITT-FALSE (CRC-16/IBM-3740): catalogue of parametrised CRC
# algorithms, https://reveng.sourceforge.io/crc-catalogue/16.htm
CHECK_TEXT = b"123456789"
CHECK_VALUE = 0x29B1


def error_of(line):
    """The word with which a line is refused, or an empty text."""
    try:
        parse(line)
    except FrameError as error:
        return error.args[0]
    return ""


def framed(text):
    """A line with a right checksum around any text."""
    return text + b" %04X" % crc16(text, len(text))


def test_checksum_matches_the_published_check_value():
    assert crc16(CHECK_TEXT, len(CHECK_TEXT)) == CHECK_VALUE
    assert crc16(CHECK_TEXT + b"x", len(CHECK_TEXT)) == CHECK_VALUE
    assert crc16(b"", 0) == 0xFFFF


def test_record_is_read_back():
    for sequence in (0, 9, 10, 65535):
        for body in (b"{}", b'{"do": "hello"}', b"x" * link_frame.MAX_BODY):
            line = record(sequence, body)
            assert line[-1:] == b"\n" and len(line) <= link_frame.MAX_RECORD
            assert parse(line[:-1]) == (sequence, body)


def test_longest_body_fills_a_record():
    assert len(record(65535, b"x" * link_frame.MAX_BODY)) == link_frame.MAX_RECORD
    try:
        record(0, b"x" * (link_frame.MAX_BODY + 1))
    except ValueError:
        return
    raise AssertionError("a body that does not fit was taken")


def test_numbers_are_written_as_text():
    writer = RecordWriter()
    for number in (0, 7, 10, 99, 100, 65535, 2**30 - 1, -1, -10, -(2**30) + 1):
        writer.begin(0)
        start = writer.length
        writer.put_number(number)
        assert bytes(writer.buffer[start : writer.length]) == b"%d" % number


def test_bytes_that_a_body_may_not_hold_are_replaced():
    sequence, body = parse(record(1, b"a\nb\x00c\xffd")[:-1])
    assert (sequence, body) == (1, b"a?b?c?d")


def test_every_single_bit_error_is_found():
    line = record(17, b'{"do": "hello"}')[:-1]
    for index in range(len(line)):
        for bit in range(8):
            broken = bytearray(line)
            broken[index] ^= 1 << bit
            assert error_of(bytes(broken)) == "checksum"


def test_every_cut_is_found():
    line = record(17, b'{"do": "hello"}')[:-1]
    for length in range(len(line)):
        assert error_of(line[:length]) == "checksum"


def test_right_checksum_around_a_wrong_form():
    assert error_of(framed(b"2 17 {}")) == "version"
    assert error_of(framed(b"")) == "malformed"
    for text in (b"1", b"1 17", b"1 x {}", b"1 65536 {}", b"1 000017 {}", b"1 -1 {}", b"1  {}",
                 b"1 17 {\xff}", b"1 17 \x01"):
        assert error_of(framed(text)) == "malformed", text


def test_lower_case_checksum_is_refused():
    line = record(1, b"{}")[:-1]
    while line[-4:].lower() == line[-4:]:
        line = record(len(line) + 1, b"{}" + line[:1])[:-1]
    assert error_of(line[:-4] + line[-4:].lower()) == "checksum"


def take_all(reader):
    """All lines that the reader has, with errors as text."""
    lines = []
    while True:
        try:
            line = reader.take()
        except FrameError as error:
            line = error.args[0]
        if line is None:
            return lines
        lines.append(line)


def test_lines_are_cut_wherever_the_pieces_end():
    text = b"one\r\ntwo\n\nthree\nrest"
    for size in (1, 2, 3, 5, len(text)):
        reader = LineReader()
        lines = []
        for start in range(0, len(text), size):
            reader.feed(text[start : start + size])
            lines += take_all(reader)
        assert lines == [b"one", b"two", b"", b"three"]


def test_overlong_line_is_reported_once_and_passed_over():
    reader = LineReader()
    lines = []
    rest = b"x" * (3 * link_frame.MAX_RECORD) + b"\ngood\n"
    while rest:
        part = rest[: reader.space()]
        reader.feed(part)
        rest = rest[len(part) :]
        lines += take_all(reader)
        assert reader.space() > 0
    assert lines == ["too_long", b"", b"good"]
